"""About and cautions."""

from damagescore.ui.about import about_page

about_page()
