"""The fitted uncertainty of unseen parts, on lengths drawn from a known one."""

import numpy as np
import pytest

from benchmarks.fit_unseen import Missed, fitted, inside
from damagescore.damage.unseen import fitted_weights, terms_of, unseen_mm

FORKS, BORDER = 0.6, 1.2


def drawn(count, seed):
    rng = np.random.default_rng(seed)
    made = []
    for k in range(count):
        known, branches = rng.uniform(0.02, 0.2), int(rng.integers(0, 4))
        border = rng.uniform(0.05, 1.0) if k % 3 == 0 else 0.0
        terms = terms_of(branches=0 if border else branches, border_mm=border)
        u = np.hypot.reduce([known, FORKS * terms["forks"], BORDER * terms["border"]])
        made.append(
            Missed(true_mm=20.0, error_mm=rng.normal(0, u), u_known_mm=known, terms=terms)
        )
    return made


def test_the_fit_gives_back_what_the_errors_were_drawn_with():
    weights = fitted(drawn(1200, seed=1))
    # The 95 % point of 400 normal errors is known to about 5 % (its binomial spread).
    assert weights["forks"] == pytest.approx(FORKS, rel=0.15)  # three of them
    assert weights["border"] == pytest.approx(BORDER, rel=0.25)  # the ends' own claim adds
    fresh = inside(drawn(1200, seed=2), weights)
    assert fresh == pytest.approx(0.95, abs=0.02)  # three binomial spreads of 1200


def test_a_plain_crack_hides_nothing_and_more_branches_hide_more():
    assert unseen_mm(branches=0, border_mm=0.0) == 0
    one, four = (unseen_mm(branches=n, border_mm=0.0) for n in (1, 4))
    assert four == pytest.approx(2 * one)  # independent: square root of the number
    assert unseen_mm(branches=0, border_mm=0.5) == pytest.approx(
        0.5 * fitted_weights()["border"]
    )
