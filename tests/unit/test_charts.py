"""Charts: the same marks as SVG and on paper, with a text alternative."""

import xml.etree.ElementTree as ET
from itertools import pairwise

import pytest

from damagescore.chart import to_svg
from damagescore.chart.axes import reach, tick_words, ticks
from damagescore.chart.endurance import damage_chart, lives_chart
from damagescore.chart.growth import growth_chart, residual_chart
from damagescore.chart.record import Chart, Dot, Words
from damagescore.endurance.compare import compare
from damagescore.history import predict
from damagescore.report.chart_figure import ChartFigure
from damagescore.report.look import BODY_WIDTH
from damagescore.report.pages import PageFacts, build_pdf
from tests.unit.test_endurance import part
from tests.unit.test_history import series, steady

FACTS = PageFacts(
    record_id="x", subject="x", mark="x", banner="", software="x", content_sha256="0"
)


def charts() -> list[Chart]:
    grown = predict(series(*steady(8), limit=14.0))
    few = predict(series(*steady(3)))
    test = compare(
        [
            part("E-1", "A", (0, 0.0), (100, 6.0), (200, 14.0)),
            part("a very long name of a part <on> test & more", "B", (0, 0.0), (300, 4.0)),
        ]
    )
    residuals = residual_chart(grown)
    assert residuals is not None
    return [
        growth_chart(grown, next_use=900.0), growth_chart(grown, unit="in"), growth_chart(few),
        residuals, damage_chart(test.parts, "long"), lives_chart(test.criteria[0]),
    ]  # fmt: skip


@pytest.mark.parametrize("chart", charts(), ids=lambda c: c.title)
def test_svg_is_sound_and_says_what_it_shows(chart: Chart) -> None:
    root = ET.fromstring(to_svg(chart))
    assert root.get("role") == "img"
    assert chart.title in root.get("aria-label", "")
    assert len(chart.told) > 20
    width, height = chart.size
    for element in root.iter():
        for name, most in (("x", width), ("cx", width), ("y", height), ("cy", height)):
            value = element.get(name)
            assert value is None or -1 <= float(value) <= most + 1  # nothing outside the sheet


def test_svg_takes_the_colour_of_the_page() -> None:
    text = to_svg(charts()[0])
    assert "currentColor" in text
    assert "#000" not in text
    assert "white" not in text


def test_names_cannot_break_out_of_the_svg() -> None:
    assert "<on>" not in to_svg(charts()[4])


def test_every_chart_fits_on_paper() -> None:
    pdf = build_pdf([ChartFigure(c, width=0.7 * BODY_WIDTH) for c in charts()], FACTS)
    assert pdf.startswith(b"%PDF")


def test_points_stand_where_their_values_are() -> None:
    chart = growth_chart(predict(series(*steady(8), limit=14.0)))
    dots = [m for m in chart.marks if isinstance(m, Dot)]
    assert len(dots) == 8
    xs = [d.at[0] for d in dots]
    assert xs == sorted(xs)
    steps = {round(b - a, 6) for a, b in pairwise(xs)}
    assert len(steps) == 1  # every 100 h
    assert any(isinstance(m, Words) and m.text == "limit" for m in chart.marks)


def test_hours_of_a_part_seen_once_begin_at_zero() -> None:
    chart = growth_chart(predict(series((812.5, 33.2))))
    words = [m.text for m in chart.marks if isinstance(m, Words)]
    assert {"0", "200", "800"} <= set(words)
    assert not any("812" in w for w in words)


def test_residuals_need_a_curve() -> None:
    assert residual_chart(predict(series(*steady(3)))) is None


def test_ticks_are_round() -> None:
    assert ticks(0, 10, most=5) == [0, 2, 4, 6, 8, 10]
    assert ticks(-0.3, 0.31, most=6) == pytest.approx([-0.2, 0, 0.2])  # rounding
    assert tick_words([0, 0.2, 0.4]) == ["0.0", "0.2", "0.4"]
    assert tick_words([0, 500]) == ["0", "500"]
    assert ticks(3, 3) == [3]


def test_an_axis_holds_its_values() -> None:
    assert reach([2, 10], from_zero=True)[0] == 0
    low, high = reach([5, 5], from_zero=False)
    assert low < 5 < high
    assert reach([], from_zero=True)[1] > 0
