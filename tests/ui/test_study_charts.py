"""Charts of studies say in words what they show, and hold every point."""

import numpy as np

from damagescore.capability.crossed import analyse
from damagescore.capability.csv_tables import CrossedTable
from damagescore.capability.curve import Curve
from damagescore.capability.detection import Site, hit_miss
from damagescore.capability.numbers import bland_altman
from damagescore.ui.study_charts import components_svg, curve_svg, difference_svg, parts_svg


def test_curve_of_finding() -> None:
    rng = np.random.default_rng(3)
    sizes = rng.uniform(0.2, 4, 60)
    sites = [Site(size_mm=float(a), found=bool(rng.random() < a / (1 + a))) for a in sizes]
    curve = hit_miss(sites)
    assert isinstance(curve, Curve)
    svg = curve_svg(curve, [*sites, Site(size_mm=None, found=False)])
    assert f"90 % at {curve.a90_mm:.3g} mm" in svg
    assert svg.count("v8") == 60
    assert "nan" not in svg


def test_differences() -> None:
    first = np.linspace(1, 9, 9)
    svg = difference_svg(bland_altman(first + [0.1, -0.1, 0] * 3, first), "mm")
    assert svg.count("<circle") == 9
    assert "mean difference 0" in svg


def test_components_and_parts() -> None:
    rng = np.random.default_rng(4)
    values = np.arange(5.0)[:, None, None] + rng.normal(0, 0.1, (5, 2, 3))
    table = CrossedTable(parts=("a<b", *"cdef"), inspectors=("A&B", "C"), values=values)
    assert "measuring" in components_svg(analyse(values))
    svg = parts_svg(table)
    assert svg.count('r="3.5"') == 30
    assert "a&lt;b" in svg
    assert "disc: A&amp;B, ring: C" in svg
