"""What tells on which side of a patch's border a pixel lies."""

import math
from collections.abc import Iterator
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from damagescore.damage.crumbling_closeup import Closeup
from damagescore.damage.crumbling_evidence import CALM
from damagescore.damage.crumbling_strip import Image, Mask, blur, pooled

Values = NDArray[np.float32]

REACH_MM = 1.0
"""How far from the first border it is asked anew."""

RING_MM, CORE_MM = 0.5, 0.2
"""Beyond the first from the border rubber is taken as sound, inside the second as crumbled."""

STEPS_MM = (-0.5, -0.3, -0.15, 0.15, 0.3, 0.5)
"""Places along the border's normal, inwards, at which a pixel's surroundings are read."""

NORMAL_MM = 0.3
"""Blur of the patch whose slope is the normal."""

RIM_MM = 0.4
"""Width of the rim whose shade tells where the light comes from."""

QUIET = 1e-5
"""Squared detail that no photo resolves, log units squared."""

BORDER_CLUES = (
    *(f"level {k}" for k in range(1, 5)), *(f"near {k}" for k in range(4)),
    *(f"grain {k}" for k in range(4)), "even fine", "even coarse",
    *(f"dark share {k}" for k in range(3)), "gap", "wide gap", "peak", "odds", "aligned",
    "shaded side", "one-sided light", "beside the layer border",
    *(f"{what} at {step:+}" for step in STEPS_MM for what in ("level", "fine", "coarse")),
    *(f"core grain {k}" for k in range(4)), "core dark", "core level", "core bright",
    "px/mm", "sound fine", "sound coarse",
)  # fmt: skip
"""Names of the columns of what `border_clues` returns, in its order."""


@dataclass(frozen=True, slots=True, kw_only=True)
class _Beside:
    """What is usual beside the patch and in it, and where the border faces."""

    asked: Mask
    core: Mask
    level: float
    quiet: tuple[float, ...]
    normal: tuple[Image, Image]
    shaded: Image
    one_sided: float


def border_clues(closeup: Closeup, patch: Mask) -> tuple[Values, Mask] | None:
    """`BORDER_CLUES` of the pixels near a patch's border.

    Brightness and detail of each pixel beside those of the sound rubber around the patch,
    of its core, and of what lies in front of and behind it across the border. The side
    that a pixel has towards the light is one of them, for a shaded rim is dark where a
    lit one shows only thin gaps.

    Parameters
    ----------
    closeup : Closeup
    patch : ndarray of bool, shape (h, w)
        The patch as known so far.

    Returns
    -------
    tuple of ndarray or None
        Clues (N, len(BORDER_CLUES)) and the mask of the N pixels (h, w); None where the
        patch is too small to have a core.
    """
    beside = _beside(closeup, patch)
    if beside is None:
        return None
    asked = beside.asked
    found = np.empty((np.count_nonzero(asked), len(BORDER_CLUES)), np.float32)
    for column, clue in zip(found.T, _clues(closeup, beside), strict=True):
        column[:] = clue[asked] if isinstance(clue, np.ndarray) and clue.ndim == 2 else clue
    return found, asked


def _beside(closeup: Closeup, patch: Mask) -> _Beside | None:
    strip = closeup.strip
    outside, inside = (_away_mm(closeup, m) for m in (patch, ~patch))
    core = strip.sure & (inside > CORE_MM)
    core = core if core.sum() >= 20 else patch & strip.sure
    if core.sum() < 5:
        return None
    ring = strip.sure & (outside > RING_MM)
    enough = bool(ring.sum() > 0.5 * strip.px_per_mm**2)
    sound, middle, quiet = (ring, 0.5, 0.5) if enough else (strip.sure, 0.7, 0.15)
    level = float(np.quantile(closeup.levels[1][sound], middle))
    soft = blur(patch.astype(np.float32), NORMAL_MM * strip.px_per_mm)
    gx, gy = (cv2.Sobel(soft, cv2.CV_32F, dx, 1 - dx) for dx in (1, 0))
    steep = np.hypot(gx, gy) + np.float32(1e-6)
    normal = (np.asarray(gx / steep), np.asarray(gy / steep))
    rim = strip.sure & (inside > 0) & (inside < RIM_MM)
    shaded, one_sided = _shade(closeup, normal, rim if rim.sum() >= 10 else core, level=level)
    near = (outside < REACH_MM) & (inside < REACH_MM)
    near &= _away_mm(closeup, closeup.first) < REACH_MM
    return _Beside(
        asked=near & (strip.inside > 0.5), core=core, level=level,
        quiet=tuple(float(np.quantile(g[sound], quiet)) for g in closeup.grain),
        normal=normal, shaded=shaded, one_sided=one_sided,
    )  # fmt: skip


def _away_mm(closeup: Closeup, mask: Mask) -> Image:
    away = cv2.distanceTransform((~mask).astype(np.uint8), cv2.DIST_L2, 5)
    return np.asarray(away / closeup.strip.px_per_mm, dtype=np.float32)


def _shade(
    closeup: Closeup, normal: tuple[Image, Image], rim: Mask, *, level: float
) -> tuple[Image, float]:
    """How much a pixel's side of the patch is the shaded one, -1 to 1, and how plainly.

    The rim towards the lamp throws its shadow into the patch: the normals of the rim,
    weighted by how dark it is, add up to a direction.
    """
    dark = np.clip(level - closeup.levels[2], -0.5, 1.0)
    more = dark - np.median(dark[rim])
    towards = np.array([float((n * more)[rim].mean()) for n in normal])
    towards /= float(np.hypot(*towards)) + 0.02
    side = normal[0] * np.float32(towards[0]) + normal[1] * np.float32(towards[1])
    return np.asarray(side, np.float32), float(np.hypot(*towards))


def _clues(closeup: Closeup, beside: _Beside) -> Iterator[Image | Values | float]:
    """Images, constants, and values of the asked pixels, in the order of their names."""
    strip, quiet, level = closeup.strip, beside.quiet, np.float32(beside.level)
    near = [_over(n, q) for n, q in zip(closeup.near, quiet, strict=True)]
    grain = [_over(g, q) for g, q in zip(closeup.grain, quiet, strict=True)]
    fine = _over(closeup.near[0] + closeup.near[1], quiet[0] + quiet[1])
    coarse = _over(closeup.near[1] + closeup.near[2], quiet[1] + quiet[2])
    yield from (x - level for x in closeup.levels[1:])
    yield from near
    yield from grain
    yield from (pooled(strip, x, 0.4) for x in (fine, coarse))
    yield from closeup.dark_share
    yield from (x - level for x in (*closeup.gaps, closeup.peak))
    yield np.clip(closeup.odds, -6, 6)
    yield closeup.aligned
    yield beside.shaded
    yield beside.one_sided
    yield np.minimum(_away_mm(closeup, strip.inside <= 0.5), 0.5)
    yield from _across(beside, (closeup.levels[2] - level, fine, coarse), strip.px_per_mm)
    yield from (float(np.median(g[beside.core])) for g in grain)
    yield from np.quantile(closeup.levels[1][beside.core] - level, (0.2, 0.5, 0.8)).tolist()
    yield math.log(closeup.photo_px_per_mm / 25)
    yield from (math.log(quiet[k] + QUIET) for k in (0, 2))


def _over(energy: Image, quiet: float) -> Image:
    """Logarithm of detail over that of the sound rubber around."""
    return np.asarray(np.log(energy / np.float32(quiet + QUIET) + np.float32(CALM)), np.float32)


def _across(beside: _Beside, images: tuple[Image, ...], px_per_mm: float) -> Iterator[Values]:
    """The images at `STEPS_MM` along the normal of each asked pixel."""
    row, column = np.nonzero(beside.asked)
    nx, ny = (n[beside.asked] for n in beside.normal)
    for step in STEPS_MM:
        x = _folded(column + np.float32(step * px_per_mm) * nx)
        y = _folded(row + np.float32(step * px_per_mm) * ny)
        for image in images:
            read = cv2.remap(image, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
            yield np.asarray(read.ravel()[: len(row)], dtype=np.float32)


def _folded(places: NDArray[np.floating]) -> Values:
    """Places as rows of 4096: the reader takes no longer ones than 32767."""
    rest = -len(places) % 4096
    return np.pad(places, (0, rest)).astype(np.float32).reshape(-1, 4096)
