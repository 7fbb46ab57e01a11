"""Claimed uncertainty of lengths and widths against real error on drawn cracks.

A 95 % interval should hold the truth in 90 to 99 % of cases (JCGM 100:2008, 6.3);
with the numbers of cases here the binomial spread allows a little to both sides.
"""

import numpy as np
import pytest

from damagescore.damage import find_cracks, trace_crack
from tests.crack_drawing import MM_PER_PX, draw, edge_of, scale_of, tapered, wandering

SHAPE = (200, 700)
EDGE = edge_of(SHAPE)
SCALE_U = 0.004
CASES = 40


def case(seed):
    """A drawn crack, its photo, and a scale that is wrong by what it claims."""
    rng = np.random.default_rng(seed)
    length_px = rng.uniform(60, 480)
    line = wandering(rng, start=(90, 100), length_px=length_px, wander=rng.uniform(0.2, 0.6))
    widths = tapered(len(line), rng.uniform(2.5, 9.0))
    photo = draw(
        [(line, widths)], shape=SHAPE, edge=EDGE, seed=seed, grain=rng.uniform(0.03, 0.12),
        blur_px=rng.uniform(0.7, 1.2), noise=rng.uniform(0.5, 2.5),
    )  # fmt: skip
    wrong = MM_PER_PX * (1 + rng.normal(0, SCALE_U))
    return rng, line, widths, photo, scale_of(wrong, u_relative=SCALE_U)


def shares(quantities, truths):
    """Share of 95 % intervals that hold the truth, and the rms of error over claim."""
    z = np.array([(q.value - t) / q.u for q, t in zip(quantities, truths, strict=True)])
    return float(np.mean(np.abs(z) <= 1.96)), float(np.sqrt(np.mean(z**2)))


def test_traced_lengths_and_widths_hold_their_claim():
    lengths, truths, openings, widest = [], [], [], []
    for seed in range(CASES):
        rng, line, widths, photo, scale = case(seed)
        clicks = line[[0, len(line) // 2, -1]] + rng.normal(0, 1.5, (3, 2))
        found = trace_crack(photo, clicks, scale, edge=EDGE)
        lengths.append(found.quantities["length"])
        truths.append(np.hypot(*np.diff(line, axis=0).T).sum() * MM_PER_PX)
        openings.append(found.quantities["width_max"])
        widest.append(widths.max() * MM_PER_PX)
    inside, rms = shares(lengths, truths)
    assert inside >= 0.875  # 0.90 less one binomial spread of 40 cases
    assert 0.4 < rms < 1.3  # neither boastful nor idle
    inside, rms = shares(openings, widest)
    assert inside >= 0.875
    assert 0.25 < rms < 1.3
    error = [q.value / t - 1 for q, t in zip(lengths, truths, strict=True)]
    assert np.median(np.abs(error)) < 0.015  # the figure promised for tracing


def test_automatic_lengths_hold_their_claim():
    lengths, truths, missed = [], [], 0
    for seed in range(100, 100 + CASES):
        _, line, _, photo, scale = case(seed)
        found = find_cracks(photo, EDGE, scale)
        missed += not found
        if len(found) == 1:
            lengths.append(found[0].quantities["length"])
            truths.append(np.hypot(*np.diff(line, axis=0).T).sum() * MM_PER_PX)
    assert missed <= 2  # recall of 95 % on plain cracks
    assert len(lengths) >= CASES - 3
    inside, rms = shares(lengths, truths)
    assert inside >= 0.87
    assert 0.3 < rms < 1.3
    error = [q.value / t - 1 for q, t in zip(lengths, truths, strict=True)]
    assert np.median(np.abs(error)) < 0.03  # the figure promised for proposals


def test_more_tips_and_a_poorer_scale_never_claim_less():
    _, line, _, photo, _ = case(7)
    good, poor = (
        trace_crack(photo, line[[0, -1]], scale_of(u_relative=u)).quantities["length"].u
        for u in (0.001, 0.02)
    )
    assert poor > good
    assert poor == pytest.approx(np.hypot(good, 0.02 * length_mm(line)), rel=0.05)  # rss


def length_mm(line):
    return float(np.hypot(*np.diff(line, axis=0).T).sum()) * MM_PER_PX
