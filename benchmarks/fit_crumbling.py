"""Fit the weights of the crumbling border: `python -m benchmarks.fit_crumbling FOLDER ...`.

Reads development photos with their truth, never the checking set, and prints what goes into
`damagescore/damage/crumbling_weights.py`, with the overlap on photos left out of the fit.
"""

import argparse
import sys
from collections.abc import Iterator
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize
from tqdm import tqdm

from damagescore.damage.crumbling_evidence import (
    CLUES,
    CORE_CLUES,
    RELATIVE_CLUES,
    clues,
    evidence_of,
    relative_clues,
)
from damagescore.damage.crumbling_strip import Strip, cut_strip, disc
from damagescore.measure import measure_photo
from damagescore.photo import read_photo
from damagescore.photo.outline import fill_outline
from damagescore.scenes.reading import Case, cases_in

Values = NDArray[np.float64]

NEAR_MM = 1.5
PIXELS = 6000  # of each patch: neighbours tell nearly the same
RIDGE = 1e-3


def patches_of(case: Case) -> Iterator[tuple[Values, Values]]:
    """Clues and true share of pixels around each crumbled patch that is on its layer."""
    photo = read_photo(case.path)
    measured = measure_photo(photo, case.options())
    if not measured.quality.usable or measured.edge is None or measured.scale is None:
        return
    edge, scale = measured.edge, measured.scale
    cut = (cut_strip(photo, edge, layer=x, scale=scale) for x in edge.rubber)
    strips = tuple(s for s in cut if s is not None)
    true = np.zeros(photo.grey.shape, np.uint8)
    for patch in case.truth["crumbling"]:
        for polygon in patch["polygons_px"]:
            fill_outline(true, np.array(polygon), 1)
    for evidence in evidence_of(strips, edge.shape):
        strip = evidence.strip
        share = _on_strip(true, strip)
        core = (share > 0.9) & strip.sure
        if core.sum() < 100:
            continue
        grown = cv2.dilate((share > 0.5).astype(np.uint8), disc(NEAR_MM * strip.px_per_mm))
        asked = (grown > 0) & (strip.inside > 0.5)
        seen = clues(evidence)
        yield _features(seen[asked], np.median(seen[core], axis=0)), share[asked]


def _on_strip(true: NDArray[np.uint8], strip: Strip) -> Values:
    h, w = strip.log_grey.shape
    x, y = strip.corner_px
    size = round(w / strip.factor[0]), round(h / strip.factor[1])
    window = true[y : y + size[1], x : x + size[0]].astype(np.float32)
    return np.asarray(cv2.resize(window, (w, h), interpolation=cv2.INTER_AREA), np.float64)


def _features(seen: NDArray[np.float32], usual: NDArray[np.float32]) -> Values:
    core = usual[[CLUES.index(c) for c in CORE_CLUES]]
    fixed = np.broadcast_to(core, (len(seen), len(core)))
    return np.column_stack([seen, fixed, *relative_clues(seen, usual)]).astype(np.float64)


def fit(patches: list[tuple[Values, Values]]) -> tuple[Values, float]:
    """Weights and offset of a ridge logistic regression, every patch counted alike."""
    seen = np.vstack([x for x, _ in patches])
    true = np.concatenate([y for _, y in patches])
    counts = np.concatenate([np.full(len(y), 1 / len(y) / len(patches)) for _, y in patches])
    mean, spread = seen.mean(axis=0), seen.std(axis=0) + 1e-6
    unit = np.column_stack([(seen - mean) / spread, np.ones(len(seen))])

    def loss(terms: Values) -> tuple[float, Values]:
        odds = unit @ terms
        ridge = np.append(terms[:-1], 0)
        wrong = counts * (1 / (1 + np.exp(-odds)) - true)
        value = float(np.sum(counts * (np.logaddexp(0, odds) - true * odds)))
        return value + RIDGE * float(ridge @ ridge), unit.T @ wrong + 2 * RIDGE * ridge

    terms = minimize(loss, np.zeros(unit.shape[1]), jac=True, method="L-BFGS-B").x
    weights = np.asarray(terms[:-1] / spread, dtype=np.float64)
    return weights, float(terms[-1] - weights @ mean)


def overlap(weights: Values, offset: float, patch: tuple[Values, Values]) -> float:
    """Intersection over union of the pixels that are likelier in than out."""
    seen, share = patch
    found, true = seen @ weights + offset > 0, share > 0.5
    return float(np.sum(found & true) / np.sum(found | true))


def main() -> int:
    """Fit on all photos of the folders; judge on each quarter by the other three."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folders", nargs="+", type=Path)
    cases = [c for f in parser.parse_args().folders for c in cases_in(f)]
    cases = [c for c in cases if c.good and c.truth.get("crumbling")]
    rng = np.random.default_rng(0)
    patches = []
    for case in tqdm(cases, unit="photo", file=sys.stderr, disable=None):
        for seen, share in patches_of(case):
            kept = rng.choice(len(share), min(PIXELS, len(share)), replace=False)
            patches.append((seen[kept], share[kept]))
    quarters = [[p for i, p in enumerate(patches) if i % 4 != k] for k in range(4)]
    overlaps = [
        overlap(*fitted, p)
        for k, fitted in enumerate(fit(q) for q in quarters)
        for p in patches[k::4]
    ]
    weights, offset = fit(patches)
    ends = (len(CLUES), len(CLUES) + len(CORE_CLUES))
    print(f"{len(patches)} patches, median overlap where left out {np.median(overlaps):.3f}")
    for name, part in zip(
        ("CLUE_WEIGHTS", "CORE_WEIGHTS", "RELATIVE_WEIGHTS"),
        np.split(weights, ends),
        strict=True,
    ):
        print(f"{name} = ({', '.join(f'{w:.3f}' for w in part)})")
    assert len(weights) == ends[1] + len(RELATIVE_CLUES)
    print(f"OFFSET = {offset:.3f}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
