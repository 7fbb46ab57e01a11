"""Fit the chance that two lines are one crack with something over the place between.

`python -m benchmarks.fit_gaps FOLDER:FROM:TO...`: strokes of chalk, lint and dust are painted
over true cracks, from a seed for each photo; then every pair of tips that point at each
other is weighed, in these copies and in the photo as it is. Writes
`damagescore/damage/gaps.toml`.
"""

import argparse
import sys
from collections.abc import Iterator
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree
from tqdm import tqdm

from benchmarks.candidates import LEAST_ON_RUBBER, chosen, share_on_rubber
from benchmarks.fit_confidence import best_penalty, fitted, written
from benchmarks.truth import reach_of
from damagescore.damage.crack import pieces_of
from damagescore.damage.gaps import MODEL, Crossing, Piece, possible_gaps, values_of
from damagescore.measure import area_mask, measure_photo
from damagescore.measurement import Measurement
from damagescore.photo import read_photo
from damagescore.photo.along import places_along
from damagescore.photo.record import Photo
from damagescore.scenes.reading import Case, cases_in

Points = NDArray[np.float64]

COVERS = 3
"""Painted over each true crack of 3 mm and more, in as many copies of the photo."""

ABOUT = """\
Chance that two lines are one crack; see damagescore/damage/gaps.py.
Made by: python -m benchmarks.fit_gaps"""


@dataclass(frozen=True, slots=True, kw_only=True)
class Pair:
    """Two tips of one photo that point at each other, and whether they are one crack."""

    photo: str
    crossing: Crossing
    real: bool

    @property
    def values(self) -> dict[str, float]:
        """The terms of the model, by name."""
        return values_of(self.crossing)


def with_covers(photo: Photo, case: Case, px_per_mm: float, seed: int) -> Photo:
    """One bright stroke over every true crack of 3 mm and more."""
    rng = np.random.default_rng(seed)
    grey = photo.grey.copy()
    for crack in case.cracks:
        if crack["length_mm"] < 3:
            continue
        line = np.asarray(crack["polylines_px"][0], np.float64)
        at = int(rng.uniform(0.25, 0.75) * len(line))
        way = line[min(at + 1, len(line) - 1)] - line[max(0, at - 1)]
        _paint(grey, line[at], float(np.arctan2(way[1], way[0])), px_per_mm, rng)
    return replace(photo, grey=grey)


def _paint(
    grey: NDArray[np.float32], place: Points, heading: float, px_per_mm: float,
    rng: np.random.Generator,
) -> None:  # fmt: skip
    """A stroke 0.15 to 1.5 mm wide, as bright as the rubber or up to three times as bright."""
    angle = heading + rng.uniform(0.4, np.pi - 0.4)
    half = rng.uniform(0.4, 1.5) * px_per_mm * np.array([np.cos(angle), np.sin(angle)])
    x, y = (round(v) for v in place)
    reach = round(2.5 * px_per_mm)
    left, top = max(0, x - reach), max(0, y - reach)
    part = grey[top : y + reach, left : x + reach]
    if part.size == 0:
        return
    stroke = np.zeros(part.shape, np.uint8)
    width = max(2, round(float(np.exp(rng.uniform(np.log(0.15), np.log(1.5)))) * px_per_mm))
    ends = [
        tuple(int(v) for v in np.round(16 * (place - (left, top) + s * half))) for s in (-1, 1)
    ]
    cv2.line(stroke, ends[0], ends[1], 255, width, cv2.LINE_AA, 4)
    share = cv2.GaussianBlur(stroke.astype(np.float32) / 255, (0, 0), 0.7)
    level = float(np.median(part)) * rng.uniform(1.0, 3.0)
    texture = 1 + 0.06 * cv2.GaussianBlur(rng.normal(0, 2, part.shape), (0, 0), 1.2)
    part += (np.minimum(level * texture, 255) - part) * share


def pairs_of(case: Case) -> Iterator[Pair]:
    """All pairs of tips in one photo and in copies of it with painted covers."""
    photo = read_photo(case.path)
    measurement = measure_photo(photo, case.options())
    if measurement.scale is None or measurement.edge is None or not measurement.quality.usable:
        return
    if share_on_rubber(case, measurement.edge) < LEAST_ON_RUBBER:
        return
    number = int(case.path.stem.rsplit("-", 1)[-1])
    yield from _pairs(photo, case, measurement)
    for copy in range(COVERS):
        shown = with_covers(photo, case, 1 / measurement.scale.mm_per_px, 100 * number + copy)
        yield from _pairs(shown, case, measurement)


def _pairs(photo: Photo, case: Case, measurement: Measurement) -> Iterator[Pair]:
    scale, edge = measurement.scale, measurement.edge
    assert scale is not None
    assert edge is not None
    exclude = area_mask(measurement.findings, edge.shape)
    _, pieces = pieces_of(photo, edge, scale, exclude=exclude)
    trees = [cKDTree(places_along(c["polylines_px"])) for c in case.cracks]
    for a, b, _, crossing in possible_gaps(photo, edge, scale, pieces):
        one, other = (_crack_of(e.piece, trees, reach_of(scale)) for e in (a, b))
        yield Pair(
            photo=case.path.stem, crossing=crossing, real=one is not None and one == other
        )


def _crack_of(piece: Piece, trees: list[cKDTree], reach_px: float) -> int | None:
    """Number of the true crack that most of a piece lies on."""
    places = places_along(piece.lines)
    shares = [float(np.mean(t.query(places)[0] <= reach_px)) for t in trees]
    best = int(np.argmax(shares)) if shares else 0
    return best if shares and shares[best] >= 0.5 else None


def main() -> int:
    """Paint, weigh, choose the penalty, fit and write."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("sets", nargs="+", help="FOLDER:FROM:TO")
    given = parser.parse_args().sets
    seen: list[Pair] = []
    for text in given:
        folder, numbers = chosen(text)
        for case in tqdm(list(cases_in(folder)), unit="photo", file=sys.stderr, disable=None):
            number = int(case.path.stem.rsplit("-", 1)[-1])
            if number in numbers and case.good and case.truth["view"] == "face":
                seen += pairs_of(case)
    penalty, loss = best_penalty(seen)
    model = fitted(seen, penalty=penalty)
    MODEL.write_text(written(model, seen, given, penalty, about=ABOUT), encoding="utf-8")
    print(f"{len(seen)} pairs, penalty {penalty}, loss on photos left out {loss:.4f}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
