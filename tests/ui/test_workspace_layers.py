"""Layers put right in a real browser: what follows is seen, taken back, and kept."""

import os
import re
from collections.abc import Iterator

import pytest
from playwright.sync_api import Page, expect

from tests.ui.browser import browser, chromium, server
from tests.ui.desk import Desk, click, drag, give_name, row, saved

pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(
        chromium() is None and not os.environ.get("CI"), reason="no chromium on this machine"
    ),
]

IN_SHIM, IN_RUBBER = [200.0, 190.0], [200.0, 60.0]
"""In layers 1 and 4 of the photo in `filled`, whose borders lie at rows 280 to 20."""


@pytest.fixture(scope="module")
def desk(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Desk]:
    folder = tmp_path_factory.mktemp("layers")
    with server(folder) as address, browser() as chrome:
        made = Desk(folder, address, chrome)
        yield made
        assert made.faults == []


@pytest.fixture(scope="module")
def page(desk: Desk) -> Page:
    return desk.page()


def _kinds(desk: Desk) -> str:
    return "".join(x["kind"][0] for x in desk.stored().photos[0].measurement["layers"])


def _total(desk: Desk, page: Page) -> float:
    """The total that the page shows is the one that is stored."""
    total = desk.stored().photos[0].measurement["totals"]["crack_extent_percent"]["value"]
    shown = page.locator("li", has_text=f"{total:.1f}"[:4]).first
    expect(shown).to_be_visible()
    return float(total)


def test_a_wrong_shim_is_removed_the_total_follows_and_undo_brings_it_back(
    desk: Desk, page: Page
) -> None:
    before = _total(desk, page)
    page.locator("button[data-tool=layers]").click()
    click(page, IN_SHIM)
    expect(page.locator(".said")).to_contain_text("Layer 1, shim")
    page.locator("[data-do=layer-out]").click()
    saved(page)
    assert _kinds(desk) == "rsr"
    # Two cracks on two layers instead of three, the same length seen of each.
    assert _total(desk, page) == pytest.approx(before * 3 / 2, rel=0.01)  # 400 stations
    expect(row(page, "crack-1").locator(".state")).to_contain_text("layer 0")
    expect(row(page, "crack-2").locator(".state")).to_contain_text("layer 0")
    expect(page.get_by_text("% of the rubber was none")).to_be_visible()
    page.locator("[data-do=undo]").click()
    saved(page)
    assert _kinds(desk) == "rsrsr"
    assert _total(desk, page) == before
    expect(row(page, "crack-2").locator(".state")).to_contain_text("layer 2")


def test_a_dragged_border_and_an_added_shim_outlast_a_reload(desk: Desk, page: Page) -> None:
    page.locator("button[data-tool=layers]").click()
    click(page, [200.0, 140.0])
    (end, other) = page.locator(".ws").evaluate(
        """(ws) => ws.workspace.shape.parts()[1].handles.slice(2, 4)
            .map((i) => ws.workspace.shape.parts()[1].points[i])"""
    )
    drag(page, end, [end[0], end[1] - 10])
    saved(page)
    page.locator(".hint .why").fill("Glare hid the border")
    drag(page, other, [other[0], other[1] - 10])
    saved(page)
    edits = desk.stored().edits[-2:]
    assert [e.reason for e in edits] == ["Boundary lay wrong", "Glare hid the border"]
    assert [(e.action, e.by) for e in edits] == [("move_boundary", "R. Alder")] * 2
    thickness = desk.stored().photos[0].measurement["layers"][2]["thickness_mm"]
    # 80 px and a good third of it 10 px more, at 0.04 mm.
    assert 3.25 < thickness < 3.45
    page.locator(".hint [aria-pressed]").click()
    click(page, IN_RUBBER)
    saved(page)
    assert _kinds(desk) == "rsrsrsr"
    again = desk.page()
    again.keyboard.press("z")
    assert again.locator(".ws").evaluate("(ws) => ws.workspace.data.layers.length") == 7
    again.locator("[data-do=undo]").click()
    saved(again)
    assert _kinds(desk) == "rsrsr"
    expect(again.locator("[data-do=undo]")).to_have_attribute(
        "title", "Undo: move boundary between layers 2 and 3, photo 1 (edge.png)"
    )
    again.context.close()


def test_rubber_between_two_shims_cannot_go_alone(page: Page) -> None:
    page.locator(".ws").focus()
    page.keyboard.press("z")
    click(page, [200.0, 140.0])
    expect(page.locator("[data-do=layer-out]")).to_be_disabled()


def test_layers_are_put_right_without_a_mouse(desk: Desk, page: Page) -> None:
    page.reload()
    give_name(page, "R. Alder")
    page.locator(".ws").focus()
    for key in ("z", "n", "n"):
        page.keyboard.press(key)
    expect(page.locator(".said")).to_contain_text("Layer 1, shim")
    page.keyboard.press("Shift+Delete")
    saved(page)
    assert _kinds(desk) == "rsr"
    page.keyboard.press("u")
    saved(page)
    page.keyboard.press(".")
    page.keyboard.press(".")
    expect(page.locator(".said")).to_contain_text("Point 2 of")
    before = desk.stored().photos[0].measurement["layers"]
    page.keyboard.press("Shift+ArrowUp")
    expect(page.locator("[data-do=undo]")).to_have_attribute("title", _moved())
    saved(page)
    assert desk.stored().photos[0].measurement["layers"] != before


def _moved() -> str:
    return "Undo: move boundary between layers 0 and 1, photo 1 (edge.png)"


def test_findings_are_reviewed_without_a_mouse_and_said_aloud(desk: Desk, page: Page) -> None:
    page.locator(".ws").focus()
    page.keyboard.press("v")
    page.keyboard.press("n")
    expect(page.locator(".said")).to_have_text(
        re.compile(
            r"crack-1, Crack, 4\.00 ± 0\.\d\d mm, Proposed, not reviewed, layer 0, 1 of 2"
        )
    )
    page.keyboard.press("c")
    page.keyboard.press("n")
    page.keyboard.press("r")
    page.keyboard.press("2")
    saved(page)
    reviews = desk.stored().photos[0].reviews
    assert {k: (r.state, r.reason) for k, r in reviews.items()} == {
        "crack-1": ("confirmed", ""), "crack-2": ("rejected", "Mould mark"),
    }  # fmt: skip
    label = page.locator("canvas.marks").get_attribute("aria-label") or ""
    assert "5 layers and 2 findings (crack: 2)" in label


def test_what_another_changed_elsewhere_is_told_and_both_stand(desk: Desk, page: Page) -> None:
    other = desk.page("S. Birch")
    other.locator(".ws").focus()
    other.keyboard.press("n")
    other.keyboard.press("k")
    saved(other)
    row(page, "crack-2").click()
    page.locator("[data-act=confirm]").click()
    saved(page)
    news = page.locator(".hint .news")
    expect(news).to_have_text(
        "1 change by S. Birch on this photo was taken in: change the kind of crack-1."
    )
    page.locator("[data-do=close-news]").click()
    expect(news).to_have_count(0)
    entry = desk.stored().photos[0]
    assert entry.reviews["crack-2"].by == "R. Alder"
    assert desk.findings()["crack-1"]["kind"] == "bond_gap"
    other.context.close()


def test_a_measuring_line_is_kept_on_the_photo_and_taken_out(desk: Desk, page: Page) -> None:
    page.locator("[data-do=fit]").click()
    page.locator("[data-tool=ruler]").click()
    click(page, [100.0, 50.0], [200.0, 50.0])
    page.locator("[data-do=keep-ruler]").click()
    saved(page)
    (line,) = desk.stored().photos[0].rulers
    assert line["points_px"] == [
        pytest.approx([100, 50], abs=1),
        pytest.approx([200, 50], abs=1),
    ]
    page.get_by_role("button", name="Take line 1 out").click()
    saved(page)
    assert desk.stored().photos[0].rulers == ()


def test_a_browser_that_lost_the_parts_gets_them_again(desk: Desk, page: Page) -> None:
    page.get_by_role("radio", name="1 Part").click()
    expect(page.locator(".ws")).to_have_count(0)
    page.get_by_role("radio", name="3 Findings").click()
    expect(page.locator(".ws")).to_have_attribute("data-findings", "2")
    expect(page.locator(".row")).to_have_count(2)
