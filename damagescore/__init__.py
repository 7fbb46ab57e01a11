"""Measure damage on the exposed edge of laminated elastomeric bearings from photos."""

__version__ = "0.1.0"
