"""Charts as plain marks: the same drawing as SVG for the app and as vectors for the PDF."""

from damagescore.chart.axes import Scaled, ticks
from damagescore.chart.plot import Plot
from damagescore.chart.record import Area, Chart, Dot, Line, Words
from damagescore.chart.svg import to_svg

__all__ = ["Area", "Chart", "Dot", "Line", "Plot", "Scaled", "Words", "ticks", "to_svg"]
