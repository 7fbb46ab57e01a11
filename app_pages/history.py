"""History: growth, hours to the limits, the same findings again."""

from damagescore.ui.history import history_page

history_page()
