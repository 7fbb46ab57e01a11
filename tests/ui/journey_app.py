"""A server to walk through in a browser, and records to begin with."""

from pathlib import Path
from typing import Any

from playwright.sync_api import Browser, Page, expect

from damagescore.inspection import (
    Inspection,
    assess_inspection,
    confirm_finding,
    sign_inspection,
)
from damagescore.limits import demo_limit_set_text, parse_limit_set
from damagescore.records import Store
from tests.ui.filled import keep
from tests.ui.watch import watch

STEP = 15_000  # ms: one run of the page


class App:
    """A server with its data, and pages on it."""

    def __init__(self, folder: Path, address: str, chrome: Browser) -> None:
        self.folder, self.address, self.chrome = folder, address, chrome
        self.faults: list[str] = []

    def open(self, inspection: Inspection, step: str) -> Page:
        keep(self.folder, inspection)
        context = self.chrome.new_context(viewport={"width": 1280, "height": 1000})
        context.set_default_timeout(STEP)
        page = context.new_page()
        watch(page, self.faults)
        page.goto(f"{self.address}/?inspection={inspection.id}&step={step}")
        say_who(page)
        return page

    def stored(self, inspection: Inspection) -> Inspection:
        with Store(self.folder) as store:
            return store.load(inspection.id)


def say_who(page: Page) -> None:
    page.get_by_label("Who is working?").fill("R. Alder")
    page.get_by_label("Who is working?").press("Enter")
    expect(page.get_by_label("Who is working?")).to_have_count(0)
    # The run that takes the name draws all once more; a key pressed before that may be lost.
    expect(page.locator("[data-testid=stApp]")).to_have_attribute(
        "data-test-script-state", "notRunning"
    )


def signed(inspection: Inspection) -> Inspection:
    """Confirm both cracks, compare with the invented limits and sign."""
    sha256 = inspection.photos[0].sha256
    for finding in ("crack-1", "crack-2"):
        inspection = confirm_finding(inspection, sha256, finding, by="R. Alder")
    limits = parse_limit_set(demo_limit_set_text())
    how: dict[str, Any] = {"statement": "Inspected.", "reason": "Depth was not probed."}
    return sign_inspection(
        assess_inspection(inspection, limits, by="R. Alder"), name="R. Alder",
        authorisation="HV-A-118", disposition="refer", **how,
    )  # fmt: skip
