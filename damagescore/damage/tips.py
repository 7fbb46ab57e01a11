"""Where a dark stroke ends: moving the ends of a centre line onto its tips."""

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from damagescore.damage.centreline import cumulative_px, resample
from damagescore.damage.ridge import local_mean
from damagescore.damage.strip import blurred
from damagescore.scale.record import Scale

Points = NDArray[np.float64]
Image = NDArray[np.float32]
Mask = NDArray[np.bool_]

BACK_MM = 0.5
"""The elongated filters overshoot a tip by up to their half length; start inside it."""

AHEAD_MM = 1.5
LOOK_MM = 0.2
LOOK = np.linspace(0.15, 1.0, 6)
SIDE_MM = 0.3
OUTSIDE = -3.0
TURN_DEG = 36.0
TIP_SHARE = 0.22
"""A tip of 0.05 mm, blurred by 0.05 mm, keeps about a third of the stroke's darkness."""

LEAST_DARKNESS = 0.08
"""A stroke fainter than this is not told from the grain of the rubber."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Surround:
    """Relative darkness of the photo around a tip.

    `dark` (h, w) is 0 on the rubber beside the stroke and far below it outside
    the judged rubber; `corner` (x, y) is the photo pixel of its first element;
    `px_per_mm` is the photo's.
    """

    dark: Image
    corner: Points
    px_per_mm: float

    def contrast(self, places: Points, headings: Points) -> Image:
        """How much darker the next bit of line is than both its sides.

        Parameters
        ----------
        places : ndarray, shape (N, 2)
            Photo pixels.
        headings : ndarray, shape (M,)
            Radians.

        Returns
        -------
        ndarray, shape (N, M, L)
            Darkness at L places ahead, less that of the darker side.
        """
        rays = np.stack([np.cos(headings), np.sin(headings)], axis=-1)
        sides = np.stack([-rays[:, 1], rays[:, 0]], axis=-1) * SIDE_MM * self.px_per_mm
        look = LOOK * LOOK_MM * self.px_per_mm
        ahead = places[:, None, None, :] + look[None, None, :, None] * rays[None, :, None, :]
        middle = self._at(ahead)
        left, right = (self._at(ahead + k * sides[None, :, None, :]) for k in (1, -1))
        beside = (left.mean(axis=2) + right.mean(axis=2)) / 2
        return np.asarray(middle - np.maximum(beside, 0)[:, :, None], np.float32)

    def _at(self, places: Points) -> Image:
        moved = (places - self.corner).astype(np.float32).reshape(len(places), -1, 2)
        read = cv2.remap(
            self.dark, moved[..., 0], moved[..., 1], cv2.INTER_LINEAR,
            borderMode=cv2.BORDER_CONSTANT, borderValue=OUTSIDE,
        )  # fmt: skip
        return np.asarray(read.reshape(places.shape[:-1]), np.float32)


def with_true_ends(
    grey: Image, line: Points, scale: Scale, *, inside: Mask, start: bool = True
) -> Points:
    """Move the last end (and the first, if `start`) of a line to the stroke's tip.

    Parameters
    ----------
    grey : ndarray of float32, shape (H, W)
    line : ndarray, shape (N, 2)
        Evenly spaced centre line, photo pixels.
    inside : ndarray of bool, shape (H, W)
        Where a stroke may run on; its edge is an end.
    start : bool
        False for a branch, whose first point lies on its main path.

    Notes
    -----
    A walk goes on from inside the stroke, turning with it, as long as the mean
    darkness over the next 0.2 mm stands out of the grain beside the stroke.
    """
    ended = _with_true_end(grey, line, scale, inside)
    if start:
        ended = _with_true_end(grey, ended[::-1], scale, inside)[::-1]
    return ended


def _with_true_end(grey: Image, line: Points, scale: Scale, inside: Mask) -> Points:
    mm_per_px = scale.surface.mm_per_px_at(line[-1])
    along = cumulative_px(line)
    kept = along <= along[-1] - min(BACK_MM / mm_per_px, along[-1] / 4)
    if kept.sum() < 4:
        return line
    body = line[kept]
    step = float(along[1])
    around, beside, body_dark = _surround(grey, line, body[-1], inside, 1 / mm_per_px)
    n_aim = min(len(body) - 1, max(3, round(0.4 / mm_per_px / step)))
    aim = body[-1] - body[-1 - n_aim]
    heading = math.atan2(aim[1], aim[0])
    threshold = max(
        LEAST_DARKNESS, TIP_SHARE * body_dark, _chance_contrast(around, beside, heading)
    )
    walked = _walk(around, body[-1], heading, step=step, threshold=threshold)
    return resample(np.vstack([body, walked]), step_px=step) if len(walked) else body


def _surround(
    grey: Image, line: Points, start: Points, inside: Mask, px_per_mm: float
) -> tuple[Surround, Points, float]:
    """The surround of a tip, places on sound rubber in it, and the stroke's darkness."""
    reach = math.ceil((BACK_MM + AHEAD_MM + 0.5) * px_per_mm)
    x0, y0 = (max(0, int(c) - reach) for c in start)
    x1, y1 = (int(c) + reach + 1 for c in start)
    part, allowed = grey[y0:y1, x0:x1], inside[y0:y1, x0:x1]
    fine = blurred(part, max(0.5, 0.025 * px_per_mm))
    stroke = np.zeros(part.shape, np.uint8)
    course = np.round(line - (x0, y0)).astype(np.int32).reshape(-1, 1, 2)
    cv2.polylines(stroke, [course], False, 1, max(1, round(0.8 * px_per_mm)))
    cv2.polylines(stroke, [course], False, 2, 1)
    sound = allowed & (stroke == 0)
    dark = 1 - fine / local_mean(fine, sound, 0.8 * px_per_mm)
    body = float(np.quantile(dark[stroke == 2], 0.75)) if (stroke == 2).any() else 0.0
    dark[~allowed] = OUTSIDE
    corner = np.array([x0, y0], np.float64)
    gap = max(1, round(0.12 * px_per_mm))
    rows, columns = np.nonzero(sound[::gap, ::gap])
    places = np.column_stack([columns, rows]) * gap + corner
    around = Surround(dark=dark.astype(np.float32), corner=corner, px_per_mm=px_per_mm)
    return around, places, body


def _chance_contrast(around: Surround, places: Points, heading: float) -> float:
    """What a walk's best look sees on sound rubber, exceeded by chance once in twenty."""
    if len(places) < 20:
        return 0.0
    best = around.contrast(places, heading + _turns()).mean(axis=2).max(axis=1)
    best = best[best > OUTSIDE / 2]
    if len(best) == 0:
        return 0.0
    # Robust, as another crack or a branch may lie in the surround.
    middle = float(np.median(best))
    return middle + 1.645 * 1.4826 * float(np.median(np.abs(best - middle)))


def _turns() -> Points:
    return np.radians(np.linspace(-TURN_DEG, TURN_DEG, 13))


def _walk(
    around: Surround, start: Points, heading: float, *, step: float, threshold: float
) -> Points:
    """Points after `start`, one a step, up to the stroke's end."""
    turns = _turns()
    most = int((BACK_MM + AHEAD_MM) * around.px_per_mm / step)
    at, walked = start, []
    for _ in range(most):
        seen = around.contrast(at[None], heading + turns)[0]
        value = seen.mean(axis=1)
        best = int(np.argmax(value - 0.1 * np.abs(turns)))
        if value[best] < threshold:
            walked.extend(_rest(around, at, heading + turns[best], seen[best] >= threshold))
            break
        # Half the turn: the aim lies ahead, and a tip bends, it does not zigzag.
        heading += 0.5 * float(turns[best])
        at = at + step * np.array([math.cos(heading), math.sin(heading)])
        walked.append(at)
    return np.array(walked).reshape(-1, 2)


def _rest(around: Surround, at: Points, heading: float, dark: Mask) -> list[Points]:
    """The last bit of stroke inside the final look ahead."""
    if not dark[0]:
        return []
    last = int(np.argmin(dark)) - 1 if not dark.all() else len(dark) - 1
    ahead = float(LOOK[last]) * LOOK_MM * around.px_per_mm
    return [at + ahead * np.array([math.cos(heading), math.sin(heading)])]
