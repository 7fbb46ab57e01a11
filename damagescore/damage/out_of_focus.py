"""Rubber that is locally out of focus, told by the layer borders that cross it.

Plain rubber shows no texture to focus on, but each border of a layer is a step, and how wide
the lens draws it tells the blur there: along a round edge or a slanted view it grows.
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d
from scipy.special import erf

from damagescore.edge.correct import boundaries_of
from damagescore.edge.record import Edge, Layer
from damagescore.edge.region import across_layer
from damagescore.edge.sampling import sample_part
from damagescore.photo.along import at_run, run_of
from damagescore.photo.record import Photo
from damagescore.quality.rule import QualityRule
from damagescore.quality.sharpness import HALF_CONTRAST_PER_SIGMA
from damagescore.ranks import quantile
from damagescore.runs import runs_of_true
from damagescore.scale.record import Scale

Points = NDArray[np.float64]
Mask = NDArray[np.bool_]

PIECE_MM, EVERY_MM = 1.0, 1.6
"""Length of border that is read as one, straight enough to be, and from piece to piece."""

COLUMNS = 16
"""Profiles averaged over a piece: chance levels out, a smear does not."""

REACH_MM, STEEP_MM = 0.7, 0.3
"""How far across the border its levels are looked for, and its steepest place: blur drawn
wider than the first is far beyond what is judged."""

LEAST_STEP = 8.0
"""Grey levels between both sides below which a border is too faint to be read."""

NEAR_MM, FEWEST = 5.0, 6
"""Readings this near to a place tell of it, and how many it takes."""

SHARPEST = 25
"""Percentile of those readings that tells of the lens; rounded and smeared borders are
wider than it draws them."""

STATION_MM = 1.0
"""From place to place along a layer at which it is asked."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Readings:
    """Finest width (K,) that shows, mm, at places (K, 2) on the surface, mm."""

    places_mm: Points
    finest_mm: Points

    def near(self, places_mm: Points) -> Points:
        """The finest width at other places (N,); NaN where too few readings are near."""
        found = np.full(len(places_mm), np.nan)
        for i, place in enumerate(places_mm):
            near = np.hypot(*(self.places_mm - place).T) < NEAR_MM
            if np.count_nonzero(near) >= FEWEST:
                found[i] = quantile(self.finest_mm[near], SHARPEST / 100)
        return found


def blurred_parts(photo: Photo, edge: Edge, scale: Scale) -> dict[int, list[Points]]:
    """Outlines (N, 2) of what lies out of focus of each rubber layer, by its index.

    A place is out of focus where the borders about it show nothing as fine as what a photo
    is warned about for (`QualityRule.finest_width_mm`, 0.15 mm): on rendered photos with a
    small depth of field 64 of 65 cracks and patches were found where 0.11 mm or finer
    showed, 6 of 11 up to 0.15 mm, and 3 of 23 beyond. Where no border is plain enough to be
    read, nothing is said.

    Parameters
    ----------
    photo : Photo
    edge : Edge
    scale : Scale
    """
    readings = readings_at_borders(photo, edge, scale)
    limit = QualityRule().finest_width_mm.warn
    parts: dict[int, list[Points]] = {}
    for layer in edge.rubber:
        length_mm = scale.surface.length_mm(layer.lower_px)
        count = max(2, round(length_mm / STATION_MM))
        shares: Points = (np.arange(count, dtype=np.float64) + 0.5) / count
        middles = across_layer(layer, shares, (0.5,))[:, 0]
        with np.errstate(invalid="ignore"):  # what is not known is not beyond
            beyond = readings.near(scale.surface.to_mm(middles)) > limit
        outlines = _outlines(layer, shares, beyond)
        if outlines:
            parts[layer.index] = outlines
    return parts


def readings_at_borders(photo: Photo, edge: Edge, scale: Scale) -> Readings:
    """Read how wide the photo draws the borders of all layers."""
    borders = boundaries_of(edge)
    shims = [0.0] * len(borders)  # the outermost are borders of plates
    for k, layer in enumerate(edge.layers):
        if layer.kind == "shim":
            thick = layer.upper_px.mean(axis=0) - layer.lower_px.mean(axis=0)
            shims[k] = shims[k + 1] = float(np.hypot(*thick))
    read = [
        _read(photo, edge, scale, border=border, shim_px=shim)
        for border, shim in zip(borders, shims, strict=True)
    ]
    return Readings(
        places_mm=np.vstack([p for p, _ in read]),
        finest_mm=np.concatenate([w for _, w in read]),
    )


def _read(
    photo: Photo, edge: Edge, scale: Scale, *, border: Points, shim_px: float
) -> tuple[Points, Points]:
    """Places (K, 2) in mm and finest widths (K,) in mm along one border."""
    mm_per_px = scale.mm_per_px
    length = run_of(border)[-1]
    starts = np.arange(0.0, length - PIECE_MM / mm_per_px, EVERY_MM / mm_per_px)
    reach, steep = REACH_MM / mm_per_px, STEEP_MM / mm_per_px
    if len(starts) == 0 or steep < 1:
        return np.empty((0, 2)), np.empty(0)
    run = starts[:, None] + np.linspace(0, PIECE_MM / mm_per_px, COLUMNS)[None, :]
    at = at_run(border, run.ravel()).reshape(*run.shape, 2)
    chord = at[:, -1] - at[:, 0]
    normal = np.column_stack([-chord[:, 1], chord[:, 0]])
    normal /= np.hypot(*normal.T)[:, None] + 1e-12
    offsets = np.arange(-np.ceil(reach), np.ceil(reach) + 0.5, 0.5)
    places = at[:, :, None] + offsets[None, None, :, None] * normal[:, None, None]
    flat = places.reshape(len(starts), -1, 2)
    inside = ((flat >= 0) & (flat <= np.array(edge.shape)[::-1] - 1)).all(axis=(1, 2))
    inside &= edge.allows(at.reshape(-1, 2)).reshape(run.shape).all(axis=1)
    if not inside.any():
        return np.empty((0, 2)), np.empty(0)
    grey = sample_part(photo.grey, flat[inside, :, 0], flat[inside, :, 1])
    columns = grey.reshape(-1, COLUMNS, len(offsets)).astype(np.float64)
    step, slope = _steps(_straightened(columns, offsets, steep), offsets, steep)
    known = step > LEAST_STEP
    sigma_px = sigma_of(step[known] / slope[known], shim_px)
    middles = at[inside][known].mean(axis=1)
    local = np.array([scale.surface.mm_per_px_at(m) for m in middles])
    return scale.surface.to_mm(middles), HALF_CONTRAST_PER_SIGMA * sigma_px * local


def sigma_of(range_per_slope: Points, shim_px: float) -> Points:
    """Blur (K,) that draws the side of a bar with such ranges over steepest slopes, px.

    For a gaussian blur of s a lone step gives sqrt(2 pi) s, and a bar of the width of s or
    less about 1.65 s, as it no longer reaches its full contrast; `shim_px` 0 is a lone step.
    """
    lone = range_per_slope / math.sqrt(2 * math.pi)
    if shim_px <= 0:
        return np.asarray(lone)
    blur = np.geomspace(0.005, 5.0, 90)  # in widths of the bar
    at = np.linspace(-6.0, 0.5, 400)[:, None] / np.maximum(1.0, 1.0 / blur)
    slope = (np.exp(-((at / blur) ** 2) / 2) - np.exp(-(((at - 1) / blur) ** 2) / 2)).max(
        axis=0
    )
    drawn = erf(1 / (math.sqrt(8) * blur)) * math.sqrt(2 * math.pi) * blur / slope
    return np.asarray(shim_px * np.interp(range_per_slope / shim_px, drawn, blur))


def _straightened(columns: Points, offsets: Points, steep: float) -> Points:
    """Mean profiles (K, J) of columns (K, C, J), moved onto the line their steps lie on.

    The border that was found is smooth; where the layer bends faster, it crosses the step at
    a slant, and the plain mean would be wide.
    """
    even = gaussian_filter1d(gaussian_filter1d(columns, 1.5, axis=1), 1.0, axis=2, order=1)
    about = np.abs(offsets) <= steep
    total = even.mean(axis=1)
    peak = np.take_along_axis(total, np.argmax(np.abs(total) * about, axis=1)[:, None], 1)
    rising = even * np.where(peak >= 0, 1.0, -1.0)[:, None]
    at = np.argmax(np.where(about, rising, -np.inf), axis=2).astype(np.float64)
    turn = np.arange(COLUMNS) - (COLUMNS - 1) / 2
    slope = (at * turn).sum(axis=1) / (turn**2).sum()
    moved = np.round(slope[:, None] * turn).astype(np.intp)[..., None]
    taken = np.clip(np.arange(len(offsets)) + moved, 0, len(offsets) - 1)
    return np.asarray(np.take_along_axis(columns, taken, axis=2).mean(axis=1))


def _steps(profile: Points, offsets: Points, steep: float) -> tuple[Points, Points]:
    """Range (K,) and steepest slope (K,) a pixel of profiles (K, J) across a border."""
    slope = gaussian_filter1d(profile, 1.0, axis=1, order=1) / float(offsets[1] - offsets[0])
    about = np.abs(offsets) <= steep
    best = np.argmax(np.abs(slope) * about, axis=1)
    rows = np.arange(len(profile))
    steepest = slope[rows, best]
    # The levels are those on the steep place's own two sides, up to where they turn back.
    before = np.arange(len(offsets))[None, :] <= best[:, None]
    rising = np.where(steepest >= 0, 1.0, -1.0)[:, None] * profile
    low = np.where(before, rising, np.inf).min(axis=1)
    high = np.where(before, -np.inf, rising).max(axis=1)
    return high - low, np.maximum(np.abs(steepest), 1e-6)


def _outlines(layer: Layer, shares: Points, beyond: Mask) -> list[Points]:
    """Outlines of the runs of stations that are out of focus."""
    half = (shares[1] - shares[0]) / 2
    outlines = []
    for first, last in runs_of_true(beyond):
        start = 0.0 if first == 0 else shares[first] - half
        end = 1.0 if last == len(shares) else shares[last - 1] + half
        sides = across_layer(layer, np.linspace(start, end, 2 + (last - first)), (0.0, 1.0))
        outlines.append(np.vstack([sides[:, 0], sides[::-1, 1]]))
    return outlines
