"""Compare: parts on one load spectrum side by side."""

from damagescore.ui.history_compare import compare_page

compare_page()
