"""How layers run in from the outline: tilted, or turned up or down as rings are."""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from damagescore.edge.outline import Turned
from damagescore.edge.sampling import sample_part

Points = NDArray[np.float64]
Lengths = NDArray[np.floating]

DEPTH_MM, DEPTHS = 2.5, 20
"""Depth inside the outline over which the course is told, and the depths that are compared."""

FIRST_PX = 3.0
"""The blurred outline itself, left out."""

MOST_TURN_MM = 1.6
"""How far a layer may have turned up or down at that depth."""

FINE_MM = 0.07
"""Distance of the rows that are compared."""

TRIED = 11


@dataclass(frozen=True, slots=True, kw_only=True)
class Slant:
    """Rows that layers lie lower at a depth d inside the outline than at the outline.

    `tilt` d + (`turn` + `change` (row - `middle`)) sqrt(d): the first for a part that leans
    in the photo; a ring of radius r seen at a slant e lies e sqrt(2 r d) lower (the
    ellipse's height beside its vertex), and e changes evenly over the stack.
    """

    tilt: float
    turn: float
    change: float
    middle: float

    def lower(self, rows: Lengths, depth: Lengths) -> Points:
        """Shift at rows and depths that broadcast, pixels."""
        turn = self.turn + self.change * (rows - self.middle)
        return np.asarray(self.tilt * depth + turn * np.sqrt(depth))


@dataclass(frozen=True, slots=True, kw_only=True)
class Inside:
    """What lies inside an outline: a straight line (N,) near it, and how layers run in.

    `rows` (N,) successive rows and `line` (N,) columns in the turned photo.
    """

    rows: Points
    line: Points
    slant: Slant

    def strip(self, turned: Turned, x: Points, depth: Lengths) -> NDArray[np.float32]:
        """Colours (N, D, 3) at depths (D,) inside a course x (N,), as the layers run."""
        columns = x[:, None] - depth
        deep = np.maximum(self.line[:, None] - columns, 0.0)
        lower = self.slant.lower(self.rows[:, None], deep)
        return sample_part(turned.rgb, columns, self.rows[:, None] + lower)


def inside_of(turned: Turned, rows: Points, line: Points, *, mm_per_px: float) -> Inside:
    """The slant at which what lies inside a line (rows, line) is alike at all depths."""
    tilt = -float(line[-1] - line[0]) / float(rows[-1] - rows[0])
    deep = max(min(DEPTH_MM / mm_per_px, float(line.min()) - 6), 2 * FIRST_PX)
    depth = np.linspace(FIRST_PX, deep, DEPTHS)
    middle, half = float(rows.mean()), float(np.ptp(rows)) / 2
    level = Slant(tilt=-tilt, turn=0.0, change=0.0, middle=middle)
    every = max(round(FINE_MM / mm_per_px), 1)
    coarse = Inside(rows=rows[::every], line=line[::every], slant=level)
    strip = coarse.strip(turned, coarse.line, depth)
    seen = np.log(strip @ np.array([0.299, 0.587, 0.114], np.float32) + np.float32(8))
    seen -= cv2.blur(seen, (1, 2 * round(0.75 / FINE_MM) + 1))
    most = MOST_TURN_MM / mm_per_px / float(np.sqrt(deep))
    turn, change, reach = 0.0, 0.0, most
    for _ in range(2):
        tried = [
            (turn + i * reach, change + j * reach)
            for i in np.linspace(-1, 1, TRIED)
            for j in np.linspace(-1, 1, TRIED)
        ]
        turn, change = max(tried, key=lambda k: _common(seen, depth, k, every))
        reach *= 2.0 / TRIED
    slant = Slant(tilt=level.tilt, turn=turn, change=change / half, middle=middle)
    return Inside(rows=rows, line=line, slant=slant)


def _common(
    seen: NDArray[np.float32], depth: Points, turns: tuple[float, float], every: int
) -> float:
    """What all depths have in common, moved by a turn at the middle and its change.

    `every` is how many pixels lie from row to row of what is seen.
    """
    height = np.linspace(-1, 1, len(seen))[:, None]
    shift = (turns[0] + turns[1] * height) * np.sqrt(depth) / every
    y = np.arange(len(seen))[:, None] + shift
    x = np.broadcast_to(np.arange(len(depth), dtype=np.float32), y.shape)
    moved = cv2.remap(
        seen, np.ascontiguousarray(x), np.asarray(y, np.float32), cv2.INTER_LINEAR,
        borderMode=cv2.BORDER_REPLICATE,
    )  # fmt: skip
    return float(np.var(moved.mean(axis=1)))
