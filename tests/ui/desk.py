"""A photo workspace in a browser, and what a hand does there."""

from pathlib import Path
from typing import Any

from playwright.sync_api import Browser, Locator, Page, expect

from damagescore.inspection import Inspection
from damagescore.records import Store
from tests.ui.filled import filled

STEP = 15_000  # ms: one run of the page
MM_PER_PX = 0.04  # of the photo in `filled`

PLACE = """(root, points) => {
    const {view, stage} = root.workspace;
    view.draw();
    const box = stage.getBoundingClientRect();
    return points.map((p) => {
        const [x, y] = view.toScreen(p);
        return [x + box.left, y + box.top];
    });
}"""


class Desk:
    """A server with one inspection, and pages on it."""

    def __init__(self, folder: Path, address: str, chrome: Browser) -> None:
        self.folder, self.address, self.chrome = folder, address, chrome
        self.record = filled(folder)
        self.faults: list[str] = []

    def page(self, name: str = "R. Alder", *, of: Inspection | None = None, **how: Any) -> Page:
        record = of or self.record
        context = self.chrome.new_context(
            **{"viewport": {"width": 1280, "height": 1000}, **how}
        )
        context.set_default_timeout(STEP)
        page = context.new_page()
        page.on("pageerror", lambda e: self.faults.append(str(e)))
        page.goto(f"{self.address}/?inspection={record.id}&step=findings")
        give_name(page, name)
        expect(page.locator(".stage[data-ready=yes]")).to_be_visible()
        page.locator(".ws").evaluate("(root) => root.scrollIntoView({block: 'end'})")
        return page

    def stored(self) -> Inspection:
        with Store(self.folder) as store:
            return store.load(self.record.id)

    def findings(self) -> dict[str, Any]:
        return {f["id"]: f for f in self.stored().photos[0].measurement["findings"]}

    def length(self, name: str) -> float:
        return float(self.findings()[name]["quantities"]["length"]["value"])

    def area_px(self, name: str) -> float:
        return float(self.findings()[name]["quantities"]["area"]["value"]) / MM_PER_PX**2


def give_name(page: Page, name: str) -> None:
    """Say who works, and wait for the one workspace that can be changed."""
    page.get_by_label("Who is working?").fill(name)
    page.get_by_label("Who is working?").press("Enter")
    expect(page.get_by_label("Who is working?")).to_have_count(0)
    # Until the name is taken over, a workspace that is read-only stands there.
    expect(page.locator("[data-tool=trace]:enabled")).to_have_count(1)
    expect(page.locator("[data-tool=trace]:disabled")).to_have_count(0)


def at(page: Page, *points: list[float]) -> list[list[float]]:
    """Where photo pixels lie on the screen."""
    found: list[list[float]] = page.locator(".ws").evaluate(PLACE, list(points))
    return found


def click(page: Page, *points: list[float]) -> None:
    for x, y in at(page, *points):
        page.mouse.click(x, y)


def drag(page: Page, *points: list[float]) -> None:
    (x, y), *others = at(page, *points)
    page.mouse.move(x, y)
    page.mouse.down()
    for far_x, far_y in others:
        page.mouse.move(far_x, far_y, steps=4)
    page.mouse.up()


def saved(page: Page) -> None:
    expect(page.locator(".ws")).to_have_attribute("data-pending", "0")


def row(page: Page, name: str) -> Locator:
    return page.locator(f'.row[data-id="{name}"]')
