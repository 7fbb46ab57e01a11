"""Fit how far automatic lengths err by what was not seen, from photos with truth.

`python -m benchmarks.fit_unseen FOLDER:FROM:TO...`; FROM and TO choose the photos of a
folder by number (TO left out), the others stay for checking. Every true crack that one
finding was made of counts once. The weights of the terms in `damagescore/damage/unseen.py`
are those whose 95 % intervals hold the truth in 95 % of cases and are as narrow as that
allows. Writes `damagescore/damage/unseen.toml`.
"""

import argparse
import sys
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import differential_evolution
from tqdm import tqdm

from benchmarks.candidates import chosen
from benchmarks.truth import lies_on, reach_of
from damagescore.damage.unseen import MODEL, terms_of
from damagescore.measure import measure_photo
from damagescore.photo import read_photo
from damagescore.photo.along import places_along
from damagescore.quantity import COVERAGE_FACTOR_95, Measured
from damagescore.scenes.reading import Case, cases_in

Values = NDArray[np.float64]

SHARE = 0.95
"""Share of the truths that the intervals are to hold."""

MOST_WEIGHT = 3.0

UNSEEN = "unseen branches"
"""Budget line that the fit gives its size."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Missed:
    """One crack: error of its length, uncertainty from all else, and the terms, all in mm."""

    true_mm: float
    error_mm: float
    u_known_mm: float
    terms: Mapping[str, float]


def missed_in(folder: Path, numbers: range) -> Iterator[list[Missed]]:
    """The cracks of every good face photo of a folder, photo by photo."""
    for case in cases_in(folder):
        number = int(case.path.stem.rsplit("-", 1)[-1])
        if number in numbers and case.good and case.truth["view"] == "face":
            yield missed_of(case)


def missed_of(case: Case) -> list[Missed]:
    """The cracks of one photo; none where it is refused."""
    photo = read_photo(case.path)
    measurement = measure_photo(photo, case.options())
    scale = measurement.scale
    if scale is None or not measurement.quality.usable:
        return []
    lines = [f for f in measurement.findings if f.kind in ("crack", "bond_gap")]
    made = []
    for crack in case.cracks:
        true = [places_along(crack["polylines_px"])]
        mine = [f for f in lines if lies_on(f.lines_px, true, reach_of(scale))]
        if len(mine) != 1:
            continue
        length = mine[0].quantities["length"]
        assert isinstance(length, Measured)
        known = {c.source: c.u for c in length.budget if c.source != UNSEEN}
        terms = terms_of(branches=len(mine[0].lines_px) - 1)
        made.append(
            Missed(
                true_mm=crack["length_mm"], error_mm=length.value - crack["length_mm"],
                u_known_mm=float(np.hypot.reduce(list(known.values()))), terms=terms,
            )
        )  # fmt: skip
    return made


def fitted(seen: Sequence[Missed]) -> dict[str, float]:
    """Weights of the terms, by quantile regression of the size of the relative error.

    The loss of Koenker & Bassett (1978), "Regression quantiles", cited from memory: an
    interval too narrow by d costs `SHARE` d, one too wide by d costs (1 - `SHARE`) d, so
    that at its least a share of `SHARE` is held. Searched everywhere, as it has several lows.
    """
    names = list(seen[0].terms)
    true = np.array([m.true_mm for m in seen])
    error = np.abs([m.error_mm for m in seen]) / true
    known = np.array([m.u_known_mm for m in seen]) / true
    terms = np.array([[m.terms[n] for n in names] for m in seen]) / true[:, None]

    def loss(weights: Values) -> float:
        u = np.sqrt(known**2 + (terms**2) @ weights**2)
        over = error - COVERAGE_FACTOR_95 * u
        return float(np.mean(np.maximum(SHARE * over, (SHARE - 1) * over)))

    bounds = [(0.0, MOST_WEIGHT)] * len(names)
    best = differential_evolution(loss, bounds, seed=1, tol=1e-8).x
    return {n: round(float(w), 3) for n, w in zip(names, best, strict=True)}


def inside(seen: Sequence[Missed], weights: Mapping[str, float]) -> float:
    """Share of the 95 % intervals that hold the truth with some weights."""
    u = [
        np.hypot.reduce([m.u_known_mm, *(weights[n] * x for n, x in m.terms.items())])
        for m in seen
    ]
    error = np.abs([m.error_mm for m in seen])
    return float(np.mean(error <= COVERAGE_FACTOR_95 * np.array(u)))


def written(weights: Mapping[str, float], seen: Sequence[Missed], sets: Sequence[str]) -> str:
    """The weights as a small text that a person can read."""
    lines = [
        "# Uncertainty from unseen branches; see damagescore/damage/unseen.py.",
        "# Made by: python -m benchmarks.fit_unseen",
        f"fitted_on = {list(sets)!r}".replace("'", '"'),
        f"cracks = {len(seen)}",
        f"inside = {inside(seen, weights):.3f}",
        "",
        "# Each term, mm, times its weight is a standard uncertainty; they add as squares.",
        "[weights]",
    ]
    return "\n".join([*lines, *(f"{n} = {w}" for n, w in weights.items())]) + "\n"


def main() -> int:
    """Read the folders, fit and write."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("sets", nargs="+", help="FOLDER:FROM:TO")
    given = parser.parse_args().sets
    seen: list[Missed] = []
    for text in given:
        photos = tqdm(missed_in(*chosen(text)), unit="photo", file=sys.stderr, disable=None)
        seen += [m for found in photos for m in found]
    weights = fitted(seen)
    names = [f"{Path(x.rsplit(':', 2)[0]).name} {x.split(':', 1)[1]}" for x in given]
    MODEL.write_text(written(weights, seen, names), encoding="utf-8")
    print(f"{len(seen)} cracks, {100 * inside(seen, weights):.1f} % inside: {weights}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
