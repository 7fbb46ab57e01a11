"""Studies of graders, of measuring and of finding."""

from damagescore.ui.studies import studies_page

studies_page()
