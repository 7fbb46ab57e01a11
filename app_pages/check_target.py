"""The check target of camera, scale and program."""

from damagescore.ui.check_target import check_target_page

check_target_page()
