"""Charts of studies say in words what they show, and hold every point."""

import numpy as np
import pytest

from damagescore.capability.crossed import analyse
from damagescore.capability.csv_tables import CrossedTable
from damagescore.capability.curve import Curve
from damagescore.capability.detection import Site, hit_miss
from damagescore.capability.numbers import bland_altman
from damagescore.chart import Chart, Dot, Line, Words, to_svg
from damagescore.ui.study_charts import (
    components_chart,
    curve_chart,
    difference_chart,
    parts_chart,
)


def _dots(chart: Chart) -> list[Dot]:
    return [m for m in chart.marks if isinstance(m, Dot)]


def test_curve_of_finding() -> None:
    rng = np.random.default_rng(3)
    sizes = rng.uniform(0.2, 4, 60)
    sites = [Site(size_mm=float(a), found=bool(rng.random() < a / (1 + a))) for a in sizes]
    curve = hit_miss(sites)
    assert isinstance(curve, Curve)
    chart = curve_chart(curve, [*sites, Site(size_mm=None, found=False)])
    assert f"90 % at {curve.a90_mm:.3g} mm" in chart.told
    ticks = [m for m in chart.marks if isinstance(m, Line) and m.style.opacity == 0.6]
    assert len(ticks) == 60
    found = [t for t in ticks if t.points[0][1] < chart.size[1] / 2]
    assert len(found) == sum(site.found for site in sites)
    assert "nan" not in to_svg(chart)


def test_differences() -> None:
    first = np.linspace(1, 9, 9)
    chart = difference_chart(bland_altman(first + [0.1, -0.1, 0] * 3, first), "mm")
    assert len(_dots(chart)) == 9
    assert "Mean difference 0" in chart.told


def test_components_and_parts() -> None:
    rng = np.random.default_rng(4)
    values = np.arange(5.0)[:, None, None] + rng.normal(0, 0.1, (5, 2, 3))
    table = CrossedTable(parts=("a<b", *"cdef"), inspectors=("A&B", "C"), values=values)
    assert "measuring" in components_chart(analyse(values)).told
    chart = parts_chart(table)
    assert len(_dots(chart)) == 30 + 2  # every value, and a mark for each name of the legend
    assert {d.shape for d in _dots(chart)} == {"circle", "square"}
    svg = to_svg(chart)
    assert "a&lt;b" in svg
    assert "A&amp;B" in svg


@pytest.mark.parametrize("count", [2, 10, 30])
def test_names_of_parts_do_not_run_into_each_other(count: int) -> None:
    values = np.random.default_rng(5).normal(0, 1, (count, 2, 2))
    parts = tuple(f"a long name of part {k}" for k in range(count))
    chart = parts_chart(CrossedTable(parts=parts, inspectors=("x", "y"), values=values))
    middles = [m for m in chart.marks if isinstance(m, Words) and m.anchor == "middle"]
    names = [m for m in middles if "…" in m.text]
    apart = np.diff([m.at[0] for m in names])
    # half an em a letter
    assert len(names) == 0 or apart.min() >= 0.5 * 12 * max(len(m.text) for m in names) - 1
