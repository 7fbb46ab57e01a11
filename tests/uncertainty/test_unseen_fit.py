"""The fitted uncertainty of unseen parts, on lengths drawn from a known one."""

import numpy as np
import pytest

from benchmarks.fit_unseen import Missed, fitted, inside
from damagescore.damage.unseen import terms_of, unseen_mm

FORKS = 0.6


def drawn(count, seed):
    rng = np.random.default_rng(seed)
    made = []
    for _ in range(count):
        known = rng.uniform(0.02, 0.2)
        terms = terms_of(branches=int(rng.integers(0, 4)))
        u = np.hypot(known, FORKS * terms["forks"])
        made.append(
            Missed(true_mm=20.0, error_mm=rng.normal(0, u), u_known_mm=known, terms=terms)
        )
    return made


def test_the_fit_gives_back_what_the_errors_were_drawn_with():
    weights = fitted(drawn(1200, seed=1))
    # The 95 % point of 900 normal errors is known to about 4 % (its binomial spread).
    assert weights["forks"] == pytest.approx(FORKS, rel=0.12)  # three of them
    fresh = inside(drawn(1200, seed=2), weights)
    assert fresh == pytest.approx(0.95, abs=0.02)  # three binomial spreads of 1200


def test_a_plain_crack_hides_nothing_and_more_branches_hide_more():
    assert unseen_mm(branches=0) == 0
    one, four = (unseen_mm(branches=n) for n in (1, 4))
    assert four == pytest.approx(2 * one)  # each as much, and each errs by itself
