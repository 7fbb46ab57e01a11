"""Inspect: one part from photos to a signed record."""

from damagescore.ui.inspect.page import inspect_page

inspect_page()
