"""One inspection from the first photo to the signed report, in a real browser."""

import os
import re
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect

from tests.ui.browser import ROOT, browser, chromium, server
from tests.ui.watch import watch

pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(
        chromium() is None and not os.environ.get("CI"), reason="no chromium on this machine"
    ),
]

PHOTO = ROOT / "demo_images" / "hv2210-01-cracks.jpg"

MEASURED = 45_000  # ms: one photo on two busy cores
STEP = 15_000  # ms: one run of the page


def test_a_part_is_inspected_from_photo_to_signed_report(tmp_path: Path) -> None:
    faults: list[str] = []
    with server(tmp_path / "data") as address, browser() as chrome:
        context = chrome.new_context(
            viewport={"width": 1280, "height": 900}, accept_downloads=True
        )
        context.set_default_timeout(STEP)
        page = context.new_page()
        watch(page, faults)
        _start(page, address)
        _add_photo(page)
        _review(page)
        _trace(page)
        _keep_out(page)
        _reload(page)
        _limits(page)
        _sign(page, tmp_path)
        _narrow(page, address)
        context.close()
    assert faults == []


def _start(page: Page, address: str) -> None:
    page.goto(address)
    page.get_by_label("Who is working?").fill("R. Alder")
    page.get_by_label("Who is working?").press("Enter")
    expect(page.get_by_label("Who is working?")).to_have_count(0)
    page.get_by_label("Part number").fill("HV-2210")
    page.get_by_label("Serial number").fill("HV-2210-0042")
    page.get_by_role("button", name="Start the inspection").click()
    expect(page.get_by_role("heading", name="HV-2210 · HV-2210-0042")).to_be_visible()
    expect(page).to_have_url(re.compile("inspection="))


def _add_photo(page: Page) -> None:
    page.locator("input[type=file]").set_input_files(PHOTO)
    page.get_by_label("Scale in the photo").click()
    page.get_by_role("option", name="Square marks of a known side").click()
    page.get_by_label("Side of the squares, mm").fill("10")
    page.get_by_label("Side of the squares, mm").press("Enter")
    page.get_by_role("button", name="Measure the photo").click()
    expect(page.get_by_text("Measuring: 1 photo to go")).to_be_visible()
    expect(page.get_by_text("Scale by printed square marks")).to_be_visible(timeout=MEASURED)
    page.get_by_role("button", name="Open findings").click()
    expect(page.locator(".stage[data-ready=yes]")).to_be_visible()


def _review(page: Page) -> None:
    """Confirm the first finding, reject all others for a reason."""
    rows = page.locator(".row")
    expect(rows.first).to_be_visible()
    count = rows.count()
    rows.first.click()
    page.locator("[data-act=confirm]").click()
    for number in range(1, count):
        rows.nth(number).click()
        page.locator("[data-act=reject]").click()
        page.locator("[data-reason]").first.click()
    _saved(page)
    expect(page.locator(".row.confirmed")).to_have_count(1)
    expect(page.locator(".row.rejected")).to_have_count(count - 1)


def _trace(page: Page) -> None:
    """Trace along the first crack again with two clicks: one finding more."""
    workspace = page.locator(".ws")
    before = int(workspace.get_attribute("data-findings") or 0)
    page.locator("[data-tool=trace]").click()
    first, last = page.evaluate(
        """() => {
            const host = [...document.querySelectorAll("*")].find(
                (e) => e.shadowRoot && e.shadowRoot.querySelector(".ws"));
            const root = host ? host.shadowRoot : document;
            const {workspace} = root.querySelector(".ws");
            root.querySelector(".stage").scrollIntoView({block: "center"});
            workspace.view.fit();
            workspace.view.draw();
            const line = workspace.data.findings[0].lines[0];
            const box = root.querySelector(".stage").getBoundingClientRect();
            return [line[0], line[line.length - 1]].map((p) => {
                const [x, y] = workspace.view.toScreen(p);
                return [x + box.left, y + box.top];
            });
        }"""
    )
    page.mouse.click(*first)
    page.mouse.click(*last)
    page.locator("[data-do=finish]").click()
    expect(workspace).to_have_attribute("data-findings", str(before + 1))
    _saved(page)


def _keep_out(page: Page) -> None:
    """Keep an area out, see that the photo is measured again, and take that back."""
    reviewed = page.locator(".row.confirmed, .row.rejected").count()
    page.locator("[data-tool=keepout]").click()
    box = page.locator(".stage").bounding_box()
    assert box is not None
    for x, y in ((0.1, 0.5), (0.16, 0.5), (0.16, 0.54)):
        page.mouse.click(box["x"] + x * box["width"], box["y"] + y * box["height"])
    page.locator("[data-do=finish]").click()
    expect(page.locator(".hint")).to_contain_text("Measuring the photo again")
    expect(page.locator(".ws")).to_have_attribute("data-pending", "0", timeout=MEASURED)
    # What was reviewed is still there, as it was reviewed.
    expect(page.locator(".row.confirmed, .row.rejected")).to_have_count(reviewed)
    undo = page.locator("[data-do=undo]")
    expect(undo).to_have_attribute("title", re.compile("measure again photo 1"))
    undo.click()
    _saved(page)
    expect(page.locator(".row.confirmed, .row.rejected")).to_have_count(reviewed)


def _saved(page: Page) -> None:
    expect(page.locator(".ws")).to_have_attribute("data-pending", "0")


def _reload(page: Page) -> None:
    """A reload loses nothing but the name, which is asked again."""
    findings = page.locator(".ws").get_attribute("data-findings")
    page.reload()
    page.get_by_label("Who is working?").fill("R. Alder")
    page.get_by_label("Who is working?").press("Enter")
    expect(page.get_by_label("Who is working?")).to_have_count(0)
    # The one that was drawn before the name was told stays until the page is drawn whole.
    expect(page.locator(".ws")).to_have_count(1, timeout=STEP)
    expect(page.locator(".ws")).to_have_attribute("data-findings", findings or "", timeout=STEP)
    expect(page.locator(".row.confirmed")).not_to_have_count(0)


def _limits(page: Page) -> None:
    page.get_by_role("radio", name=re.compile("5 Limits")).click()
    page.get_by_label("Limit set").click()
    page.get_by_role("option", name=re.compile("INVENTED")).click()
    expect(page.get_by_text("INVENTED LIMITS").first).to_be_visible()
    expect(page.get_by_text("Score", exact=True).first).to_be_visible()


def _sign(page: Page, folder: Path) -> None:
    page.get_by_role("radio", name=re.compile("6 Sign")).click()
    page.get_by_label("Authorisation number").fill("HV-A-118")
    page.get_by_text("Refer to engineering").click()
    page.get_by_label("Reason, where the decision differs").fill("Demonstration only.")
    page.get_by_role("button", name="Sign the record").click()
    expect(page.get_by_text("Signed, locked")).to_be_visible()
    with page.expect_download() as waiting:
        page.get_by_role("button", name="PDF report").click()
    waiting.value.save_as(folder / "report.pdf")
    assert (folder / "report.pdf").read_bytes().startswith(b"%PDF-")


def _narrow(page: Page, address: str) -> None:
    """On a telephone no page is wider than the screen."""
    page.set_viewport_size({"width": 390, "height": 844})
    for name in ("records", "limit-sets", "scale-cards", "about"):
        page.goto(f"{address}/{name}")
        expect(page.get_by_role("heading", level=1)).to_be_visible()
        expect(page.locator("[data-testid=stSkeleton]")).to_have_count(0)
        wide = page.evaluate(
            """() => {
                const main = document.querySelector("[data-testid=stMain]");
                return Math.max(main.scrollWidth, document.body.scrollWidth);
            }"""
        )
        assert wide <= 390, name
