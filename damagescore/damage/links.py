"""A suggestion that one crack goes on beyond a gap, and the joined lines if it is taken."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

Points = NDArray[np.float64]

SAME_PX = 2.0
"""An end of a joined stretch that lies farther from its line has been moved by hand."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Link:
    """Two lines that may be one crack, with something over the place between them.

    A suggestion only: nothing is joined until a person says so.

    Parameters
    ----------
    id : str
        Unique within the photo, for instance "link-1".
    first : str
        Id of the finding that would go on.
    second : str or None
        Id of the finding that it would go on into; None where it is a line too faint to be
        proposed by itself.
    line_px : ndarray, shape (N, 2)
        From the tip of the first line to the tip of the other one, photo pixels.
    beyond_px : tuple of ndarray, shape (N, 2)
        The faint line where `second` is None, its main path first; else empty.
    gap_mm : float
        Length of `line_px` on the surface.
    chance : float
        That both are one crack, as fitted on photos with truth.
    """

    id: str
    first: str
    second: str | None
    line_px: Points
    beyond_px: tuple[Points, ...]
    gap_mm: float
    chance: float

    def to_dict(self) -> dict[str, Any]:
        return {
            "id": self.id,
            "first": self.first,
            "second": self.second,
            "line_px": np.round(self.line_px, 2).tolist(),
            "beyond_px": [np.round(line, 2).tolist() for line in self.beyond_px],
            "gap_mm": round(self.gap_mm, 3),
            "chance": round(self.chance, 3),
        }

    @classmethod
    def from_dict(cls, plain: Mapping[str, Any]) -> "Link":
        return cls(
            **{
                **plain,
                "line_px": np.array(plain["line_px"], np.float64),
                "beyond_px": tuple(np.array(x, np.float64) for x in plain["beyond_px"]),
            }
        )


def joined_lines(
    first: Sequence[Points], second: Sequence[Points], link_px: Points
) -> tuple[Points, ...]:
    """Lines of the crack that two findings make together, the link's way included.

    Parameters
    ----------
    first, second : sequence of ndarray, shape (N, 2)
        Main path first, then branches.
    link_px : ndarray, shape (N, 2)
        From an end of a line of `first` to an end of a line of `second`.

    Returns
    -------
    tuple of ndarray
        Main path first. Two main paths become one; a branch that goes on into a main path
        is lengthened by it.
    """
    a, b = _ends_at(first, link_px[0]), _ends_at(second, link_px[-1])
    if a != 0 and b == 0:
        return _through(first, a, second, 0, link_px)
    return (
        _through(second, b, first, a, link_px[::-1])
        if b
        else _through(first, 0, second, 0, link_px)
    )


def bridges_on(lines: Sequence[Points], bridged: Sequence[Points]) -> tuple[Points, ...]:
    """Those joined stretches, as (2, 2) ends, that still lie on one of the lines."""
    return tuple(ends for ends in bridged if _stretch(lines, ends) is not None)


def apart_at(
    lines: Sequence[Points], bridged: Sequence[Points]
) -> tuple[list[Points], list[Points]]:
    """The lines without their joined stretches, and these stretches.

    Parameters
    ----------
    lines : sequence of ndarray, shape (N, 2)
    bridged : sequence of ndarray, shape (2, 2)
        Ends of each stretch; one that lies on no line any more is passed over.
    """
    pieces, ways = list(lines), []
    for ends in bridged:
        place = _stretch(pieces, ends)
        if place is None:
            continue
        number, first, last = place
        line = pieces[number]
        ways.append(line[first : last + 1])
        pieces[number : number + 1] = [
            x for x in (line[: first + 1], line[last:]) if len(x) > 1
        ]
    return pieces, ways


def _stretch(lines: Sequence[Points], ends: Points) -> tuple[int, int, int] | None:
    """Line, first and last vertex of a stretch; None where no line has both of its ends."""
    for number, line in enumerate(lines):
        away = [np.hypot(*(line - end).T) for end in ends]
        at = sorted(int(np.argmin(x)) for x in away)
        if max(float(x.min()) for x in away) <= SAME_PX and at[0] < at[1]:
            return number, at[0], at[1]
    return None


def _through(
    whole: Sequence[Points], at: int, other: Sequence[Points], on: int, link_px: Points
) -> tuple[Points, ...]:
    """Carry line `at` of `whole` on along the link and line `on` of `other`."""
    own, further = whole[at], other[on]
    if at == 0 and _far(own[0], link_px[0]) < _far(own[-1], link_px[0]):
        own = own[::-1]
    if _far(further[-1], link_px[-1]) < _far(further[0], link_px[-1]):
        further = further[::-1]
    long = np.vstack([own, link_px[1:-1], further])
    lines = [long if k == at else line for k, line in enumerate(whole)]
    return (*lines, *(line for k, line in enumerate(other) if k != on))


def _ends_at(lines: Sequence[Points], place: Points) -> int:
    """Number of the line that has an end nearest to a place."""
    return int(np.argmin([min(_far(x[0], place), _far(x[-1], place)) for x in lines]))


def _far(a: Points, b: Points) -> float:
    return float(np.hypot(*(a - b)))
