"""A shim's end from all of its rows together, where single rows may not show it."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from damagescore.damage.bulge_sight import WIDTH_PX
from damagescore.edge.sampling import sample_part
from damagescore.photo.record import Photo
from damagescore.quantity import rectangular
from damagescore.ranks import median_slope
from damagescore.scale.record import Scale

Points = NDArray[np.float64]

REACH_MM = 0.3
"""How far from the line of most shims an end is looked for."""

BESIDE_PX, GAP_PX = 10, 2
"""Pixels of part and background beside that reach, and those next to an end left out where
both are compared."""

ALIKE = 20.0
"""Values of a photo that tell as much as a single independent one: neighbours are alike by
blur, by the file's compression and by streaks."""

ROUNDING = 0.5
"""Variance of the grey levels of one colour by rounding."""

BLUR_PX, U_PX = 0.5, 1.0
"""By how much the blur of an end lies outside it, and the uncertainty of that and of one
place for all rows."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ShimEnd:
    """Where a shim ends by all its rows together.

    Parameters
    ----------
    at_mm : ndarray, shape (2,)
        The place on the surface.
    u_mm : float
        Standard uncertainty across the outline.
    u_row_mm : float
        What the place of the outline in a single row may be off by, for how uneven shim and
        background are against their difference there.
    """

    at_mm: Points
    u_mm: float
    u_row_mm: float


def shim_ends(
    photo: Photo, outline: Points, reach: Points, *, inner_px: Points, scale: Scale
) -> list[ShimEnd | None]:
    """Where shims end, by the colours of all their rows together.

    Parameters
    ----------
    photo : Photo
    outline : ndarray, shape (N, 2)
        In order along the stack, photo pixels.
    reach : ndarray, shape (K, 2, 2)
        Where both bonds of each shim reach the outline, mm.
    inner_px : ndarray, shape (2,)
        A point inside the part.
    scale : Scale

    Returns
    -------
    list of ShimEnd or None
        None where the photo ends beside the shim.
    """
    chord = outline[-1] - outline[0]
    along = chord / (np.hypot(*chord) + 1e-12)
    out = np.array([-along[1], along[0]])
    if (inner_px - outline.mean(axis=0)) @ out > 0:
        out = -out
    frame = np.column_stack([along, out])
    t, off = (outline @ frame).T
    spans = [_middle_half(*(scale.surface.to_px(x) @ along)) for x in reach]
    rows = [(t >= low) & (t <= high) for low, high in spans]
    known = [(float(t[r].mean()), float(np.median(off[r]))) for r in rows if r.any()]
    if len(known) < 2:
        return [None] * len(reach)
    x, y = np.array(known).T
    slope = float(median_slope(x, y, least=1e-9))
    line = np.array([slope, float(np.median(y - slope * x))])
    mm_per_px = scale.surface.mm_per_px_at(outline[len(outline) // 2])
    away = math.ceil(REACH_MM / mm_per_px)
    found: list[ShimEnd | None] = []
    for (low, high), own in zip(spans, rows, strict=True):
        at = np.arange(low, high + 0.5)
        strip = _strip(photo, at, line, frame, away + BESIDE_PX)
        if strip is None:
            found.append(None)
            continue
        place, u = _change_point(strip, away)
        u_row = _u_row(photo, outline[own], out)
        # Rows that are surely elsewhere do not share one place: a bulge may hide the shim.
        spread = float((off[own] - np.polyval(line, t[own])).std()) if own.any() else 0.0
        u = math.hypot(u, U_PX, math.sqrt(max(spread**2 - u_row**2, 0.0)))
        middle = np.array([at.mean(), float(np.polyval(line, at.mean())) + place - BLUR_PX])
        found.append(
            ShimEnd(
                at_mm=scale.surface.to_mm((frame @ middle)[None])[0],
                u_mm=u * mm_per_px,
                u_row_mm=u_row * mm_per_px,
            )
        )
    return found


def _middle_half(one: float, other: float) -> tuple[float, float]:
    low, high = sorted((float(one), float(other)))
    quarter = (high - low) / 4
    return math.ceil(low + quarter), high - quarter


def _strip(photo: Photo, t: Points, line: Points, frame: Points, reach: int) -> Points | None:
    """Colours (N, 2 reach + 1, 3) along and across a line at places (N,) along it."""
    across = np.polyval(line, t)[:, None] + np.arange(-reach, reach + 1)
    points = np.stack([np.broadcast_to(t[:, None], across.shape), across], axis=-1) @ frame.T
    limit = np.array([photo.width - 2, photo.height - 2])
    if not len(t) or np.any(points < 1) or np.any(points > limit):
        return None
    return np.asarray(sample_part(photo.rgb, points[..., 0], points[..., 1]), np.float64)


def _change_point(strip: Points, reach: int) -> tuple[float, float]:
    """Column, from the middle, at which the part goes over into the background; its u.

    Both sides are taken as normal in colour, each with its own covariance and with its own
    mean in each row. What is even in colour, as a background is, then ends where the other
    begins, whichever differs: colour, streaks or stains. The place is the mean of its
    likelihood, the uncertainty its standard deviation.
    """
    count, width, _ = strip.shape
    sums = np.concatenate([np.zeros((count, 1, 3)), np.cumsum(strip, axis=1)], axis=1)
    products = np.cumsum(np.einsum("nwi,nwj->wij", strip, strip), axis=0)
    products = np.concatenate([np.zeros((1, 3, 3)), products])
    places = np.arange(-reach, reach + 1)
    chances = np.zeros(len(places))
    for k, column in enumerate(places + width // 2):
        for first, last in ((0, column), (column + 1, width)):
            n = last - first
            row_sums = sums[:, last] - sums[:, first]
            square = products[last] - products[first] - row_sums.T @ row_sums / n
            covariance = square / (count * n) + ROUNDING * np.eye(3)
            chances[k] -= count * n / 2 * np.linalg.slogdet(covariance)[1] / ALIKE
    share = np.exp(chances - chances.max())
    share /= share.sum()
    place = float(share @ places)
    return place, math.sqrt(float(share @ (places - place) ** 2))


def _u_row(photo: Photo, outline: Points, out: Points) -> float:
    """Uncertainty of single rows' place, pixels: unevenness over the slope of the outline."""
    if not len(outline):
        return 0.0
    away = np.arange(GAP_PX, BESIDE_PX)
    inside, outside = (
        sample_part(
            photo.rgb, *(outline[:, k][:, None] + way * away * out[k] for k in (0, 1))
        ).reshape(-1, 3).astype(np.float64)
        for way in (-1, 1)
    )  # fmt: skip
    step = inside.mean(axis=0) - outside.mean(axis=0)
    square = float(step @ step) + 1e-6
    uneven = math.hypot(*(float((x @ step).std()) for x in (inside, outside))) / square
    return rectangular(WIDTH_PX * uneven)
