"""Fit the chance that a line is a crack, from photos with truth.

`python -m benchmarks.fit_confidence FOLDER:FROM:TO...`; FROM and TO choose the photos of
a folder by number (TO left out), the others stay for checking. Every candidate of every
good face photo counts once, with no weight for its class, so that the chance is right for
photos like these. Writes `damagescore/damage/confidence.toml`.
"""

import argparse
import sys
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Protocol

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize
from scipy.special import expit
from tqdm import tqdm

from benchmarks.candidates import Weighed, chosen, weighed_in
from damagescore.damage.confidence import MODEL, Model, Term

Values = NDArray[np.float64]

PENALTIES = (0.03, 0.1, 0.3, 1.0, 3.0, 10.0)
"""Tried strengths of the pull of the weights towards 0."""

FOLDS = 6

ABOUT = """\
Chance that a line is a crack or a bond gap; see damagescore/damage/confidence.py.
Made by: python -m benchmarks.fit_confidence"""


class Sample(Protocol):
    """One thing that was weighed: its terms by name, and whether it is real."""

    @property
    def photo(self) -> str: ...

    @property
    def values(self) -> Mapping[str, float]: ...

    @property
    def real(self) -> bool: ...


def fitted(seen: Sequence[Sample], *, penalty: float) -> Model:
    """Logistic regression with a ridge penalty (half the sum of squared weights times it).

    Parameters
    ----------
    seen : sequence of Sample
    penalty : float
        Without one, a set that a plane can part would get endless weights.
    """
    names = list(seen[0].values)
    values = np.array([list(w.values.values()) for w in seen])
    real = np.array([w.real for w in seen], float)
    middle, spread = values.mean(axis=0), np.maximum(values.std(axis=0), 1e-6)
    scaled = np.column_stack([np.ones(len(seen)), (values - middle) / spread])

    def cost(weights: Values) -> tuple[float, Values]:
        odds = scaled @ weights
        pull = penalty * np.r_[0.0, weights[1:]]
        value = np.sum(np.logaddexp(0, odds) - real * odds) + weights @ pull / 2
        return float(value), scaled.T @ (expit(odds) - real) + pull

    weights = minimize(cost, np.zeros(scaled.shape[1]), jac=True, method="L-BFGS-B").x
    terms = {
        name: Term(middle=float(m), spread=float(s), weight=float(w))
        for name, m, s, w in zip(names, middle, spread, weights[1:], strict=True)
    }
    return Model(start=float(weights[0]), terms=terms)


def log_loss(model: Model, seen: Sequence[Sample]) -> float:
    """Mean of -log of the chance given to what was true."""
    chance = np.array([model.chance_of(w.values) for w in seen])
    real = np.array([w.real for w in seen])
    return float(np.mean(-np.log(np.where(real, chance, 1 - chance))))


def best_penalty(seen: Sequence[Sample]) -> tuple[float, float]:
    """The strongest penalty that is as good as the best on photos left out, and its loss.

    "As good" is within one standard error of the mean loss (the one-standard-error rule of
    Breiman et al. 1984, "Classification and regression trees", cited from memory): a
    set that a plane nearly parts would else choose weights that are too sure.
    """
    photos = sorted({w.photo for w in seen})
    fold = {name: k % FOLDS for k, name in enumerate(photos)}
    losses = np.array([_left_out_losses(seen, fold, penalty) for penalty in PENALTIES])
    mean, error = losses.mean(axis=1), losses.std(axis=1) / np.sqrt(len(seen))
    best = int(np.argmin(mean))
    good = int(np.flatnonzero(mean <= mean[best] + error[best])[-1])
    return PENALTIES[good], float(mean[good])


def _left_out_losses(seen: Sequence[Sample], fold: dict[str, int], penalty: float) -> Values:
    losses = []
    for k in range(FOLDS):
        model = fitted([w for w in seen if fold[w.photo] != k], penalty=penalty)
        losses += [log_loss(model, [w]) for w in seen if fold[w.photo] == k]
    return np.array(losses)


def written(
    model: Model, seen: Sequence[Sample], sets: Sequence[str], penalty: float, *, about: str
) -> str:
    """The model as a small text that a person can read; `about` is its first lines."""
    names = [f"{Path(x.rsplit(':', 2)[0]).name} {x.split(':', 1)[1]}" for x in sets]
    lines = [
        *(f"# {line}" for line in about.splitlines()),
        f"fitted_on = {names!r}".replace("'", '"'),
        f"photos = {len({w.photo for w in seen})}",
        f"candidates = {len(seen)}",
        f"real = {sum(w.real for w in seen)}",
        f"penalty = {penalty}",
        f"start = {model.start:.4f}",
        "",
        "# (value - middle) / spread, times the weight, adds to the log odds.",
        "[terms]",
    ]
    lines += [
        f"{name} = {{ middle = {t.middle:.4f}, spread = {t.spread:.4f}, "
        f"weight = {t.weight:.4f} }}"
        for name, t in model.terms.items()
    ]
    return "\n".join(lines) + "\n"


def main() -> int:
    """Read the folders, choose the penalty, fit and write."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("sets", nargs="+", help="FOLDER:FROM:TO")
    given = parser.parse_args().sets
    seen: list[Weighed] = []
    for text in given:
        photos = tqdm(weighed_in(*chosen(text)), unit="photo", file=sys.stderr, disable=None)
        seen += [w for found in photos for w in found]
    penalty, loss = best_penalty(seen)
    model = fitted(seen, penalty=penalty)
    MODEL.write_text(written(model, seen, given, penalty, about=ABOUT), encoding="utf-8")
    print(f"{len(seen)} candidates, penalty {penalty}, loss on photos left out {loss:.4f}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
