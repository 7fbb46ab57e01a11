"""Ways through the app in a real browser: correct, retake, supersede, reload."""

import os
import re
from collections.abc import Iterator
from pathlib import Path

import cv2
import pytest
from playwright.sync_api import expect

from damagescore.records import Store
from tests.ui.browser import ROOT, browser, chromium, server
from tests.ui.filled import keep, record
from tests.ui.journey_app import STEP, App, signed

pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(
        chromium() is None and not os.environ.get("CI"), reason="no chromium on this machine"
    ),
]

PHOTO = ROOT / "demo_images" / "hv2210-01-cracks.jpg"

MEASURED = 150_000  # ms: a few photos on two busy cores, and the start of the processes


@pytest.fixture(scope="module")
def app(tmp_path_factory: pytest.TempPathFactory) -> Iterator[App]:
    folder = tmp_path_factory.mktemp("journeys")
    expect.set_options(timeout=STEP)
    with server(folder) as address, browser() as chrome:
        yield App(folder, address, chrome)


@pytest.fixture(autouse=True)
def sound(app: App) -> Iterator[None]:
    yield
    assert app.faults == []


def test_a_wrong_finding_is_rejected_and_no_longer_counts(app: App) -> None:
    made = record(serial_number="wrong-1")
    page = app.open(made, "findings")
    # 4.0 and 3.2 mm long, see `filled`.
    expect(page.get_by_text(re.compile(r"Crack length, total: 7\.\d+ ± "))).to_be_visible()
    page.locator(".map .item[data-id=crack-2]").press("Enter")
    expect(page.locator(".row.chosen")).to_have_attribute("data-id", "crack-2")
    expect(page.locator(".map .detail")).to_contain_text("Where the uncertainty comes from")
    page.locator("[data-act=reject]").click()
    page.locator("[data-reason]").first.click()
    expect(page.locator(".ws")).to_have_attribute("data-pending", "0")
    expect(page.locator(".map .item.rejected")).to_have_count(1)
    expect(page.get_by_text(re.compile(r"Crack length, total: 4\.\d+ ± "))).to_be_visible()
    page.context.close()
    assert app.stored(made).photos[0].reviews["crack-2"].state == "rejected"


def test_a_refused_photo_is_retaken_and_the_record_keeps_both(app: App) -> None:
    made = record(serial_number="refused-1", lines=())
    page = app.open(made, "photos")
    expect(page.get_by_text("The photo is out of focus: hold still.")).to_be_visible()
    page.get_by_role("button", name="Retake").click()
    window = page.get_by_role("dialog")
    window.locator("input[type=file]").set_input_files(PHOTO)
    expect(window.get_by_label("Reason")).to_have_value("The photo is out of focus")
    window.get_by_role("button", name="Replace the photo").click()
    expect(page.get_by_text(f"1. {PHOTO.name}")).to_be_visible(timeout=MEASURED)
    expect(page.locator(".ds-refuse")).to_have_count(0)
    page.get_by_text("Replaced and removed photos (1)").click()
    expect(
        page.get_by_text(re.compile("Replaced by hv2210-01-cracks.jpg: The ph"))
    ).to_be_visible()
    page.context.close()
    stored = app.stored(made)
    assert [p.name for p in stored.photos] == [PHOTO.name]
    assert stored.edits[-1].before["entry"]["sha256"] == made.photos[0].sha256


def test_a_signed_record_is_superseded_for_a_reason(app: App) -> None:
    made = signed(record(serial_number="signed-1"))
    page = app.open(record(serial_number="other-1"), "part")
    keep(app.folder, made)
    page.goto(f"{app.address}/records")
    page.get_by_label("Search").fill("signed-1")
    page.get_by_label("Search").press("Enter")
    expect(page.get_by_text("HV-2210 · other-1")).to_have_count(0)
    page.get_by_test_id("stBaseButton-secondary").filter(has_text="Open").click()
    expect(page.get_by_text("Signed, locked")).to_be_visible()
    page.get_by_text("Supersede this record").click()
    if page.get_by_label("Who is working", exact=True).input_value() == "":
        page.get_by_label("Who is working", exact=True).fill("R. Alder")
        page.get_by_label("Who is working", exact=True).press("Enter")
    page.get_by_label("Reason", exact=True).fill("The hours were wrong")
    page.get_by_label("Reason", exact=True).press("Enter")
    page.get_by_role("button", name="Supersede", exact=True).click()
    expect(page.get_by_text(f"Supersedes {made.id[:8]}: The hours were wrong")).to_be_visible()
    page.context.close()
    with Store(app.folder) as store:
        assert [s.signed for s in store.history(made.id)] == [True, False]


def test_a_reload_in_the_middle_of_measuring_loses_nothing(app: App, tmp_path: Path) -> None:
    made = record(serial_number="reload-1")
    page = app.open(made, "photos")
    page.get_by_text("Add photos", exact=True).click()
    # How the last photo was taken is how the next one begins.
    expect(page.get_by_label("Side of the squares, mm")).to_have_value("10")
    page.locator("input[type=file]").set_input_files(small_photos(tmp_path, count=3))
    page.get_by_role("button", name="Measure 3 photos").click()
    expect(page.get_by_text("Measuring: 3 photos to go")).to_be_visible()
    page.reload()
    expect(page.get_by_text(re.compile("Measuring: . photos? to go"))).to_be_visible()
    expect(page.get_by_text(re.compile("^4 photos"))).to_be_visible(timeout=MEASURED)
    expect(page.get_by_text("Measuring:")).to_have_count(0)
    page.context.close()
    names = {p.name for p in app.stored(made).photos}
    assert names == {"edge.png", *(f"photo-{n}.jpg" for n in range(3))}


def test_a_known_part_opens_with_what_its_last_inspection_found(app: App) -> None:
    keep(app.folder, signed(record(serial_number="known-1")))
    page = app.open(record(serial_number="other-2"), "photos")
    page.get_by_role("button", name="Another part").click()
    page.get_by_label("Part number").fill("HV-2210")
    page.get_by_label("Serial number").fill("known-1")
    page.get_by_role("button", name="Start the inspection").click()
    expect(page.get_by_text(re.compile("Last inspection: .* at 600 h"))).to_be_visible()
    expect(page.get_by_text("Decided: refer to engineering.")).to_be_visible()
    expect(page.locator(".ds-last [role=img]").first).to_be_visible()
    page.get_by_role("radio", name=re.compile("2 Photos")).click()
    expect(page.get_by_text("Add photos from")).to_be_visible()
    # How the last photo was taken is how the next one begins.
    expect(page.get_by_label("Side of the squares, mm")).to_have_value("10")
    page.get_by_role("radio", name=re.compile("5 Limits")).click()
    expect(page.get_by_text(re.compile("Last time .* at 600 h")).first).to_be_visible()
    page.context.close()


def small_photos(folder: Path, *, count: int) -> list[Path]:
    """Small copies of a demo photo, each another file: quick to measure."""
    whole = cv2.imread(str(PHOTO))
    assert whole is not None
    paths = []
    for number in range(count):
        small = cv2.resize(whole, (1000 + number, 750), interpolation=cv2.INTER_AREA)
        paths.append(folder / f"photo-{number}.jpg")
        cv2.imwrite(str(paths[-1]), small)
    return paths
