"""How likely an outlined patch is crumbled rubber, from all that the photo shows of it."""

from functools import cache
from pathlib import Path

from damagescore.damage.confidence import Model, read_model
from damagescore.damage.crumbling_evidence import CLUES, Evidence
from damagescore.damage.crumbling_outline import Outline

MODEL = Path(__file__).with_name("crumbling_chance.toml")

MOST_STANDS_OUT = 8.0
"""A texture that is this many log units over that beside it is as plain as any."""

MOST_OVER = 3.0
"""The same of what it is over the photo's own, in units of how much that scatters."""

PLAIN_TEXTURE, LITTLE_TEXTURE = 2.2, 1.3
"""Logs of texture over sound texture: from the first on a patch hardly grows plainer by it,
and below the second a dark place may be a stain."""

LINES = 0.55
"""Coherence above which a patch is more likely lines than grains."""

BROAD_MM = 0.6
"""A patch that is narrower (`Outline.breadth_mm`) may be a wide crack."""

THIN_MM = 1.6
"""Below, the border of the layer is in all that is read of a patch."""

LEAST_SCATTER = 0.1
"""Added to how much a photo's texture scatters: no rubber is that even."""


def terms_of(evidence: Evidence, outline: Outline) -> dict[str, float]:
    """What speaks for and against a patch, by the names of the fitted model.

    Each is cut to what most photos of the fit show: beyond, a weight would be a guess.

    None of them rejects a patch by itself: a plain one in a thin layer may look like a line,
    and a shallow one is no darker than the rubber around it.

    Parameters
    ----------
    evidence : Evidence
        Of the layer that the patch lies in.
    outline : Outline
        One whose border is not placed yet gets the most that standing out could add.
    """
    seen = dict(zip(CLUES, map(float, outline.usual), strict=True))
    usual, scatter = evidence.usual
    texture, lines, bright = seen["even 1.0"], seen["aligned"], seen["bright over dark"]
    shade = _cut(seen["darker"], -0.1, 0.3)
    return {
        "texture": min(texture, PLAIN_TEXTURE),
        "over_the_photo": _cut((texture - usual) / (scatter + LEAST_SCATTER), -2, MOST_OVER),
        "dark_texture": min(seen["dark even 1.0"], PLAIN_TEXTURE),
        "contrast": _cut(seen["contrast"], -6, -3),
        "dark_grains": _cut(seen["dark coarse"] - seen["dark fine"], -1, 1),
        "bright_grains": _cut(seen["bright coarse"] - seen["bright fine"], -1, 1),
        "shade": shade,
        "stain": max(LITTLE_TEXTURE - texture, 0.0) * (shade + 0.1),
        "lines": lines,
        "mostly_lines": max(lines - LINES, 0.0),
        "narrow": max(BROAD_MM - outline.breadth_mm, 0.0),
        "thin_layer": max(THIN_MM - evidence.thickness_mm, 0.0),
        "bright": _cut(bright, -3, 3),
        "mostly_bright": _cut(bright - 0.2, 0, 2.8),
        "mostly_dark": max(-1.5 - bright, 0.0),
        "undecided": min(outline.undecided, 0.6),
        "stands_out": _cut(outline.stands_out, 0, MOST_STANDS_OUT),
    }


def _cut(value: float, low: float, high: float) -> float:
    return min(max(value, low), high)


def chance_of(evidence: Evidence, outline: Outline, *, model: Model | None = None) -> float:
    """Chance that an outlined patch is crumbled rubber, 0.01 to 0.99.

    Parameters
    ----------
    evidence : Evidence
        Of the layer that the patch lies in.
    outline : Outline
    model : Model, optional
        Another than the fitted one.
    """
    return (model or fitted_model()).chance_of(terms_of(evidence, outline))


@cache
def fitted_model() -> Model:
    """The model as fitted by `python -m benchmarks.fit_patches`."""
    return read_model(MODEL)
