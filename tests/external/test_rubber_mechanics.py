"""Bulge of a sound bonded layer.

Source: A. N. Gent and P. B. Lindley, "The compression of bonded rubber blocks",
Proc. Institution of Mechanical Engineers 173 (1959) 111-122, Appendix I: strip
u = 3 x d / 2 t, disc u = 3 r d / 4 t at the edge, parabolic across the layer.
Shape factors: P. B. Lindley, "Engineering Design with Natural Rubber". Values
checked 2026; tolerance 1e-9 because they are closed forms.
"""

import numpy as np
import pytest

from damagescore.damage.bulge import find_bulges
from damagescore.damage.bulge_theory import (
    bulge_over_thickness,
    parabola,
    shape_factor,
    sound_bulge_mm,
)
from damagescore.edge import find_edge
from damagescore.errors import UsageError
from tests.edge_renders import Stack, render_profile


@pytest.mark.parametrize(("form", "expected"), [("strip", 0.75), ("disc", 0.375)])
def test_peak_at_the_edge(form, expected):
    # a = 10, t = 2, strain 5 %
    assert sound_bulge_mm(10.0, 0.05, form=form) == pytest.approx(expected, abs=1e-9)


@pytest.mark.parametrize("form", ["strip", "disc"])
def test_the_bulge_holds_the_volume_that_compression_takes(form):
    a, t, strain = 10.0, 2.0, 0.05
    place = np.linspace(-1, 1, 20001)
    peak = sound_bulge_mm(a, strain, form=form)
    area = np.trapezoid(parabola(place, peak=peak), place) * t / 2
    taken = a * strain * t if form == "strip" else np.pi * a**2 * strain * t
    held = area if form == "strip" else 2 * np.pi * a * area
    assert held == pytest.approx(taken, rel=1e-6)  # trapezoid rule over 20000 steps


def test_first_order_is_low_at_finite_strain():
    # Exact strip: 1.5 a e / (1 - e) = 0.78947 at 5 %: first order is 5 % low.
    exact = 1.5 * 10 * 0.05 / 0.95
    assert exact == pytest.approx(0.78947, abs=1e-5)
    assert sound_bulge_mm(10.0, 0.05, form="strip") / exact == pytest.approx(0.95, abs=1e-9)


def test_shape_factors():
    # strip b / 2t with b = 20, t = 2; disc a / 2t with a = 10, t = 2
    assert shape_factor(10.0, 2.0, form="strip") == pytest.approx(5.0, abs=1e-9)
    assert shape_factor(10.0, 2.0, form="disc") == pytest.approx(2.5, abs=1e-9)


@pytest.mark.parametrize("form", ["strip", "disc"])
def test_both_forms_share_one_law(form):
    a, t, strain = 12.0, 1.5, 0.03
    share = sound_bulge_mm(a, strain, form=form) / t
    assert share == pytest.approx(bulge_over_thickness(strain, shape_factor(a, t, form=form)))


def test_fifteen_percent_bulge_at_shape_factor_5_is_2_percent_strain():
    assert bulge_over_thickness(0.02, 5.0) == pytest.approx(0.15, abs=1e-9)


def test_a_strip_of_no_width_is_refused():
    with pytest.raises(UsageError, match="outside"):
        sound_bulge_mm(0.0, 0.05, form="strip")


@pytest.mark.parametrize("strain", [0.02, 0.05])
def test_the_bulge_of_the_theory_is_measured_back(strain):
    expected = sound_bulge_mm(10.0, strain, form="strip")
    stack = Stack(rubber_mm=(3.0, 3.0, 3.0, 3.0))
    render = render_profile((0.0, expected, 0.0, 0.0), stack=stack)
    edge = find_edge(render.photo, render.scale, view="profile")
    (found,) = find_bulges(render.photo, edge, render.scale)
    peak = found.quantities["peak"]
    assert peak.value == pytest.approx(expected, abs=0.03)  # 3/4 px and the datum
    share = found.quantities["peak_over_thickness"].value / 100
    assert share == pytest.approx(bulge_over_thickness(strain, 10.0 / 3.0), rel=0.06)
