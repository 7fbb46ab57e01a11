"""A chart as lines, areas, dots and words on a sheet; y runs down, units are points."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

Place = tuple[float, float]
Shape = Literal["circle", "square", "triangle", "diamond"]
Anchor = Literal["start", "middle", "end"]

SHAPES: tuple[Shape, ...] = ("circle", "square", "triangle", "diamond")


@dataclass(frozen=True, slots=True, kw_only=True)
class Style:
    """How a mark looks.

    Parameters
    ----------
    colour : str
        A name of `COLOURS`.
    width : float
    dash : tuple of float
    opacity : float
    """

    colour: str = "ink"
    width: float = 1.0
    dash: tuple[float, ...] = ()
    opacity: float = 1.0


COLOURS: Mapping[str, str | None] = {
    "ink": None,  # the colour of the text around it
    "blue": "#3f7fb5",
    "orange": "#c9781f",
    "green": "#3d9268",
    "violet": "#8f6bb8",
    "red": "#cf4b42",
    "amber": "#c98a1c",
}
"""Middling tones, told apart on white and on near black; shapes and dashes say the same."""

SERIES_COLOURS = ("blue", "orange", "green", "violet")


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """A run of straight pieces."""

    points: tuple[Place, ...]
    style: Style = Style()


@dataclass(frozen=True, slots=True, kw_only=True)
class Area:
    """A filled polygon."""

    points: tuple[Place, ...]
    style: Style = Style()


@dataclass(frozen=True, slots=True, kw_only=True)
class Dot:
    """A point mark; hollow for what counts less; `told` is shown when it is pointed at."""

    at: Place
    shape: Shape = "circle"
    size: float = 3.6
    hollow: bool = False
    style: Style = Style()
    told: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Words:
    """A short text whose base line is at a place."""

    at: Place
    text: str
    anchor: Anchor = "start"
    size: float = 12.0
    turned: bool = False
    style: Style = Style()


Mark = Line | Area | Dot | Words


@dataclass(frozen=True, slots=True, kw_only=True)
class Chart:
    """A finished drawing.

    Parameters
    ----------
    size : tuple of float
        Width and height.
    marks : tuple of Mark
        In the order of drawing.
    title : str
        What it shows, in a few words.
    told : str
        The same in sentences, for who cannot see it.
    """

    size: tuple[float, float]
    marks: tuple[Mark, ...]
    title: str
    told: str
