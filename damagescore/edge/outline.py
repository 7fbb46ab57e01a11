"""The part's outline against the background, seen along the exposed edge."""

import math
from dataclasses import dataclass
from typing import Literal

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d, median_filter

from damagescore.edge.sampling import sample_part
from damagescore.photo.record import Photo

Points = NDArray[np.float64]
Strip = NDArray[np.float32]
Mask = NDArray[np.bool_]
Outward = Literal["right", "left", "down", "up"]

REDUCED_PX = 600
LEAST_CONTRAST = 0.1
"""Share of the background's level by which the part must differ from it."""

MOST_HAZE = 10.0
"""Noise of the background (4 sigma, grey levels) up to which grain tells a part."""

SPIKE_ROWS, MOST_SPIKE_PX = 9, 2.5
"""Rows compared with, and how far one row may lie off their median."""

NOTHING_SEEN_PX = 9.0
"""Noise of an outline that was seen nowhere: more than any that is used."""

LEAST_SHARE = 0.03
"""A background smaller than this share of the photo is not looked at."""


@dataclass(frozen=True, kw_only=True)
class Turned:
    """The photo turned or mirrored so that the part's outside is to the right.

    `rgb` (H, W, 3) uint8; `outward` says where the outside is in the photo.
    """

    rgb: NDArray[np.uint8]
    outward: Outward

    def to_photo(self, points: Points) -> Points:
        """Photo pixels of turned pixels, shape (N, 2)."""
        x, y = np.asarray(points, np.float64).T
        width = self.rgb.shape[1]
        if self.outward == "right":
            return np.column_stack([x, y])
        if self.outward == "left":
            return np.column_stack([width - 1 - x, y])
        if self.outward == "down":
            return np.column_stack([y, x])
        return np.column_stack([y, width - 1 - x])


def turned_array(array: NDArray[np.generic], outward: Outward) -> NDArray[np.generic]:
    """Turn or mirror an image so that `outward` becomes right."""
    if outward == "right":
        return array
    if outward == "left":
        return array[:, ::-1]
    swapped = array.swapaxes(0, 1)
    return swapped if outward == "down" else swapped[:, ::-1]


@dataclass(frozen=True, slots=True, kw_only=True)
class Track:
    """A rough outline in the reduced, turned photo: x (N,) at rows (N,)."""

    rows: Points
    x: Points
    outward: Outward


def rough_outlines(photo: Photo) -> tuple[list[Track], float]:
    """Outlines of large things against smooth backgrounds, longest first.

    Returns
    -------
    tracks : list of Track
        In reduced pixels of the turned photo.
    factor : float
        Reduced pixels per photo pixel.
    """
    factor = min(1.0, REDUCED_PX / max(photo.width, photo.height))
    size = (round(photo.width * factor), round(photo.height * factor))
    small = np.asarray(cv2.resize(photo.rgb, size, interpolation=cv2.INTER_AREA), np.uint8)
    tracks: list[Track] = []
    for background in _backgrounds(small):
        for outward in ("right", "left", "down", "up"):
            mask = turned_array(background, outward)
            tracks.extend(_tracks(np.asarray(mask, dtype=bool), outward))
    tracks.sort(key=lambda t: -len(t.rows))
    return tracks, factor


def _backgrounds(small: NDArray[np.uint8]) -> list[Mask]:
    """Smooth regions that reach the photo's border, largest first."""
    blurred = np.asarray(cv2.GaussianBlur(cv2.medianBlur(small, 3), (0, 0), 0.8), np.uint8)
    steep = _steepness(blurred)
    # Relative to the photo's own grain; the floor is a soft step in a dim photo.
    smooth = steep < max(3.0 * float(np.median(steep)), 2.5)
    # Thin passages (a soft place of the outline) are closed before labelling.
    core = cv2.erode(smooth.astype(np.uint8), np.ones((5, 5), np.uint8))
    _, labels, facts, _ = cv2.connectedComponentsWithStats(core, connectivity=4)
    height, width = core.shape
    left, top, wide, tall, area = facts[1:].T
    border = (left <= 3) | (top <= 3) | (left + wide >= width - 3) | (top + tall >= height - 3)
    picked = np.flatnonzero(border & (area > 0.004 * core.size)) + 1
    grown = [
        cv2.dilate((labels == k).astype(np.uint8), np.ones((5, 5), np.uint8)) > 0
        for k in picked
    ]
    return _joined(grown, blurred)


def _steepness(blurred: NDArray[np.uint8]) -> Points:
    lab = cv2.cvtColor(blurred, cv2.COLOR_RGB2LAB).astype(np.float32)
    dx = cv2.Sobel(lab, cv2.CV_32F, 1, 0, ksize=3) / 8
    dy = cv2.Sobel(lab, cv2.CV_32F, 0, 1, ksize=3) / 8
    return np.asarray(np.sqrt((dx**2 + dy**2).sum(axis=2)), dtype=np.float64)


def _joined(regions: list[Mask], blurred: NDArray[np.uint8]) -> list[Mask]:
    """Regions of one colour (parted by a card) joined, with specks closed."""
    regions.sort(key=lambda r: -int(r.sum()))
    lab = cv2.cvtColor(blurred, cv2.COLOR_RGB2LAB).astype(np.float32)
    means = [lab[r].mean(axis=0) for r in regions]
    groups: list[tuple[Mask, NDArray[np.float32]]] = []
    for region, mean in zip(regions, means, strict=True):
        for i, (mask, colour) in enumerate(groups):
            if np.linalg.norm(colour - mean) < 12:
                groups[i] = (mask | region, colour)
                break
        else:
            groups.append((region, mean))
    kernel = np.ones((5, 5), np.uint8)
    closed = [
        cv2.morphologyEx(m.astype(np.uint8), cv2.MORPH_CLOSE, kernel) > 0 for m, _ in groups
    ]
    return [m for m in closed if m.mean() > LEAST_SHARE][:4]


def _tracks(background: Mask, outward: Outward) -> list[Track]:
    """Runs of rows along which something ends and the background begins."""
    height, width = background.shape
    inner, outer = max(width // 25, 6), max(width // 80, 3)
    inside, outside = (x.astype(np.float32) for x in (~background, background))
    border = cv2.BORDER_REFLECT
    solid = cv2.blur(inside, (inner, 1), borderType=border)
    empty = cv2.blur(outside, (outer, 1), borderType=border)
    steps = ~background[:, :-1] & background[:, 1:]
    steps &= np.roll(solid, inner // 2, axis=1)[:, :-1] > 0.9
    steps &= np.roll(empty, -(outer // 2) - 1, axis=1)[:, :-1] > 0.9
    rows, columns = np.nonzero(steps)
    left = np.ones(len(rows), dtype=bool)
    found: list[Track] = []
    for _ in range(3):
        track = _longest_track(rows[left], columns[left], outward)
        if track is None or len(track.rows) < 0.12 * height:
            break
        found.append(track)
        used = dict(zip(track.rows.tolist(), track.x.tolist(), strict=True))
        left &= ~np.array(
            [used.get(float(r), -9.0) == c + 0.5 for r, c in zip(rows, columns, strict=True)],
            dtype=bool,
        )
    return found


def _longest_track(
    rows: NDArray[np.intp], columns: NDArray[np.intp], outward: Outward
) -> Track | None:
    """Chain steps of successive rows (gaps to 3 rows, moves to 12 px)."""
    if len(rows) == 0:
        return None
    y, x = rows.tolist(), columns.tolist()  # plain numbers: each place has few before it
    length, back = [1.0] * len(y), [-1] * len(y)
    start = 0
    for i in range(len(y)):
        while y[start] < y[i] - 3:
            start += 1
        most = -math.inf
        for j in range(start, i):
            move = abs(x[j] - x[i])
            if y[j] < y[i] and move <= 12 and length[j] - 0.02 * move > most:
                most, back[i] = length[j] - 0.02 * move, j
        if back[i] >= 0:
            length[i] = length[back[i]] + 1
    picked = [int(np.argmax(length))]
    while back[picked[-1]] >= 0:
        picked.append(back[picked[-1]])
    at = np.array(picked[::-1])
    return Track(rows=rows[at].astype(float), x=columns[at] + 0.5, outward=outward)


@dataclass(frozen=True, slots=True, kw_only=True)
class Outline:
    """The outline to a fraction of a pixel, in the turned photo.

    `rows` (N,) successive integers, `x` (N,), NaN where it could not be located;
    `noise_px` the robust row-to-row noise.
    """

    rows: Points
    x: Points
    noise_px: float


def exact_outline(
    turned: Turned, track: Track, factor: float, *, notch_px: float = 0.0
) -> Outline:
    """Locate the outline in every row: where the level is half way.

    Half way between the colours of the part and of the background next to it,
    averaged over 3 rows; this is unbiased for a
    straight outline blurred by an even kernel and rounds a bend of radius r
    inward by sigma^2 / 2r. `notch_px` is how far inside the rough outline, which
    bridges the notch between two bulged layers, it is looked for.
    """
    height = turned.rgb.shape[0]
    first = max(int(np.ceil((track.rows[0] + 0.5) / factor)), 0)
    last = min(int((track.rows[-1] + 0.5) / factor), height - 1)
    rows = np.arange(first, last + 1, dtype=np.float64)
    x = np.interp((rows + 0.5) * factor - 0.5, track.rows, median_filter(track.x, 3))
    x = (x + 0.5) / factor - 0.5
    reach = int(np.ceil(10.0 / factor)) + 10
    inner = max(reach, int(notch_px))
    for _ in range(2):
        seen = _half_way(turned, rows, x, (inner, reach))
        known = np.isfinite(seen)
        if not known.any():
            return Outline(rows=rows, x=seen, noise_px=NOTHING_SEEN_PX)
        x = np.interp(rows, rows[known], seen[known])
        inner = reach
    final = _without_spikes(_half_way(turned, rows, x, (reach, reach)))
    rough = final - gaussian_filter1d(np.where(np.isfinite(final), final, x), 3.0)
    noise = NOTHING_SEEN_PX
    if np.isfinite(rough).any():
        noise = 1.4826 * float(np.nanmedian(np.abs(rough)))
    return Outline(rows=rows, x=final, noise_px=max(noise, 0.02))


def _without_spikes(x: Points) -> Points:
    """The same with rows unknown that stand alone.

    Where a bright shim goes over into dark rubber, a row's mixed colour may be that
    of the background: its outline is then anywhere. A steep flank stays.
    """
    known = np.isfinite(x)
    if not known.any():
        return x
    rows = np.arange(len(x))
    usual = median_filter(np.interp(rows, rows[known], x[known]), SPIKE_ROWS)
    return np.where(np.abs(x - usual) > MOST_SPIKE_PX, np.nan, x)


def _half_way(turned: Turned, rows: Points, x: Points, within: tuple[int, int]) -> Points:
    """Column (N,) of the outline, looked for so far inside and outside x."""
    inner, reach = within
    offsets = np.arange(-inner, reach + 1, dtype=np.float64)
    columns = np.round(x)[:, None] + offsets
    strip = sample_part(turned.rgb, columns, rows[:, None])
    strip = np.asarray(cv2.blur(strip, (1, 3), borderType=cv2.BORDER_REFLECT), np.float32)
    # A lens blurs light, not the stored values: half way in those lies too far on the
    # dark side, by half a pixel for black on white. Hence the usual power of 2.2.
    light = np.float32(255) * (strip / np.float32(255)) ** np.float32(2.2)
    outside = _outside_colour(light, reach)
    inside = np.median(light[:, inner - reach : inner - reach // 2], axis=1)
    crossing = _crossing(light, inside, outside)
    for _ in range(2):
        guess = np.where(np.isfinite(crossing), crossing, inner)
        inside = _inside_colour(light, guess, outside)
        crossing = _crossing(light, inside, outside)
    stored = _outside_colour(strip, reach)
    guess = np.where(np.isfinite(crossing), crossing, inner)
    contrast = np.linalg.norm(_inside_colour(strip, guess, stored) - stored, axis=1)
    crossing = _with_departures(strip, stored, crossing, contrast)
    return np.asarray(np.round(x) + crossing - inner)


def _outside_colour(strip: Strip, reach: int) -> Points:
    """Colour (N, 3) of the background at the outer end of the strip."""
    outer = np.median(strip[:, -reach // 3 :], axis=1)
    return np.asarray(gaussian_filter1d(outer, 15.0, axis=0))


def _with_departures(
    strip: Strip, outside: Points, crossing: Points, contrast: Points
) -> Points:
    """Where part and background are about alike, take the end of the smooth background.

    The part's grain then still tells it from the background. Rows that do not
    agree with their neighbours stay unknown. Bias: about half a pixel either way.
    """
    off_by = strip - outside[:, None].astype(np.float32)
    apart = np.sqrt((off_by * off_by).sum(axis=2))
    noise = float(np.median(apart[:, -strip.shape[1] // 6 :]))
    off = apart > max(4.0 * noise, 4.0)
    if 4.0 * noise > MOST_HAZE:
        off[:] = False  # the grain would be found too far inside
    leaves = off[:, :-1] & ~off[:, 1:]
    leaves[:, 2:] &= off[:, 1:-2] | off[:, :-3]
    at = leaves.shape[1] - 1.0 - np.argmax(leaves[:, ::-1], axis=1)
    at = np.where(leaves.any(axis=1), at - 0.1, 0.0)
    steady = median_filter(at, 5)
    loose = median_filter(np.abs(at - steady), 5) > 0.8
    steady[loose | ~leaves.any(axis=1)] = np.nan
    least = np.maximum(LEAST_CONTRAST * np.linalg.norm(outside, axis=1), 4.0 * noise)
    return np.where(contrast < least, steady, crossing)


def _inside_colour(strip: Strip, guess: Points, outside: Points) -> Points:
    """Colour (N, 3) of the part 3 to 8 px inside the crossing, smoothed along rows."""
    wide = strip.shape[1]
    first = np.maximum(np.ceil(guess - 8), 0).astype(np.intp)
    columns = first[:, None] + np.arange(6)
    taken = ((columns <= guess[:, None] - 3) & (columns < wide))[..., None]
    near = strip[np.arange(len(strip))[:, None], np.minimum(columns, wide - 1)]
    inside = (near * taken).sum(axis=1) / np.maximum(taken.sum(axis=1), 1)
    inside = np.where(taken.any(axis=1), inside, outside)
    return np.asarray(gaussian_filter1d(median_filter(inside, (5, 1)), 1.5, axis=0))


def _crossing(strip: Strip, inside: Points, outside: Points) -> Points:
    """Fractional column where the colour is half way between the two, NaN if none.

    The direction in colour is each row's own: a bright shim may be lighter than
    the background beside which the rubber is dark.
    """
    toward = inside - outside
    toward /= (toward**2).sum(axis=1, keepdims=True) + 1e-9
    at_outside = (outside * toward).sum(axis=1, keepdims=True).astype(np.float32)
    share = (strip @ toward.astype(np.float32)[..., None])[..., 0] - at_outside
    within = share > 0.5
    leaves = within[:, :-1] & ~within[:, 1:]
    # A single pixel of noise out in the background is no outline.
    leaves[:, 2:] &= within[:, 1:-2] | within[:, :-3]
    at = leaves.shape[1] - 1 - np.argmax(leaves[:, ::-1], axis=1)
    rows = np.arange(len(share))
    upper, lower = share[rows, at], share[rows, at + 1]
    part = (upper - 0.5) / np.where(np.abs(upper - lower) > 1e-9, upper - lower, 1.0)
    return np.where(leaves.any(axis=1), at + np.clip(part, 0, 1), np.nan)


def filled(outline: Outline) -> Points:
    """Outline x with the unknown rows bridged."""
    known = np.isfinite(outline.x)
    return np.interp(outline.rows, outline.rows[known], outline.x[known])
