"""Parts of a layer on which damage would not be seen: dark, glary, covered, blurred, hidden."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from damagescore.damage.crumbling_evidence import (
    CHANNELS,
    Evidence,
    evenness,
    over_sound,
    sum_of,
)
from damagescore.damage.crumbling_light import LEVEL_MM
from damagescore.damage.crumbling_outline import rings_as_one
from damagescore.damage.crumbling_strip import DARK_OFFSET, Image, Mask, Strip, blur, pooled
from damagescore.damage.unjudged import BLURRED, HIDDEN, Reason, Unjudged
from damagescore.edge.record import Edge, Layer
from damagescore.photo.outline import fill_outline
from damagescore.quantity import Contribution, Measured, NotMeasured, Quantity, from_budget
from damagescore.scale.record import Scale

Points = NDArray[np.float64]

FAINT_ENERGY = 0.008
"""Squared detail of faint crumbling in good light, log units squared: nine of ten patches
of the development photos show more (0.008 to 0.033)."""

LEAST_TEXTURE = 1.1
"""Log of texture over sound texture that nearly all crumbled patches have."""

NOTHING: Mapping[int, Sequence[Points]] = {}

GLARE_TIMES = 4.0
"""Rubber this much brighter than its median is washed out, as `quality.light` has it."""

WHITE = 237.0
"""Grey level from which no detail is left."""

MATTER = 0.7
"""Log units above the light on the rubber around it, twice the grey level, from which a
place shows chalk where it is rough, and a lamp's mirror image where it is not."""

SMOOTH_MM = 1.0
"""Blur of what cannot be judged: narrower places do not hide a patch."""

LEAST_MM2 = 3.0
"""Smaller parts are left out: twice the smallest patch."""

HIDDEN_PX_PER_MM = 12.0
"""Fineness at which it is worked out what lies behind the scale mark."""


@dataclass(frozen=True, slots=True, kw_only=True)
class _Blind:
    """Where a layer cannot be judged: masks (h, w) by reason, on the layer's strip."""

    masks: dict[Reason, Mask]
    strip: Strip

    @property
    def any(self) -> Mask:
        """Where most of the surroundings cannot be judged, for whatever reason."""
        blind = np.any(list(self.masks.values()), axis=0).astype(np.float32)
        return (pooled(self.strip, blind, SMOOTH_MM) > 0.5) & (self.strip.inside > 0.5)


def unseen_parts(
    evidences: Sequence[Evidence],
    edge: Edge,
    scale: Scale,
    *,
    found_px: Sequence[Points] = (),
    blurred_px: Mapping[int, Sequence[Points]] = NOTHING,
) -> tuple[Unjudged, ...]:
    """Find where crumbling would not be seen.

    A place is too dark where faint crumbling (`FAINT_ENERGY`) would not stand out from
    what noise and texture show on sound rubber at that light. It is glary where it is
    washed out; covered where chalk or dust hides most of it; out of focus (see
    `blurred_parts`); or lies behind the scale mark. Where a patch was found, it was seen.

    Parameters
    ----------
    evidences : sequence of Evidence
    edge : Edge
    scale : Scale
    found_px : sequence of ndarray, shape (N, 2)
        Outlines of the patches found.
    blurred_px : mapping of sequences of ndarray, shape (N, 2)
        Outlines of what is out of focus, by the index of the layer.
    """
    usual = _usual_grey(evidences)
    parts: list[Unjudged] = []
    for layer in edge.rubber:
        whole_mm2 = scale.surface.area_mm2(layer.polygon_px)
        outlines = [(HIDDEN, x) for x in _hidden(layer, edge, scale)]
        for evidence in evidences:
            if evidence.strip.layer.index == layer.index:
                blurred = blurred_px.get(layer.index, ())
                outlines += _outlines(evidence, _blind(evidence, usual, blurred), found_px)
        parts += [
            _unjudged(layer, reason, x, scale, whole_mm2=whole_mm2) for reason, x in outlines
        ]
    return tuple(parts)


def _usual_grey(evidences: Sequence[Evidence]) -> float:
    levels = [e.level[e.strip.sure][::7] for e in evidences]
    known = np.concatenate(levels) if levels else np.empty(0)
    return max(float(np.exp(np.median(known)) - DARK_OFFSET), 20.0) if len(known) else 20.0


def _blind(evidence: Evidence, usual: float, blurred_px: Sequence[Points]) -> _Blind:
    strip = evidence.strip
    # Grey levels are raised before the logarithm, so contrast shrinks near black.
    seen = pooled(strip, strip.log_grey, LEVEL_MM)
    grey = np.maximum(np.exp(seen) - np.float32(DARK_OFFSET), 0)
    kept = np.asarray(grey / (grey + np.float32(DARK_OFFSET)), np.float32)
    faint = np.float32(FAINT_ENERGY) * kept * kept
    dark = over_sound(faint, sum_of(evidence.sound)) < LEAST_TEXTURE
    bright = (seen > evidence.light + np.float32(MATTER)) | (grey > GLARE_TIMES * usual)
    bright |= grey > WHITE
    rough = evenness(evidence, channels=len(CHANNELS)) > LEAST_TEXTURE
    masks: dict[Reason, Mask] = {
        "too dark": dark & ~bright, "glare": bright & ~rough, "covered": bright & rough,
        BLURRED: _covered(strip, blurred_px),
    }  # fmt: skip
    return _Blind(masks=masks, strip=strip)


def _outlines(
    evidence: Evidence, blind: _Blind, found_px: Sequence[Points]
) -> Iterator[tuple[Reason, Points]]:
    """Outlines of the pieces, each with its main reason."""
    strip = evidence.strip
    left = blind.any & ~_covered(strip, found_px)
    _, labels = cv2.connectedComponents(left.astype(np.uint8))
    for label in range(1, int(labels.max()) + 1):
        piece = labels == label
        if piece.sum() < LEAST_MM2 * strip.px_per_mm**2:
            continue
        reason = max(blind.masks, key=lambda r: int((blind.masks[r] & piece).sum()))
        outline = _outline(piece.astype(np.float32))
        if outline is not None:
            yield reason, strip.to_photo(outline)


def _covered(strip: Strip, outlines_px: Sequence[Points]) -> Mask:
    """Inside outlines that are given in photo pixels."""
    covered = np.zeros(strip.inside.shape, np.uint8)
    for outline in outlines_px:
        fill_outline(covered, strip.from_photo(outline), 1)
    return covered > 0


def _outline(piece: Image) -> Points | None:
    """One outline (N, 2) of a piece and its holes, wandering by less than half a pixel."""
    outline = rings_as_one(blur(piece, 0.7) - np.float32(0.5))
    if outline is None:
        return None
    plain = cv2.approxPolyDP(outline.astype(np.float32).reshape(-1, 1, 2), 0.4, True)[:, 0]
    return plain.astype(np.float64) if len(plain) >= 3 else outline


def _hidden(layer: Layer, edge: Edge, scale: Scale) -> Iterator[Points]:
    """Outlines of what of a layer lies behind the marks, within the inspector's region."""
    factor = min(1.0, HIDDEN_PX_PER_MM * scale.mm_per_px)
    low = np.floor(layer.polygon_px.min(axis=0))
    size = np.ceil((layer.polygon_px.max(axis=0) - low) * factor).astype(int) + 2

    def filled(polygons: Sequence[Points]) -> Mask:
        canvas = np.zeros((int(size[1]), int(size[0])), np.uint8)
        for polygon in polygons:
            fill_outline(canvas, (polygon - low + 0.5) * factor - 0.5, 1)
        return canvas > 0

    hidden = filled([layer.polygon_px]) & filled(edge.keep_out_px)
    hidden &= ~filled(edge.drawn_keep_out_px)
    if edge.region_px is not None:
        hidden &= filled([edge.region_px])
    _, labels = cv2.connectedComponents(hidden.astype(np.uint8))
    for label in range(1, int(labels.max()) + 1):
        piece = labels == label
        outline = _outline(piece.astype(np.float32))
        if outline is not None and piece.sum() * (scale.mm_per_px / factor) ** 2 >= LEAST_MM2:
            yield (outline + 0.5) / factor - 0.5 + low


def _unjudged(
    layer: Layer, reason: Reason, outline: Points, scale: Scale, *, whole_mm2: float
) -> Unjudged:
    mm2 = scale.surface.area_mm2(outline)
    line = Contribution(source="scale", u=2 * scale.u_relative * mm2)
    share: Quantity = NotMeasured(reason="The layer has no area.", unit="%")
    if whole_mm2 > 0:
        share = Measured(value=min(100 * mm2 / whole_mm2, 100.0), u=0.0, unit="%")
    return Unjudged(
        layer=layer.index, reason=reason, polygon_px=outline,
        area=from_budget(mm2, (line,), unit="mm2"), share_of_layer=share,
    )  # fmt: skip
