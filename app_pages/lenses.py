"""Lens profiles: calibrate a camera, keep its profile."""

from damagescore.ui.lenses import lenses_page

lenses_page()
