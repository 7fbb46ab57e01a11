"""Make docs/screenshot.png: `python -m tests.ui.make_screenshot`. Run by hand."""

import tempfile
from pathlib import Path

from PIL import Image
from playwright.sync_api import Page, expect

from tests.ui.browser import ROOT, browser, server

MEASURED = 90_000  # ms: twelve megapixels on a busy machine
MOST_BYTES = 400_000


def main() -> None:
    """Inspect a demo part and take the findings step at 1280 px."""
    target = ROOT / "docs" / "screenshot.png"
    target.parent.mkdir(exist_ok=True)
    with (
        tempfile.TemporaryDirectory() as folder,
        server(Path(folder)) as address,
        browser() as chrome,
    ):
        page = chrome.new_page(viewport={"width": 1280, "height": 860})
        _findings(page, address)
        page.screenshot(path=target)
    # A palette keeps the file small; more rounds keep the few strong colours of the marks.
    picture = Image.open(target).convert("RGB")
    picture.quantize(256, method=Image.Quantize.MEDIANCUT, kmeans=6).save(target, optimize=True)
    size = target.stat().st_size
    assert size <= MOST_BYTES, size
    print(f"{target}: {size} bytes")


def _findings(page: Page, address: str) -> None:
    page.goto(address)
    page.get_by_label("Who is working?").fill("R. Alder")
    page.get_by_label("Who is working?").press("Enter")
    expect(page.get_by_label("Who is working?")).to_have_count(0)
    page.get_by_role("button", name="Try it with a demo part").click()
    page.get_by_label("Demo photos").press("Backspace")
    page.get_by_label("Demo photos").fill("HV-3105: mixed")
    page.get_by_role("option", name="HV-3105: mixed").click()
    page.keyboard.press("Escape")
    page.get_by_role("button", name="Measure the demo photos").click()
    page.get_by_role("button", name="Open findings").click(timeout=MEASURED)
    expect(page.locator(".row").first).to_be_visible()
    page.locator(".row").first.click()
    page.locator("[data-act=confirm]").click()
    page.locator("[data-do=rubber]").click()
    expect(page.locator(".ws")).to_have_attribute("data-pending", "0")
    expect(page.locator(".stage[data-ready=yes]")).to_be_visible()
    page.evaluate(
        """() => {
            const main = document.querySelector("[data-testid=stMain]");
            main.scrollTop = 200;
        }"""
    )
    page.wait_for_timeout(500)  # lets the page settle; a picture, not a test


if __name__ == "__main__":
    main()
