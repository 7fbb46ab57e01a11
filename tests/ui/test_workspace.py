"""The photo workspace in a real browser: what the hand does is what the record keeps."""

import os
from collections.abc import Iterator
from typing import Any

import pytest
from playwright.sync_api import Page, expect

from tests.ui.browser import browser, chromium, server
from tests.ui.desk import MM_PER_PX, Desk, at, click, drag, row, saved
from tests.ui.filled import CRACK, MISSED, OTHER, gapped, keep, partly_judged

pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(
        chromium() is None and not os.environ.get("CI"), reason="no chromium on this machine"
    ),
]


@pytest.fixture(scope="module")
def desk(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Desk]:
    folder = tmp_path_factory.mktemp("workspace")
    with server(folder) as address, browser() as chrome:
        made = Desk(folder, address, chrome)
        yield made
        assert made.faults == []


@pytest.fixture(scope="module")
def opened(desk: Desk) -> Page:
    return desk.page()


@pytest.fixture
def page(opened: Page) -> Page:
    """The page with nothing selected, no tool in hand, and the whole photo in view."""
    opened.locator(".ws").evaluate(
        """(root) => {
            const {workspace} = root;
            workspace.use("select");
            workspace.pick(null);
            workspace.view.fit();
            workspace.view.draw();
            root.focus();
        }"""
    )
    return opened


def _edit(page: Page, name: str) -> None:
    row(page, name).click()
    page.locator("[data-act=edit]").click()
    expect(page.locator(".ws")).to_have_attribute("data-tool", "edit")


def test_points_are_dragged_added_and_taken_out_and_the_length_follows(
    desk: Desk, page: Page
) -> None:
    _edit(page, "crack-1")
    (x1, y), (x2, _) = CRACK
    drag(page, [x2, y], [x2 + 50, y])
    saved(page)
    # A straight piece of 50 px more at the end; the pointer sits within one screen pixel.
    assert desk.length("crack-1") == pytest.approx((x2 - x1 + 50) * MM_PER_PX, abs=0.05)
    expect(row(page, "crack-1").locator(".main")).to_contain_text("6.0")
    middle = [(x1 + x2) / 2, y]
    drag(page, middle, [middle[0], y - 30])
    saved(page)
    bent = 2 * ((x2 - x1) / 2) * (1 + (30 / 50) ** 2) ** 0.5 + 50
    assert desk.length("crack-1") == pytest.approx(bent * MM_PER_PX, abs=0.08)  # 1 screen px
    click(page, [middle[0], y - 30])
    page.locator("[data-do=remove-point]").click()
    saved(page)
    assert desk.length("crack-1") == pytest.approx((x2 - x1 + 50) * MM_PER_PX, abs=0.05)
    edits = desk.stored().edits[2:]  # the record begun, the photo added
    assert [(e.action, e.by) for e in edits] == [("replace_geometry", "R. Alder")] * 3


def test_undo_and_redo_go_back_and_forth_by_key(desk: Desk, page: Page) -> None:
    start, n_edits = desk.length("crack-2"), len(desk.stored().edits)
    _edit(page, "crack-2")
    drag(page, OTHER[1], [OTHER[1][0] + 50, OTHER[1][1]])
    saved(page)
    longer = desk.length("crack-2")
    page.keyboard.press("u")
    saved(page)
    assert desk.length("crack-2") == start
    page.keyboard.press("y")
    saved(page)
    assert desk.length("crack-2") == longer
    expect(page.locator("[data-do=redo]")).to_be_disabled()
    actions = [e.action for e in desk.stored().edits[n_edits:]]
    assert actions == ["replace_geometry", "undo", "redo"]


def test_an_area_is_drawn_in_one_go_then_added_to_and_taken_away_from(
    desk: Desk, page: Page
) -> None:
    page.locator("[data-tool=area]").click()
    square = [[60.0, 120.0], [160.0, 120.0], [160.0, 160.0], [60.0, 160.0], [60.0, 122.0]]
    drag(page, *square)
    saved(page)

    # A hand drawn square: a screen pixel along 280 px of border.
    assert desk.area_px("crumbling-t1") == pytest.approx(4000, abs=200)
    row(page, "crumbling-t1").click()
    page.locator("[data-act=add]").click()
    click(page, [150.0, 130.0], [200.0, 130.0], [200.0, 150.0], [150.0, 150.0])
    page.keyboard.press("Enter")
    saved(page)
    assert desk.area_px("crumbling-t1") == pytest.approx(4800, abs=240)
    page.keyboard.press("x")
    click(page, [100.0, 110.0], [110.0, 110.0], [110.0, 170.0], [100.0, 170.0])
    page.locator("[data-do=finish]").click()
    saved(page)
    # Cut through: the larger part keeps its name, the other one gets its own.
    assert desk.area_px("crumbling-t1") == pytest.approx(50 * 40 + 800, abs=200)
    assert {"crumbling-t1", "crumbling-t2"} < set(desk.findings())


def test_kind_and_layer_change_by_key_and_by_list(desk: Desk, page: Page) -> None:
    row(page, "crack-1").click()
    page.locator(".ws").focus()
    page.keyboard.press("k")
    saved(page)
    page.get_by_label("Layer", exact=True).select_option("4")
    saved(page)
    found = desk.findings()["crack-1"]
    assert (found["kind"], found["layer"]) == ("bond_gap", 4)


def test_a_line_is_traced_without_a_mouse(desk: Desk, page: Page) -> None:
    page.locator(".ws").focus()
    page.keyboard.press("t")
    root = page.locator(".ws")
    for point in MISSED:
        # Arrow keys move the cross by 5 screen pixels; start it near by, then go on by key.
        root.evaluate(
            """(ws, p) => {
                const w = ws.workspace;
                const [x, y] = w.view.toScreen(p);
                w.pointer = [x - 5, y];
                w.keyed = true;
            }""",
            point,
        )
        page.keyboard.press("ArrowRight")
        page.keyboard.press("Space")
    page.keyboard.press("Enter")
    saved(page)
    # 120 px; both ends within the tips that a trace is moved across.
    assert desk.length("crack-t1") == pytest.approx(4.8, abs=0.1)


def test_the_way_is_shown_between_clicks_and_not_asked_without_end(
    desk: Desk, page: Page
) -> None:
    page.locator("[data-tool=trace]").click()
    click(page, MISSED[0])
    ((far, y),) = at(page, MISSED[1])
    page.mouse.move(far, y, steps=60)
    expect(page.locator(".ws[data-way]")).to_have_count(1)
    assert int(page.locator(".ws").get_attribute("data-asked") or 0) <= 3
    way = page.locator(".ws").evaluate("(ws) => ws.workspace.draft.next.length")
    assert way > 20  # a way of pixels, no straight line of two points
    page.keyboard.press("Escape")


def test_a_length_is_measured_and_not_stored(desk: Desk, page: Page) -> None:
    n_edits = len(desk.stored().edits)
    page.locator("[data-tool=ruler]").click()
    click(page, [100.0, 50.0], [200.0, 50.0])
    answer = page.locator(".hint .answer")
    expect(answer).to_contain_text("mm")
    # 100 px at 0.04 mm; the clicks hit within a screen pixel.
    assert float((answer.text_content() or "").split()[0]) == pytest.approx(4.0, abs=0.06)
    assert "±" in (answer.text_content() or "")
    assert len(desk.stored().edits) == n_edits


def test_help_loupe_look_and_marks(desk: Desk, page: Page) -> None:
    page.locator(".ws").focus()
    page.keyboard.press("?")
    expect(page.locator(".keys dt").first).to_be_visible()
    page.keyboard.press("Escape")
    expect(page.locator(".keys")).to_be_hidden()
    page.keyboard.press("l")
    ((x, y),) = at(page, [100.0, 100.0])
    page.mouse.move(x, y)
    expect(page.locator(".loupe")).to_be_visible()
    page.keyboard.press("l")
    expect(page.locator(".loupe")).to_be_hidden()
    page.keyboard.press("b")
    expect(page.locator(".look")).to_contain_text("measuring uses the original")
    page.locator("[data-look=brightness]").fill("180")
    assert "180%" in page.locator("canvas.tiles").evaluate("(c) => c.style.filter")
    page.keyboard.press("Escape")
    page.keyboard.press("o")
    expect(page.locator("[data-do=overlays]")).to_have_attribute("aria-pressed", "false")


def test_two_people_on_one_finding_the_second_is_told(desk: Desk, page: Page) -> None:
    first, second = page, desk.page("S. Birch")
    row(first, "crack-2").click()
    first.locator("[data-act=reject]").click()
    first.locator("[data-reason='Mould mark']").click()
    saved(first)
    row(second, "crack-2").click()
    second.locator("[data-act=reject]").click()
    second.locator("[data-reason='Found twice']").click()
    hint = second.locator(".hint.fault")
    expect(hint).to_contain_text("R. Alder changed this meanwhile: reject crack-2")
    expect(hint).to_contain_text("Your change was not made")
    # What the other one did is shown; the next change, made on it, goes through.
    expect(row(second, "crack-2")).to_contain_text("Reason: Mould mark")
    second.locator("[data-act=confirm]").click()
    saved(second)
    review = desk.stored().photos[0].reviews["crack-2"]
    assert (review.state, review.by) == ("confirmed", "S. Birch")


def test_a_gap_is_asked_about_and_joined_by_one_press(desk: Desk) -> None:
    inspection = gapped()
    keep(desk.folder, inspection)
    page = desk.page(of=inspection)
    asked = page.locator(".gap-row")
    expect(asked).to_contain_text("crack-1 and crack-2")
    expect(asked).to_contain_text("Gap 0.48 mm, 83 % likely one crack")
    assert page.locator(".ws").evaluate(CONTRAST) == []
    page.get_by_role("button", name="Join", exact=True).click()
    saved(page)
    expect(asked).to_have_count(0)
    expect(page.locator(".row")).to_have_count(1)
    expect(row(page, "crack-1").locator(".main")).to_contain_text("4.0")
    page.locator("[data-do=undo]").click()
    saved(page)
    page.get_by_role("button", name="Leave apart").click()
    saved(page)
    expect(page.locator(".row")).to_have_count(2)
    expect(asked).to_have_count(0)


def test_rubber_that_could_not_be_judged_is_named_and_shown(desk: Desk) -> None:
    inspection = partly_judged()
    keep(desk.folder, inspection)
    page = desk.page(of=inspection)
    named = page.locator(".unseen .gap-row")
    expect(named).to_contain_text("Not judged: glare")
    expect(named).to_contain_text("10 % of layer 2, for crumbling. Move the lamp to the side.")
    assert page.locator(".ws").evaluate(CONTRAST) == []
    expect(page.locator(".map .legend")).to_contain_text("not judged")
    expect(page.locator(".map path.unseen")).to_have_count(1)
    page.locator(".ws").evaluate("(root) => root.workspace.view.centre([0, 0], 4)")
    expect(page.locator(".zoom-text")).to_have_text("400 %")
    named.get_by_role("button").click()
    expect(page.locator(".zoom-text")).to_have_text("200 %")  # framed: the most it is enlarged


def test_on_a_telephone_tools_are_large_and_nothing_is_wider_than_the_screen(
    desk: Desk,
) -> None:
    page = desk.page(viewport={"width": 390, "height": 844}, has_touch=True, is_mobile=True)
    assert page.evaluate("document.querySelector('[data-testid=stMain]').scrollWidth") <= 390
    sizes = page.locator(".bar button").evaluate_all(
        "(all) => all.map((b) => Math.min(b.offsetWidth, b.offsetHeight))"
    )
    # WCAG 2.2, 2.5.5 target size (enhanced): 44 CSS px.
    assert min(sizes) >= 44
    x, y = page.locator(".ws").evaluate("(ws) => ws.workspace.view.toScreen([250, 140])")
    page.locator(".stage").tap(position={"x": x, "y": y})
    expect(page.locator(".row.chosen")).to_have_attribute("data-id", "crack-2")
    _pinch(page)


def _pinch(page: Page) -> None:
    """Two fingers that move apart bring the photo nearer, about their middle."""
    page.locator(".stage").scroll_into_view_if_needed()
    before = page.locator(".ws").evaluate("(ws) => ws.workspace.view.k")
    box = page.locator(".stage").bounding_box()
    assert box is not None
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    touches = page.context.new_cdp_session(page)
    for kind, apart in (("touchStart", 40), ("touchMove", 60), ("touchMove", 80)):
        fingers = [{"x": x + s * apart, "y": y, "id": i} for i, s in enumerate((-1, 1))]
        touches.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": fingers})
    touches.send("Input.dispatchTouchEvent", {"type": "touchEnd", "touchPoints": []})
    now = page.locator(".ws").evaluate("(ws) => ws.workspace.view.k")
    assert now == pytest.approx(2 * before, rel=0.05)  # fingers move in whole pixels
    expect(page.locator(".ws")).to_have_attribute("data-tool", "select")


CONTRAST = """(root) => {
    // Relative luminance and contrast ratio as WCAG 2.2 defines them.
    const parse = (text) => (text.match(/[\\d.]+/g) || []).map(Number);
    const one = (v) => (v <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4);
    const part = (v) => one(v / 255);
    const light = ([r, g, b]) => 0.2126 * part(r) + 0.7152 * part(g) + 0.0722 * part(b);
    const paper = (node) => {
        for (let at = node; at; at = at.parentElement || at.getRootNode().host) {
            const colour = parse(getComputedStyle(at).backgroundColor);
            if (colour.length === 3 || colour[3] > 0.5) return colour;
        }
        return [255, 255, 255];
    };
    const poor = [];
    for (const node of root.querySelectorAll("*")) {
        const own = [...node.childNodes].some((c) => c.nodeType === 3 && c.textContent.trim());
        if (!own || node.disabled || !node.offsetParent) continue;
        const [a, b] = [parse(getComputedStyle(node).color), paper(node)].map(light);
        const ratio = (Math.max(a, b) + 0.05) / (Math.min(a, b) + 0.05);
        const words = node.textContent.trim().slice(0, 30);
        if (ratio < 4.5) poor.push(`${words}: ${ratio.toFixed(2)}`);
    }
    return poor;
}"""

NAMELESS = """(root) => [...root.querySelectorAll("button, input, select, [role=dialog]")]
    .filter((x) => !(x.textContent.trim() || x.getAttribute("aria-label") ||
        x.closest("label")?.textContent.trim()))
    .map((x) => x.outerHTML.slice(0, 80))"""


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_every_text_stands_out_and_every_control_has_a_name(
    desk: Desk, page: Page, scheme: Any
) -> None:
    page.emulate_media(color_scheme=scheme)
    page.locator(".row").first.click()
    for key in ("r", "t", "?", "b"):
        page.locator(".ws").focus()
        page.keyboard.press(key)
        # WCAG 2.2, 1.4.3 contrast (minimum): 4.5 for text of this size.
        assert page.locator(".ws").evaluate(CONTRAST) == [], (scheme, key)
        # WCAG 2.2, 4.1.2 name, role, value.
        assert page.locator(".ws").evaluate(NAMELESS) == [], (scheme, key)
    page.keyboard.press("Escape")


def test_a_pan_over_many_findings_moves_what_was_drawn(desk: Desk, page: Page) -> None:
    drawn = page.locator(".ws").evaluate(
        """async (root) => {
            const w = root.workspace;
            const crack = w.data.findings[0];
            const one = (_, i) => ({...crack, id: `many-${i}`});
            w.data.findings = Array.from({length: 200}, one);
            w.refresh();
            w.view.draw();
            let count = 0;
            const draw = w.painter.drawMarks.bind(w.painter);
            w.painter.drawMarks = (many) => { count += 1; draw(many); };
            for (let i = 0; i < 40; i++) {
                w.view.move(i < 20 ? 4 : -4, 2);
                w.view.draw();
            }
            delete w.painter.drawMarks;
            return count;
        }"""
    )
    # Frames stay short because the 200 marks are not drawn again in each of them.
    assert drawn <= 1
