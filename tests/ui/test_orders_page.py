"""The page of work orders: its lists and forms widget by widget, and the way in a browser."""

import os
from collections.abc import Iterator
from dataclasses import asdict, replace
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect
from streamlit.testing.v1 import AppTest

from damagescore.errors import UsageError
from damagescore.orders.order_file import is_order_folder
from damagescore.orders.record import OrderPhoto, order_to_dict
from damagescore.records import Store
from damagescore.records.work_orders import WorkOrderStore
from damagescore.scenes.order import order_specs, write_order
from damagescore.scenes.render import render, write_scene
from damagescore.ui import session
from damagescore.ui.orders.kept import load_order
from damagescore.ui.orders.listing import WITHIN, hours_of, part_of
from tests.order_samples import sample_order
from tests.ui.browser import ROOT, browser, chromium, server
from tests.ui.filled import photo_file

MAIN = ROOT / "damagescore" / "ui" / "main.py"
PAGE = ROOT / "app_pages" / "work_orders.py"

STEP = 20_000  # ms: one run of the page on two busy cores
MEASURED = 90_000  # ms: two photos on two busy cores


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Path]:
    monkeypatch.setenv("DAMAGESCORE_DATA", str(tmp_path))
    yield tmp_path
    session.desk().close()


@pytest.fixture
def waiting(folder: Path) -> str:
    """An order with one photo that nobody could sort."""
    with Store(folder) as store:
        sha256 = store.put_photo(photo_file())
        photo = OrderPhoto(sha256=sha256, name="edge.png", reason="No job card can be read.")
        plain = order_to_dict(sample_order())
        kept = WorkOrderStore(store)
        kept.save(plain | {"photos": [asdict(photo)]}, expected_revision=0)
    return "one"


def _page(*, order: str = "", who: str = "R. Alder") -> AppTest:
    app = AppTest.from_file(str(MAIN), default_timeout=60)
    app.session_state["inspector_name"] = who
    app.run()
    if order:
        app.query_params["order"] = order
    app.switch_page(str(PAGE)).run()
    assert [e.message for e in app.exception] == []
    return app


def test_a_photo_is_assigned_by_hand(waiting: str) -> None:
    app = _page(order=waiting)
    assert any("No job card can be read." in c.value for c in app.caption)
    assert any("1 photo to be assigned" in m.value for m in app.markdown)
    (key,) = {s.key for s in app.selectbox if s.key.startswith("assign-")}
    app.selectbox(key=key).select("HV-1418 0009")
    app.text_input(key=key.replace("assign", "clock")).input("4:30")
    app.run()
    app.button(key=f"do-{key}").click().run()
    assert [e.message for e in app.exception] == []
    (photo,) = load_order(waiting).photos
    assert (photo.part, photo.how, photo.clock_hours) == ("HV-1418 0009", "by hand", 4.5)
    assert any("1 photo to measure" in m.value for m in app.markdown)


def test_without_a_name_an_order_is_only_read(waiting: str) -> None:
    app = _page(order=waiting, who="")
    assert not [b for b in app.button if b.key and b.key.startswith("do-assign")]
    assert app.text_input(key="who-orders")


def test_an_order_that_is_not_there_is_told(folder: Path) -> None:
    app = _page(order="nowhere")
    assert any("no work order 'nowhere'" in e.value for e in app.error)


def test_a_line_of_the_table_is_a_part() -> None:
    row = {"Part number": "HV-1418", "Serial number": "0009", "Hours": 3.0,
           "Edge radius, in": 1.0, "Clock positions": "12, 3;4:30"}  # fmt: skip
    part = part_of(row, "Edge radius, in")
    assert part.scale.edge_radius_mm == 25.4
    assert part.clock_hours == (12.0, 3.0, 4.5)
    assert part.clock_within_deg == 5.0
    assert part_of(row | {WITHIN: 2.0}, "Edge radius, in").clock_within_deg == 2.0
    with pytest.raises(UsageError, match="'noon' is no hour"):
        hours_of("12, noon")


@pytest.mark.browser
@pytest.mark.skipif(
    chromium() is None and not os.environ.get("CI"), reason="no chromium on this machine"
)
def test_an_order_goes_from_photos_to_the_part_to_inspect_first(tmp_path: Path) -> None:
    photos = tmp_path / "photos"
    for spec in (order_specs()[0], order_specs()[3]):  # a job card; no card and no name
        camera = replace(spec.camera, size_px=(1100, 825), px_per_mm=13.0)
        write_scene(render(replace(spec, camera=camera), 1200), photos)
    order = write_order(photos)
    assert is_order_folder(photos)
    with server(tmp_path / "data") as address, browser() as chrome:
        page = chrome.new_context(viewport={"width": 1280, "height": 900}).new_page()
        page.set_default_timeout(STEP)
        _begin(page, address, order)
        _sort(page, sorted(photos.glob("*.jpg")))
        _assign(page)
        _measure(page)
        page.get_by_role("button", name="Inspect").first.click()
        expect(page.get_by_role("heading", name="HV-2210 · 0131")).to_be_visible(timeout=STEP)


def _begin(page: Page, address: str, order: Path) -> None:
    page.goto(f"{address}/work-orders")
    page.get_by_label("Who is working?").fill("R. Alder")
    page.get_by_label("Who is working?").press("Enter")
    page.get_by_role("radio", name="An order file").click()
    page.locator("input[type=file]").set_input_files(order)
    page.get_by_role("button", name="Make the order").click()
    expect(page.get_by_role("heading", name="Work order HVRW-1203")).to_be_visible(timeout=STEP)


def _sort(page: Page, photos: list[Path]) -> None:
    page.locator("input[type=file][multiple]").set_input_files(photos)
    page.get_by_role("button", name="Sort 2 photos").click()
    expect(page.get_by_text("To be assigned: 1")).to_be_visible(timeout=MEASURED)
    expect(page.get_by_text("No job card can be read in it")).to_be_visible(timeout=STEP)
    expect(page.get_by_text("1 photo to measure")).to_be_visible(timeout=STEP)


def _assign(page: Page) -> None:
    page.get_by_label("Part", exact=True).click()
    page.get_by_role("option", name="HV-2210 0132").click()
    page.get_by_role("button", name="Assign").click()
    expect(page.get_by_text("2 photos to measure")).to_be_visible(timeout=STEP)


def _measure(page: Page) -> None:
    page.get_by_label("Compare with").click()
    page.get_by_role("option", name="INVENTED").click()
    page.get_by_role("button", name="Measure 2 photos").click()
    expect(page.get_by_text("Limit exceeded").first).to_be_visible(timeout=MEASURED)
    # While one of both is being measured, the other part may lead the list.
    expect(page.get_by_text("Being measured")).to_have_count(0, timeout=MEASURED)
    expect(page.get_by_text("1. HV-2210 0131")).to_be_visible(timeout=MEASURED)
