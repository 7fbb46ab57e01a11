"""Every page is legible and operable: axe-core's rules, both themes, a telephone's width.

axe-core (Deque Systems, MPL-2.0) tests the success criteria of WCAG 2.1, levels A and AA,
that a program can decide. Its script comes with axe-playwright-python.
"""

import os
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page, expect

from damagescore.inspection import assess_inspection
from damagescore.inspection.record import Inspection
from damagescore.limits import demo_limit_set_text, parse_limit_set
from tests.ui.browser import browser, chromium, server
from tests.ui.filled import keep, record
from tests.ui.journey_app import signed
from tests.ui.watch import watch

pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(
        chromium() is None and not os.environ.get("CI"), reason="no chromium on this machine"
    ),
]

STEP = 20_000  # ms: one run of the page
STEPS = ("part", "photos", "findings", "hand", "limits", "sign")
LONG = "SN-" + "0123456789" * 8

NOT_OURS: dict[str, str] = dict.fromkeys(
    ("list", "listitem"), "[data-testid=stSidebarNavItems]"
)
"""Rules that parts of Streamlit's own break and we cannot mend, each with the part.

It puts the names of the sections into the list of their links. Links of our own would not
fold the sidebar away on a narrow screen.
"""


@pytest.fixture(scope="module")
def kept(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Inspection]:
    """A store with an assessed record of a long serial number, and a signed one before it."""
    folder = tmp_path_factory.mktemp("access")
    before = signed(record(serial_number=LONG))
    limits = parse_limit_set(demo_limit_set_text())
    made = assess_inspection(record(serial_number=LONG), limits, by="R. Alder")
    keep(folder, before, made)
    return folder, made


@pytest.fixture(scope="module")
def site(kept: tuple[Path, Inspection]) -> Iterator[tuple[str, Browser]]:
    expect.set_options(timeout=STEP)
    with server(kept[0]) as address, browser() as chrome:
        yield address, chrome


def _page(chrome: Browser, faults: list[str], **how: Any) -> Page:
    page = chrome.new_context(**how).new_page()
    page.set_default_timeout(STEP)
    watch(page, faults)
    return page


def _settle(page: Page) -> None:
    """Wait until the page is drawn: Streamlit names the state of its run."""
    expect(page.get_by_role("heading", level=1)).to_be_visible()
    expect(page.locator("[data-testid=stApp]")).to_have_attribute(
        "data-test-script-state", "notRunning"
    )
    expect(page.locator("[data-testid=stSkeleton]")).to_have_count(0)


def _everywhere(page: Page, address: str, inspection: Inspection) -> Iterator[str]:
    """Go through every page of the sidebar and every step of an inspection."""
    page.goto(address)
    _settle(page)
    links = page.locator("[data-testid=stSidebarNavLink]")
    addresses = [links.nth(i).get_attribute("href") or "" for i in range(links.count())]
    assert len(addresses) >= 5  # inspect, records, limit sets, cards, about
    steps = [f"{address}/?inspection={inspection.id}&step={step}" for step in STEPS]
    for place in (*addresses, *steps):
        page.goto(place if place.startswith("http") else address + place)
        _settle(page)
        if place.endswith("step=findings"):
            expect(page.locator(".stage[data-ready=yes]")).to_be_visible()
            expect(page.locator(".map .item").first).to_be_visible()
        yield place.removeprefix(address)


def _broken(page: Page, place: str, **how: Any) -> list[str]:
    """Serious and critical violations on a page, each with the parts that break the rule."""
    told = Axe().run(page, **how).response
    assert told["passes"]  # the rules were tried
    return [
        f"{place}: {found['id']}: {[node['html'][:120] for node in found['nodes'][:3]]}"
        for found in told["violations"]
        if found["impact"] in ("serious", "critical") and not _not_ours(page, found)
    ]


def _not_ours(page: Page, found: dict[str, Any]) -> bool:
    part = NOT_OURS.get(found["id"])
    return part is not None and all(
        page.locator(node["target"][0]).evaluate("(e, part) => e.closest(part) !== null", part)
        for node in found["nodes"]
    )


def test_no_page_breaks_a_serious_rule(
    site: tuple[str, Browser], kept: tuple[Path, Inspection]
) -> None:
    address, chrome = site
    faults: list[str] = []
    page = _page(chrome, faults, viewport={"width": 1280, "height": 900})
    broken = [x for place in _everywhere(page, address, kept[1]) for x in _broken(page, place)]
    page.context.close()
    assert broken == []
    assert faults == []


def test_the_dark_theme_breaks_no_rule_beside_the_sidebar_either(
    site: tuple[str, Browser], kept: tuple[Path, Inspection]
) -> None:
    address, chrome = site
    page = _page(chrome, [], color_scheme="dark", viewport={"width": 1280, "height": 900})
    page.goto(f"{address}/?inspection={kept[1].id}&step=limits")
    _settle(page)
    broken = _broken(page, "limits")
    page.context.close()
    assert broken == []


def test_on_a_dark_telephone_no_page_is_too_wide_or_too_pale(
    site: tuple[str, Browser], kept: tuple[Path, Inspection]
) -> None:
    address, chrome = site
    faults: list[str] = []
    page = _page(chrome, faults, color_scheme="dark", viewport={"width": 390, "height": 844})
    wide, pale = [], []
    for place in _everywhere(page, address, kept[1]):
        width = page.evaluate(
            """() => {
                const main = document.querySelector("[data-testid=stMain]");
                return Math.max(main.scrollWidth, document.body.scrollWidth);
            }"""
        )
        wide += [f"{place}: {width} px"] if width > 390 else []
        # The other rules do not hang on the theme.
        pale += _broken(page, place, options={"runOnly": ["color-contrast"]})
    page.context.close()
    assert (wide, pale) == ([], [])
    assert faults == []
