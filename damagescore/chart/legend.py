"""Names with their marks above a plot; colour, shape and dash of each series."""

from collections.abc import Sequence

from damagescore.chart.plot import Plot
from damagescore.chart.record import SERIES_COLOURS, SHAPES, Dot, Shape, Style, Words

DASHES: tuple[tuple[float, ...], ...] = ((), (6, 3), (2, 3), (8, 3, 2, 3))

ROW = 16.0
"""Height of a row of the legend, points."""


def series_style(number: int) -> Style:
    """Line of a series."""
    return Style(colour=SERIES_COLOURS[number % 4], width=1.7, dash=DASHES[number % 4])


def series_shape(number: int) -> Shape:
    """Mark of a series."""
    return SHAPES[number % 4]


def legend_height(names: Sequence[str]) -> float:
    """Points that the legend adds above a plot."""
    in_row = _in_row(names)
    return ROW * ((len(names) + in_row - 1) // in_row)


def add_legend(plot: Plot, names: Sequence[str]) -> None:
    """Put names with their marks above the plot."""
    in_row = _in_row(names)
    for number, name in enumerate(names):
        x = 10 + (plot.size[0] - 20) / in_row * (number % in_row)
        y = 33 + ROW * (number // in_row)
        style = Style(colour=SERIES_COLOURS[number % 4])
        plot.marks.append(Dot(at=(x, y - 4), shape=series_shape(number), style=style))
        plot.marks.append(Words(at=(x + 8, y), text=shortened(name, 28), style=Style()))


def _in_row(names: Sequence[str]) -> int:
    """Names of one row: four short ones or two long ones."""
    return 4 if max(map(len, names)) <= 11 else 2


def shortened(name: str, most: int) -> str:
    """A name of at most so many letters."""
    return name if len(name) <= most else f"{name[: most - 1]}…"
