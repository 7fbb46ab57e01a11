"""The line through ends that are seen unequally well, against drawn ends of a known line."""

import numpy as np
import pytest

from damagescore.damage.bulge_line import _apart_mm, line_through

PLACES = np.linspace(-9.0, 9.0, 7)


def _errors(u, *, apart=0.03, count=400, seed=3, wrong=None):
    """Errors (M, 2) of the line at both outer ends and what it claims there, (M, 2).

    True ends stand apart by `apart`; the line meant is that of least squares through them.
    """
    rng = np.random.default_rng(seed)
    errors, claims = [], []
    known = np.isfinite(u)
    for _ in range(count):
        true = 0.02 * PLACES + apart * rng.normal(size=len(PLACES))
        seen = true + np.where(known, u, 0.0) * rng.normal(size=len(PLACES))
        if wrong is not None:
            seen[wrong[0]] += wrong[1]
        line = line_through(PLACES, np.where(known, seen, 7.0), u, np.zeros(len(PLACES)))
        meant = np.polyfit(PLACES, true, 1)
        ends = PLACES[[0, -1]]
        powers = np.vander(ends, len(line.terms))
        errors.append(np.polyval(line.terms, ends) - np.polyval(meant, ends))
        claims.append(np.sqrt(np.einsum("ij,jk,ik->i", powers, line.covariance, powers)))
    return np.array(errors), np.array(claims)


def test_ends_that_are_known_carry_their_own_least_squares_line():
    errors, claims = _errors(np.full(7, 1e-6))
    # That they stand apart makes it no less sure; one end in many hundred stands so far from
    # the others that it is taken to be located wrongly.
    assert np.quantile(np.abs(errors), 0.98) < 1e-5
    assert np.quantile(claims, 0.98) < 1e-5


@pytest.mark.parametrize("hidden", [(0,), (3,), (0, 1), (5, 6), (0, 6)])
def test_claims_hold_what_hidden_ends_would_have_told(hidden):
    u = np.full(7, 0.005)
    u[list(hidden)] = np.inf
    errors, claims = _errors(u)
    inside = np.mean(np.abs(errors) < 1.96 * claims)
    # 800 errors tell 95 % to 0.8 %; how far ends stand apart is told by four or five.
    assert 0.90 < inside < 0.99
    assert np.sqrt(np.mean(errors**2)) == pytest.approx(np.sqrt(np.mean(claims**2)), rel=0.25)


def test_an_end_that_is_hardly_seen_hardly_turns_the_line():
    unsure = np.array([0.3, *[0.005] * 6])
    hidden = np.array([np.inf, *[0.005] * 6])
    ours, _ = _errors(unsure)
    without, _ = _errors(hidden)
    plain = []  # least squares that takes it as well as the others
    rng = np.random.default_rng(3)
    for _ in range(400):
        off = 0.3 * rng.normal()
        plain.append(np.polyval(np.polyfit(PLACES, [off, *[0.0] * 6], 1), PLACES[0]))
    assert np.std(ours[:, 0]) < 1.2 * np.std(without[:, 0])  # each is known to 4 %
    assert np.std(ours[:, 0]) < 0.3 * np.std(plain)


def test_an_end_located_wrongly_is_left_to_the_others():
    errors, claims = _errors(np.full(7, 0.005), wrong=(0, 0.4))
    # Least squares through it is off by 0.4 (1/7 + 81/252) = 0.19 there.
    assert np.median(np.abs(errors[:, 0])) < 0.06
    assert np.mean(np.abs(errors) < 1.96 * claims) > 0.85  # nothing told that it is wrong


def test_only_a_bend_beyond_how_shims_stand_apart_is_one():
    rng = np.random.default_rng(5)
    u, level = np.full(7, 0.005), np.zeros(7)
    scattered = [line_through(PLACES, 0.03 * rng.normal(size=7), u, level) for _ in range(300)]
    assert np.mean([len(x.terms) > 2 for x in scattered]) < 0.01  # four standard uncertainties
    bow = 0.5 * (PLACES / 9.0) ** 2
    bent = line_through(PLACES, bow + 0.01 * rng.normal(size=7), u, level)
    assert np.polyval(bent.terms, 9.0) - np.polyval(bent.terms, 0.0) == pytest.approx(
        0.5, abs=0.03
    )  # three standard deviations of one end


def test_how_far_ends_stand_apart_is_told_beyond_what_each_may_be_off():
    rng = np.random.default_rng(6)
    u = np.full(200, 0.04)
    off = np.hypot(0.06, 0.04) * rng.normal(size=200)
    # A median of 200 squares is known to 10 % of the standard deviation.
    assert _apart_mm(off, u, free=200) == pytest.approx(0.06, rel=0.25)
    assert _apart_mm(0.04 * rng.normal(size=200), u, free=200) < 0.03
