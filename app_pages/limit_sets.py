"""Limit sets: list, import, edit, download."""

from damagescore.ui.limit_list import limit_sets_page

limit_sets_page()
