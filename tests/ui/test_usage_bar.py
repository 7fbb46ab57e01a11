"""The bar of a criterion: places follow from the usage by plain arithmetic."""

import pytest

from damagescore.ui.usage_bar import LEAST_SPAN, MOST_SPAN, UsageBar

EXACT = 1e-9  # plain arithmetic


def _bar(usage: float, u_usage: float = 0.02) -> UsageBar:
    return UsageBar(usage=usage, u_usage=u_usage, half_zone=0.033, outcome="within")


def test_the_limit_stands_at_two_thirds_of_the_usual_bar() -> None:
    assert _bar(0.4).at(1) == pytest.approx(100 / LEAST_SPAN, abs=EXACT)


def test_a_high_usage_widens_the_bar_but_only_so_far() -> None:
    assert _bar(2.0, 0.0).span == pytest.approx(2.2, abs=EXACT)
    assert _bar(50.0).span == MOST_SPAN
    assert _bar(50.0).at(50.0) == 100


def test_the_bar_tells_a_reader_that_sees_no_bar() -> None:
    assert 'aria-label="40 % of the limit used, 95 % interval 36 to 44 %' in _bar(0.4).to_html()


@pytest.mark.parametrize("usage", [0.0, 0.3, 1.0, 1.7, 80.0])
def test_nothing_is_drawn_outside_the_bar(usage: float) -> None:
    bar = _bar(usage, 0.5)
    half = 1.96 * bar.u_usage
    for place in (0.0, usage - half, usage, usage + half, 1 - bar.half_zone):
        assert 0 <= bar.at(place) <= 100
