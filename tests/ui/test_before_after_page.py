"""A part before and after its repair, on the page of its order."""

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from streamlit.testing.v1 import AppTest

from damagescore.inspection import Inspection, Part, set_part
from damagescore.orders.record import OrderPart, new_order, order_to_dict
from damagescore.records import Store
from damagescore.records.work_orders import WorkOrderStore
from damagescore.ui import session
from tests.ui.browser import ROOT
from tests.ui.filled import CRACK, OTHER, Lines, keep, record

PART = Part(part_number="HV-2210", serial_number="0117")


def _record(at: str, *, lines: Lines, serial: str = "0117") -> Inspection:
    made = replace(record(lines=lines), created_at=at)
    return set_part(made, replace(PART, serial_number=serial), by="R. Alder")


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Path]:
    monkeypatch.setenv("DAMAGESCORE_DATA", str(tmp_path))
    yield tmp_path
    session.desk().close()


def _page(folder: Path, *inspections: Inspection) -> AppTest:
    keep(folder, *inspections)
    order = new_order("HVRW-1", (OrderPart(part=PART),), order_id="one")
    with Store(folder) as store:
        kept = WorkOrderStore(store)
        kept.save(order_to_dict(order), expected_revision=0)
    app = AppTest.from_file(str(ROOT / "damagescore" / "ui" / "main.py"), default_timeout=60)
    app.session_state["inspector_name"] = "R. Alder"
    app.run()
    app.query_params["order"] = "one"
    app.switch_page(str(ROOT / "app_pages" / "work_orders.py")).run()
    app.selectbox(key="repair-part-one").select("HV-2210 0117").run()
    assert [e.message for e in app.exception] == []
    return app


def test_the_last_two_records_of_a_part_are_compared(folder: Path) -> None:
    first = _record("2031-01-02T08:00:00Z", lines=(CRACK, OTHER))
    last = _record("2031-03-04T08:00:00Z", lines=(OTHER,))
    other = _record("2031-03-05T08:00:00Z", lines=(OTHER,), serial="0118")
    app = _page(folder, last, first, other)
    (table,) = app.dataframe
    rows = {row["Quantity"]: row for row in table.value.to_dict("records")}
    total = rows["Crack length, total"]
    # 100 and 80 px at 0.04 mm, then 80 px: 7.2 mm, 3.2 mm; 100 px less are 4.0 mm.
    assert total["Before"].startswith("7.2")
    assert total["After"].startswith("3.2")
    assert total["Difference"].startswith("−4.0")
    assert total["Reading"] == "less than before"
    app.selectbox(key="repair-after-HV-2210 0117").select(first.id).run()
    assert any("two different records" in i.value for i in app.info)


def test_one_record_is_not_compared(folder: Path) -> None:
    app = _page(folder, _record("2031-01-02T08:00:00Z", lines=(CRACK,)))
    assert any("has one record" in i.value for i in app.info)
    assert not app.dataframe
