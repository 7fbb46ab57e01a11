"""A plot in the making: axes and marks in the units of the data."""

from collections.abc import Sequence
from dataclasses import dataclass, field

from damagescore.chart.axes import Scaled, tick_words, ticks
from damagescore.chart.record import Area, Chart, Dot, Line, Mark, Shape, Style, Words

WIDTH, HEIGHT = 400.0, 270.0
"""Small, so that letters of 12 can be read on a telephone too."""

GRID = Style(opacity=0.14, width=0.8)
AXIS = Style(opacity=0.55, width=1.0)
FAINT = Style(opacity=0.78)


@dataclass(slots=True, kw_only=True)
class Plot:
    """Axes of a plot, and what was drawn in it so far.

    Parameters
    ----------
    x, y : tuple of float
        Ends of the axes in the units of the data.
    x_label, y_label : str
    size : tuple of float
        Of the whole sheet, points.
    """

    x: tuple[float, float]
    y: tuple[float, float]
    x_label: str
    y_label: str
    size: tuple[float, float] = (WIDTH, HEIGHT)
    margins: tuple[float, float, float, float] = (27.0, 14.0, 40.0, 46.0)
    marks: list[Mark] = field(default_factory=list)

    @property
    def across(self) -> Scaled:
        _, right, _, left = self.margins
        return Scaled(low=self.x[0], high=self.x[1], start=left, end=self.size[0] - right)

    @property
    def up(self) -> Scaled:
        top, _, bottom, _ = self.margins
        return Scaled(low=self.y[0], high=self.y[1], start=self.size[1] - bottom, end=top)

    def axes(
        self, *, x_names: Sequence[str] | None = None, y_names: Sequence[str] | None = None
    ) -> None:
        """Draw grid, ticks and labels; names stand at 0, 1, 2 and on, but empty ones."""
        across, up = self.across, self.up
        for value, words in _named(self.x, x_names, most=6):
            at = across.at(value)
            self.marks.append(Line(points=((at, up.start), (at, up.end)), style=GRID))
            self._words((at, up.start + 15), words, anchor="middle")
        for value, words in _named(self.y, y_names, most=5):
            at = up.at(value)
            self.marks.append(Line(points=((across.start, at), (across.end, at)), style=GRID))
            self._words((across.start - 5, at + 3.8), words, anchor="end")
        base = ((across.start, up.end), (across.start, up.start), (across.end, up.start))
        self.marks.append(Line(points=base, style=AXIS))
        self._words(((across.start + across.end) / 2, self.size[1] - 6), self.x_label,
                    anchor="middle")  # fmt: skip
        self._words((2, 15), self.y_label)

    def _words(self, at: tuple[float, float], text: str, **how: object) -> None:
        self.marks.append(Words(at=at, text=text, style=FAINT, **how))  # type: ignore[arg-type]

    def line(self, x: Sequence[float], y: Sequence[float], style: Style) -> None:
        """A line through data places; what lies outside the axes is left out."""
        self.marks += [Line(points=tuple(run), style=style) for run in self._runs(x, y)]

    def _runs(self, x: Sequence[float], y: Sequence[float]) -> list[list[tuple[float, float]]]:
        across, up = self.across, self.up
        low, high = self.y
        room = 0.02 * (high - low)
        runs: list[list[tuple[float, float]]] = [[]]
        for a, b in zip(x, y, strict=True):
            if low - room <= b <= high + room:
                runs[-1].append((across.at(a), up.at(b)))
            elif runs[-1]:
                runs.append([])
        return [run for run in runs if len(run) > 1]

    def band(
        self, x: Sequence[float], low: Sequence[float], high: Sequence[float], style: Style
    ) -> None:
        """The area between two lines, cut at the axes."""
        across, up = self.across, self.up
        lower = [(across.at(a), up.at(b)) for a, b in zip(x, low, strict=True)]
        upper = [(across.at(a), up.at(b)) for a, b in zip(x, high, strict=True)]
        self.marks.append(Area(points=(*lower, *upper[::-1]), style=style))

    def level(self, value: float, style: Style, *, words: str = "") -> None:
        """A line at one value over the whole width, with words on it."""
        across, at = self.across, self.up.at(value)
        self.marks.append(Line(points=((across.start, at), (across.end, at)), style=style))
        if words:
            self.marks.append(
                Words(
                    at=(across.start + 5, at - 4), text=words, style=Style(colour=style.colour)
                )
            )

    def upright(self, value: float, style: Style, *, words: str = "") -> None:
        """A line at one place over the whole height."""
        up, at = self.up, self.across.at(value)
        self.marks.append(Line(points=((at, up.start), (at, up.end)), style=style))
        if words:
            self.marks.append(
                Words(at=(at, up.end - 3), text=words, anchor="middle", style=FAINT, size=10.0)
            )

    def dot(
        self, x: float, y: float, *, half: float = 0.0, shape: Shape = "circle",
        style: Style, hollow: bool = False, size: float = 3.6, told: str = "",
    ) -> None:  # fmt: skip
        """A value with its interval; `told` is shown when it is pointed at."""
        across, up = self.across, self.up
        at = across.at(x), up.at(y)
        if half > 0:
            low, high = up.at(y - half), up.at(y + half)
            self.marks.append(Line(points=((at[0], low), (at[0], high)), style=style))
            for end in (low, high):
                self.marks.append(
                    Line(points=((at[0] - 3, end), (at[0] + 3, end)), style=style)
                )
        self.marks.append(
            Dot(at=at, shape=shape, style=style, hollow=hollow, size=size, told=told)
        )

    def chart(self, *, title: str, told: str) -> Chart:
        """Finish the drawing."""
        return Chart(size=self.size, marks=tuple(self.marks), title=title, told=told)


def _named(
    ends: tuple[float, float], names: Sequence[str] | None, *, most: int
) -> list[tuple[float, str]]:
    """Ticks of an axis with their words."""
    if names:
        return [(float(k), name) for k, name in enumerate(names) if name]
    round_ones = ticks(*ends, most=most)
    return list(zip(round_ones, tick_words(round_ones), strict=True))
