"""The budget of a value as bars."""

from damagescore.quantity import Contribution, Measured, from_budget
from damagescore.ui.budget import budget_html


def test_lines_stand_by_size_in_the_chosen_unit_and_names_are_harmless() -> None:
    measured = from_budget(
        25.4,
        [Contribution(source="<b>path", u=0.0508), Contribution(source="scale", u=0.254)],
        unit="mm",
    )
    parts = [Contribution(source="tilt", u=0.001)]
    html = budget_html(measured, parts, unit="in")
    assert html.index("scale: tilt") < html.index("&lt;b&gt;path")
    assert "0.01 in" in html  # 0.254 mm
    assert "0.002 in" in html  # 0.0508 mm
    assert "width:100.0%" in html
    assert "width:20.0%" in html


def test_what_hardly_counts_is_one_line() -> None:
    lines = [Contribution(source="path", u=1.0)]
    lines += [Contribution(source=f"small {n}", u=0.03) for n in (1, 2)]
    html = budget_html(from_budget(9.0, lines, unit="mm"), (), unit="mm")
    assert "small 1" not in html
    assert "smaller ones" in html
    assert "0.042 mm" in html  # 0.03 mm times the root of two


def test_a_value_without_a_budget_shows_nothing() -> None:
    assert budget_html(Measured(value=0.0, u=0.0, unit="mm"), (), unit="mm") == ""
