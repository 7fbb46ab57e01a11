"""The fitted chance against the real share, on candidates drawn from a known chance."""

import math

import numpy as np

from benchmarks.bench_reliability import calibration_error, diagram, in_bins, wilson
from benchmarks.candidates import Weighed
from benchmarks.fit_confidence import best_penalty, fitted
from damagescore.chart import Dot
from damagescore.damage.evidence import Evidence


def drawn(count, seed):
    """Candidates whose odds of being real rise with darkness and length, and photo by photo."""
    rng = np.random.default_rng(seed)
    made = []
    for k in range(count):
        darkness, length_mm = rng.uniform(0.1, 0.95), float(np.exp(rng.normal(1, 1)))
        odds = 9 * (darkness - 0.5) + 1.2 * (math.log(length_mm) - 1)
        evidence = Evidence(
            darkness=darkness, weakest=0.3 * darkness, response=rng.uniform(3, 15),
            saliency=100.0, length_mm=length_mm, stands_out=0.5, straight=0.0,
            border_share=rng.uniform(), along_border=0.0, bright_flank=0.05, step=0.02,
            width_mm=0.2, noise=0.07, px_per_mm=25.0,
        )  # fmt: skip
        real = bool(rng.uniform() < 1 / (1 + math.exp(-odds)))
        made.append(Weighed(photo=f"p{k // 5}", evidence=evidence, chance=0.5, real=real))
    return made


def weighed(model, seen):
    return [
        Weighed(
            photo=w.photo, evidence=w.evidence, chance=model.chance(w.evidence), real=w.real
        )
        for w in seen
    ]


def test_the_chance_holds_on_candidates_that_were_not_fitted_on():
    seen = drawn(300, 1)
    penalty, _ = best_penalty(seen)
    others = weighed(fitted(seen, penalty=penalty), drawn(3000, 2))
    # 300 candidates fix the curve to about 0.03; the strong penalty adds a little.
    assert calibration_error(others) < 0.06


def test_a_set_that_can_be_parted_does_not_make_the_chance_too_sure():
    seen = [w for w in drawn(400, 3) if abs(w.evidence.darkness - 0.5) > 0.2]
    parted = [
        Weighed(photo=w.photo, evidence=w.evidence, chance=0.5, real=w.evidence.darkness > 0.5)
        for w in seen
    ]
    model = fitted(parted, penalty=best_penalty(parted)[0])
    between = [
        model.chance(w.evidence) for w in drawn(300, 4) if abs(w.evidence.darkness - 0.5) < 0.03
    ]
    assert 0.2 < float(np.median(between)) < 0.8  # midway between the parts nothing is known


def test_the_diagram_has_a_dot_at_the_real_share_of_every_bin_that_holds_any():
    seen = [*drawn(30, 5)]
    chart = diagram(seen)  # all of them were given a chance of 0.5
    (dot,) = [m for m in chart.marks if isinstance(m, Dot)]
    share = float(np.mean([w.real for w in seen]))
    middle = np.array([chart.size[0], chart.size[1]]) / 2
    assert abs(dot.at[0] - middle[0]) < 0.1 * chart.size[0]  # the axes have unequal margins
    low, high = wilson(sum(w.real for w in seen), len(seen))
    assert low < share < high
    assert sum(bool(group) for group in in_bins(seen)) == 1
    assert f"{sum(w.real for w in seen)} of 30 at 0.50" in chart.told
