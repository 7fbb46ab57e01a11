"""Where the border of a crumbled patch lies, asked anew at the photo's own fineness."""

import math
import tomllib
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from damagescore.damage.crumbling_border_clues import BORDER_CLUES, border_clues
from damagescore.damage.crumbling_closeup import Closeup
from damagescore.damage.crumbling_outline import Outline, on_layer, only_touching, ring_of
from damagescore.damage.crumbling_strip import Image, Mask, blur

Values = NDArray[np.float32]

MODEL = Path(__file__).with_name("crumbling_border.toml")

PASSES = 2
"""The second pass has a better core, ring and normal than the first outline gives."""

SMOOTH_MM = 0.04
"""Blur of the log odds: neighbours tell the same within the blur of a good photo."""

TEXTURE = [k for k, name in enumerate(BORDER_CLUES) if name.startswith("core grain")]
"""Columns, alike in every row, of how the core's texture compares with that beside it."""

SURE = 5.0
"""Log odds that leave no doubt; beyond them a pixel says no more to its neighbours."""

LEAST_MM = 0.3
"""Pieces smaller than the square of this are dropped."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Model:
    """Log odds of being crumbled by layers of weighted sums, all but the last through tanh.

    Parameters
    ----------
    middle, spread : ndarray, shape (K,)
        Of the clues on the photos it was fitted on.
    layers : tuple of (weights, offsets)
        Shapes (K, M) and (M,), the last (M, 1) and (1,).
    """

    middle: Values
    spread: Values
    layers: tuple[tuple[Values, Values], ...]

    def odds(self, clues: Values) -> Values:
        """Log odds of each row of `clues`, shape (N, K)."""
        value = np.clip((clues - self.middle) / self.spread, -4, 4)
        for weights, offsets in self.layers[:-1]:
            value = np.tanh(value @ weights + offsets)
        weights, offsets = self.layers[-1]
        return np.asarray((value @ weights + offsets)[:, 0], dtype=np.float32)


def place_border(closeup: Closeup, outline: Outline, *, model: Model | None = None) -> Outline:
    """The outline moved to where a pixel is as likely in the patch as out of it.

    A pixel's odds come from brightness and detail about it, in front of it and behind it
    across the border (`border_clues`), by weights fitted on drawn photos of two generators.
    The border moves by at most `REACH_MM`. Known bias: loose crumbs that lie against a
    patch may be taken for a part of it, shallow fringes finer than a grain may not.

    Parameters
    ----------
    closeup : Closeup
    outline : Outline
        First outline of the same patch.
    model : Model, optional
        Another than the fitted one.

    Returns
    -------
    Outline
        The first one where the patch is too small to ask, and where no pixel is likely in
        it: that one does not stand out at all.
    """
    model = model or fitted_model()
    patch = closeup.first
    odds, near, texture = np.zeros_like(closeup.odds), patch, 0.0
    for _ in range(PASSES):
        read = border_clues(closeup, patch)
        if read is None or not len(read[0]):
            return outline
        odds, near = _odds(closeup, patch, read, model)
        texture = float(read[0][0, TEXTURE].sum())
        field = on_layer(closeup.strip, odds / np.float32(SURE))
        least_px = (LEAST_MM * closeup.strip.px_per_mm) ** 2
        field = only_touching(field, closeup.first, least_px=least_px)
        patch = field > 0
    ring = ring_of(field)
    if ring is None:
        return replace(outline, stands_out=-math.inf)
    chance = 1 / (1 + np.exp(-odds[near]))
    return replace(
        outline,
        polygon_px=closeup.strip.to_photo(ring),
        area_mm2=float(patch.sum()) / closeup.strip.px_per_mm**2,
        unplaced=float(np.sum(chance * (1 - chance))) / float(patch.sum()),
        stands_out=texture,
    )


def _odds(
    closeup: Closeup, patch: Mask, read: tuple[Values, Mask], model: Model
) -> tuple[Image, Mask]:
    """Log odds of all pixels, and which of them lie near the border."""
    clues, asked = read
    rubber = closeup.strip.inside > 0.5
    odds = np.where(patch, np.float32(SURE), np.float32(-SURE))
    odds[asked] = np.clip(model.odds(clues), -SURE, SURE)
    sigma = SMOOTH_MM * closeup.strip.px_per_mm
    share = blur(rubber.astype(np.float32), sigma) + np.float32(1e-3)
    smooth = blur(np.where(rubber, odds, 0).astype(np.float32), sigma) / share
    return np.asarray(smooth, np.float32), asked


@cache
def fitted_model() -> Model:
    """The model as fitted by `python -m benchmarks.fit_border`."""
    plain = tomllib.loads(MODEL.read_text(encoding="utf-8"))
    return Model(
        middle=np.array(plain["middle"], np.float32),
        spread=np.array(plain["spread"], np.float32),
        layers=tuple(
            (np.array(x["weights"], np.float32), np.array(x["offsets"], np.float32))
            for x in plain["layers"]
        ),
    )
