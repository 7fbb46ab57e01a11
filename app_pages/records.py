"""Records: search, open, download, supersede."""

from damagescore.ui.record_list import records_page

records_page()
