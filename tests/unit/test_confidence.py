"""The chance that a line is a crack: its file, its bounds, its control."""

import math
from dataclasses import replace

import pytest

from damagescore.damage.confidence import (
    LEAST_CHANCE,
    MOST_CHANCE,
    TERMS,
    Model,
    Term,
    fitted_model,
    least_chance,
)
from damagescore.damage.evidence import Evidence

PLAIN = Evidence(
    darkness=0.8, weakest=0.5, response=12.0, saliency=2000.0, length_mm=9.0, stands_out=0.5,
    straight=0.0, border_share=0.0, along_border=0.0, bright_flank=0.05, step=0.02,
    width_mm=0.2, noise=0.07, px_per_mm=25.0,
)  # fmt: skip


def test_the_file_has_every_term_and_no_other():
    assert set(fitted_model().terms) == set(TERMS)


def test_a_plain_crack_is_likely_and_grain_is_not():
    grain = replace(PLAIN, darkness=0.2, weakest=0.1, response=4.2, saliency=50, length_mm=0.8)
    assert fitted_model().chance(PLAIN) > 0.9
    assert fitted_model().chance(grain) < 0.1


@pytest.mark.parametrize("name", ["darkness", "response", "saliency", "length_mm"])
def test_more_of_what_makes_a_crack_is_never_less_likely(name):
    value = getattr(PLAIN, name)
    chances = [
        fitted_model().chance(replace(PLAIN, **{name: value * k})) for k in (0.3, 0.6, 1)
    ]
    assert chances == sorted(chances)


def test_the_chance_is_the_logistic_of_the_sum():
    model = Model(start=-1.0, terms={"darkness": Term(middle=0.5, spread=0.2, weight=2.0)})
    odds = -1.0 + 2.0 * (0.8 - 0.5) / 0.2
    assert model.chance(PLAIN) == pytest.approx(1 / (1 + math.exp(-odds)))


@pytest.mark.parametrize(("start", "bound"), [(-60.0, LEAST_CHANCE), (60.0, MOST_CHANCE)])
def test_nothing_is_certain(start, bound):
    assert Model(start=start, terms={}).chance(PLAIN) == bound


def test_the_control_runs_from_sure_to_suspicious():
    assert least_chance(0.5) == pytest.approx(0.5)
    assert least_chance(0.0) == pytest.approx(0.95)
    assert least_chance(1.0) == pytest.approx(0.05)
    steps = [least_chance(k / 10) for k in range(11)]
    assert steps == sorted(steps, reverse=True)
