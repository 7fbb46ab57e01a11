"""Claimed uncertainty of crack lengths and ends against real error, at three noise levels."""

import numpy as np
import pytest

from damagescore.damage import find_cracks
from tests.crack_drawing import (
    MM_PER_PX,
    draw,
    edge_of,
    length_of,
    scale_of,
    tapered,
    wandering,
)

SHAPE = (180, 420)
EDGE = edge_of(SHAPE)
CASES = 10


def ends(seed, *, noise, darkness):
    """Error and claim of one drawn crack without branches; None where it is not one finding."""
    rng = np.random.default_rng(seed)
    line = wandering(rng, start=(80, 90), length_px=rng.uniform(120, 240), wander=0.3)
    photo = draw(
        [(line, tapered(len(line), rng.uniform(3.0, 6.0)))], shape=SHAPE, edge=EDGE, seed=seed,
        grain=0.05, noise=noise, darkness=darkness,
    )  # fmt: skip
    found = find_cracks(photo, EDGE, scale_of())
    if len(found) != 1 or len(found[0].lines_px) != 1:
        return None
    length = found[0].quantities["length"]
    claim = next(c.u for c in length.budget if c.source == "end points")
    return length.value - length_of(line) * MM_PER_PX, claim, length.u


@pytest.mark.parametrize(("noise", "darkness"), [(1.0, 0.97), (3.0, 0.97), (5.0, 0.9)])
def test_the_claim_of_the_ends_covers_their_error(noise, darkness):
    seen = [ends(seed, noise=noise, darkness=darkness) for seed in range(CASES)]
    known = np.array([x for x in seen if x is not None])
    assert len(known) >= CASES - 2  # plain cracks are found whole
    z = known[:, 0] / known[:, 2]
    assert np.mean(np.abs(z) <= 1.96) >= 0.8  # 0.95 less two binomial spreads of 10 cases
    assert np.sqrt(np.mean(z**2)) < 1.5  # the claim is no boast


def test_a_noisy_photo_claims_less_sure_ends():
    quiet, noisy = (
        np.mean([x[1] for s in range(5) if (x := ends(s, noise=n, darkness=0.9)) is not None])
        for n in (0.5, 8.0)
    )
    assert noisy > quiet


def gap(seed):
    """Error and claim of a drawn bond gap along a shim."""
    rng = np.random.default_rng(seed)
    y = EDGE.rubber[0].upper_px[0, 1] + 3.0
    at = np.linspace(110, 110 + rng.uniform(130, 200), 60)
    line = np.column_stack([at, np.full(60, y)])
    photo = draw(
        [(line, tapered(60, rng.uniform(3.0, 5.0)))], shape=SHAPE, edge=EDGE, seed=seed,
        grain=0.05, noise=rng.uniform(1.0, 4.0), blur_px=rng.uniform(0.7, 1.2),
    )  # fmt: skip
    (found,) = find_cracks(photo, EDGE, scale_of())
    length = found.quantities["length"]
    return length.value - length_of(line) * MM_PER_PX, length.u


def test_the_claim_of_a_bond_gap_covers_its_error():
    seen = np.array([gap(seed) for seed in range(CASES)])
    z = seen[:, 0] / seen[:, 1]
    assert np.mean(np.abs(z) <= 1.96) >= 0.8  # 0.95 less two binomial spreads of 10 cases
    assert np.sqrt(np.mean(z**2)) < 1.5  # the claim is no boast
