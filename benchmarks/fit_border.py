"""Fit the border of crumbled patches: `python -m benchmarks.fit_border FOLDER ... [--write]`.

Reads development photos with their truth, never the checking set: whole ones, relief scenes
and close-ups (`benchmarks.crumbled_closeups`). Prints how well patches of photos left out of
the fit are outlined; with `--write` the model goes to `damage/crumbling_border.toml`.
"""

import argparse
import json
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from tqdm import tqdm

from damagescore.damage.crumbling import CrumblingRule, patches_in
from damagescore.damage.crumbling_border import MODEL, Model, place_border
from damagescore.damage.crumbling_border_clues import BORDER_CLUES, border_clues
from damagescore.damage.crumbling_closeup import Closeup, closeup_of
from damagescore.damage.crumbling_evidence import evidence_of
from damagescore.damage.crumbling_outline import Outline
from damagescore.damage.crumbling_strip import Mask, Strip, blur, cut_strip
from damagescore.edge.record import Edge, Layer
from damagescore.measure import measure_photo
from damagescore.photo import read_photo
from damagescore.photo.record import Photo
from damagescore.quantity import NotMeasured
from damagescore.scale.record import Scale, SurfaceMap
from damagescore.scenes.reading import Case, cases_in

Values = NDArray[np.float32]

PIXELS = 1500  # of each patch: neighbours tell nearly the same
HIDDEN = (24, 12)
EPOCHS = 15
BATCH = 4096
RATE = 3e-3
DECAY = 0.3
NOISE = 0.05  # on the standardised clues: no weight may rest on their last digits
LARGE = 0.3
"""Taken off the log odds: without it areas came out 2 to 4 % large on photos left out."""

LEAST_OVERLAP = 0.45  # a first outline that missed its patch teaches nothing about borders


@dataclass(frozen=True, slots=True, kw_only=True)
class Sample:
    """One patch: its closeup, first outline, true share of each pixel, and its photo."""

    photo: str
    closeup: Closeup
    outline: Outline
    share: Values


def samples_of(case: Case) -> Iterator[Sample]:
    """Every patch of a photo that was found."""
    photo = read_photo(case.path)
    known = view_of(case, photo)
    if known is None:
        return
    edge, scale = known
    cut = (cut_strip(photo, edge, layer=x, scale=scale) for x in edge.rubber)
    for evidence in evidence_of(tuple(s for s in cut if s is not None), edge.shape):
        true = [
            np.array(polygon)
            for patch in case.truth["crumbling"]
            if patch["layer"] == evidence.strip.layer.index
            for polygon in patch["polygons_px"]
        ]
        for patch in patches_in(evidence, CrumblingRule()) if true else ():
            closeup = closeup_of(photo, edge, scale, evidence=evidence, outline=patch.outline)
            share = _share(closeup.strip, true)
            if _overlap(closeup.first, share > 0.5) >= LEAST_OVERLAP:
                yield Sample(
                    photo=case.path.stem, closeup=closeup, outline=patch.outline, share=share
                )


def view_of(case: Case, photo: Photo) -> tuple[Edge, Scale] | None:
    """Layers and scale as measured, None where refused; the true ones of a close-up."""
    return _measured(case, photo) if case.truth["markers"] else _known(case, photo)


def _measured(case: Case, photo: Photo) -> tuple[Edge, Scale] | None:
    measured = measure_photo(photo, case.options())
    if not measured.quality.usable or measured.edge is None or measured.scale is None:
        return None
    return measured.edge, measured.scale


def _known(case: Case, photo: Photo) -> tuple[Edge, Scale]:
    """True layers and scale of a close-up, which has no mark."""
    layers = []
    for layer in case.truth["layers"]:
        outline = np.array(layer["polygon_px"])
        half = len(outline) // 2
        upper, lower = sorted(
            (outline[:half], outline[half:][::-1]), key=lambda x: x[:, 1].mean()
        )
        layers.append(
            Layer(
                index=layer["index"], kind=layer["kind"], upper_px=upper, lower_px=lower,
                thickness=NotMeasured(reason="not needed", unit="mm"),
            )
        )  # fmt: skip
    surface = SurfaceMap(
        px_to_mm=np.diag([1.0, -1.0, 1.0])
        @ np.array(case.truth["homography_image_to_plane_mm"]),
        radius_mm=case.truth["radius_mm"],
    )
    scale = Scale(
        method="squares", surface=surface, centre_px=(photo.width / 2, photo.height / 2),
        u_relative=0.002, tilt_deg=case.truth["camera"]["tilt_deg"], marks=(),
    )  # fmt: skip
    return Edge(layers=tuple(layers), shape=photo.grey.shape), scale


def _share(strip: Strip, polygons: list[NDArray[np.float64]]) -> Values:
    fine, (h, w) = 4, strip.log_grey.shape
    canvas = np.zeros((h * fine, w * fine), np.uint8)
    for polygon in polygons:
        points = (strip.from_photo(polygon) + 0.5) * fine - 0.5
        cv2.fillPoly(canvas, [np.round(points * 16).astype(np.int32)], (255,), shift=4)
    share = cv2.resize(canvas, (w, h), interpolation=cv2.INTER_AREA)
    return np.asarray(share / np.float32(255), dtype=np.float32)


def _overlap(found: Mask, true: Mask) -> float:
    return float(np.sum(found & true) / max(np.sum(found | true), 1))


def pixels_of(sample: Sample, rng: np.random.Generator) -> Iterator[tuple[Values, Values]]:
    """Clues and true share: by the first outline, and by one that wanders about the truth."""
    for patch in (sample.closeup.first, _wandering(sample, rng)):
        read = border_clues(sample.closeup, patch)
        if read is None:
            continue
        clues, asked = read
        kept = rng.choice(len(clues), min(PIXELS, len(clues)), replace=False)
        yield clues[kept], sample.share[asked][kept]


def _wandering(sample: Sample, rng: np.random.Generator) -> Mask:
    """About what a second pass starts from: off by 0.1 mm here and there."""
    strip = sample.closeup.strip
    wave = blur(rng.normal(size=sample.share.shape).astype(np.float32), 0.35 * strip.px_per_mm)
    true = (blur(sample.share, 0.1 * strip.px_per_mm) > 0.5).astype(np.uint8)
    depth = cv2.distanceTransform(true, cv2.DIST_L2, 5)
    depth -= cv2.distanceTransform(1 - true, cv2.DIST_L2, 5)
    moved = depth / strip.px_per_mm + 0.12 * wave / wave.std() + 0.08 * rng.normal()
    return np.asarray((moved > 0) & (strip.inside > 0.5))


def fit(pixels: list[tuple[Values, Values]], *, seed: int = 0) -> Model:
    """Least cross-entropy by Adam, every patch counted alike.

    Adam: Kingma and Ba, "Adam: a method for stochastic optimization", 2015, with the
    constants of its algorithm 1, cited from memory; the rate falls as a half cosine.
    """
    clues = np.vstack([x for x, _ in pixels])
    true = np.concatenate([y for _, y in pixels])
    counts = np.concatenate([np.full(len(y), PIXELS / len(y), np.float32) for _, y in pixels])
    middle, spread = clues.mean(axis=0), clues.std(axis=0) + np.float32(1e-3)
    unit = np.clip((clues - middle) / spread, -4, 4)
    rng = np.random.default_rng(seed)
    sizes = (unit.shape[1], *HIDDEN, 1)
    terms: list[Values] = []
    for before, after in pairwise(sizes):
        terms += [
            rng.normal(0, before**-0.5, (before, after)).astype(np.float32),
            np.zeros(after, np.float32),
        ]
    mean, square = [np.zeros_like(t) for t in terms], [np.zeros_like(t) for t in terms]
    batches = [
        part
        for _ in range(EPOCHS)
        for part in np.array_split(rng.permutation(len(true)), -(-len(true) // BATCH))
    ]
    for step, part in enumerate(batches, start=1):
        shaken = unit[part] + rng.normal(0, NOISE, (len(part), sizes[0])).astype(np.float32)
        slopes = _slopes(terms, shaken, true[part], counts[part])
        rate = RATE * 0.5 * (1 + np.cos(np.pi * step / len(batches)))
        for k, slope in enumerate(slopes):
            mean[k] = 0.9 * mean[k] + 0.1 * slope
            square[k] = 0.999 * square[k] + 0.001 * slope**2
            way = mean[k] / (1 - 0.9**step) / (np.sqrt(square[k] / (1 - 0.999**step)) + 1e-8)
            held = DECAY * terms[k] if terms[k].ndim == 2 else 0
            terms[k] = (terms[k] - rate * (way + held)).astype(np.float32)
    terms[-1] -= np.float32(LARGE)
    layers = tuple(zip(terms[::2], terms[1::2], strict=True))
    return Model(middle=middle, spread=spread, layers=layers)


def _slopes(terms: list[Values], clues: Values, true: Values, counts: Values) -> list[Values]:
    """Slope of the mean cross-entropy along each term."""
    values = [clues]
    for k in range(0, len(terms), 2):
        value = values[-1] @ terms[k] + terms[k + 1]
        values.append(np.tanh(value) if k + 2 < len(terms) else value)
    back = (counts * (1 / (1 + np.exp(-values[-1][:, 0])) - true) / len(true))[:, None]
    slopes: list[Values] = []
    for k in reversed(range(0, len(terms), 2)):
        slopes = [values[k // 2].T @ back, back.sum(axis=0), *slopes]
        back = (back @ terms[k].T) * (1 - values[k // 2] ** 2)
    return slopes


def judge(samples: list[Sample], model: Model) -> NDArray[np.float64]:
    """Overlap and relative error of area of the first outline and of the placed border."""
    rows = []
    for sample in samples:
        strip, true = sample.closeup.strip, sample.share > 0.5
        placed = place_border(sample.closeup, sample.outline, model=model)
        found = np.zeros(true.shape, np.uint8)
        points = np.round(strip.from_photo(placed.polygon_px) * 16).astype(np.int32)
        cv2.fillPoly(found, [points], (1,), shift=4)
        area = max(float(sample.share.sum()), 1.0)
        rows.append(
            [
                _overlap(sample.closeup.first, true), sample.closeup.first.sum() / area - 1,
                _overlap(found > 0, true), found.sum() / area - 1,
            ]
        )  # fmt: skip
    return np.array(rows)


def written(model: Model, *, photos: int, patches: int) -> str:
    """The model as TOML."""

    def row(values: Any) -> str:
        return f"[{', '.join(f'{v:.4g}' for v in values)}]"

    lines = [
        "# Where the border of a crumbled patch lies; see crumbling_border.py here.",
        "# Made by: python -m benchmarks.fit_border",
        f"photos = {photos}",
        f"patches = {patches}",
        f"clues = {json.dumps(BORDER_CLUES)}",
        f"middle = {row(model.middle)}",
        f"spread = {row(model.spread)}",
    ]
    for weights, offsets in model.layers:
        lines += ["", "[[layers]]", f"offsets = {row(offsets)}", "weights = ["]
        lines += [f"  {row(w)}," for w in weights] + ["]"]
    return "\n".join(lines) + "\n"


def left_out(
    samples: list[Sample], pixels: list[list[tuple[Values, Values]]]
) -> NDArray[np.float64]:
    """`judge` of each third of the photos by a fit on the other two."""
    photos = sorted({s.photo for s in samples})
    rows = []
    for third in range(3):
        out = set(photos[third::3])
        rest = zip(samples, pixels, strict=True)
        model = fit([p for s, mine in rest if s.photo not in out for p in mine])
        rows.append(judge([s for s in samples if s.photo in out], model))
    return np.vstack(rows)


def main() -> int:
    """Judge each third by the other two; then fit on all."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folders", nargs="+", type=Path)
    parser.add_argument("--write", action="store_true", help="replace the model")
    given = parser.parse_args()
    cases = [c for f in given.folders for c in cases_in(f) if c.truth["crumbling"]]
    cases = [c for c in cases if c.good or not c.truth["markers"]]
    samples: list[Sample] = []
    for case in tqdm(cases, unit="photo", file=sys.stderr, disable=None):
        samples += samples_of(case)
    rng = np.random.default_rng(0)
    pixels = [list(pixels_of(s, rng)) for s in samples]
    first, placed = np.hsplit(left_out(samples, pixels), 2)
    for name, part in (("first outline", first), ("placed border", placed)):
        error = 100 * np.abs(part[:, 1])
        print(
            f"{name}, left out: overlap {np.median(part[:, 0]):.3f}, area error median "
            f"{np.median(error):.1f} %, p90 {np.quantile(error, 0.9):.1f} %"
        )
    if given.write:
        model = fit([p for mine in pixels for p in mine])
        photos = len({s.photo for s in samples})
        text = written(model, photos=photos, patches=len(samples))
        MODEL.write_text(text, encoding="utf-8")
    return 0


if __name__ == "__main__":
    sys.exit(main())
