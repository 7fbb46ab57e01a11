"""What rules on maintenance records ask for, and the inspector's key, in the app."""

from collections.abc import Iterator
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path

import pytest
from streamlit.testing.v1 import AppTest

from damagescore.inspection import Inspection, assess_inspection, confirm_all
from damagescore.inspection.seal import BY_KEY
from damagescore.limits import demo_limit_set_text, parse_limit_set
from damagescore.records.keys import keys_of
from damagescore.ui import session
from tests.ui.browser import ROOT
from tests.ui.filled import filled
from tests.ui.test_pages import MAIN, SECONDS

PASSPHRASE = "snow on the alders"


@pytest.fixture
def ready(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Inspection]:
    """An inspection that waits for its signature."""
    monkeypatch.setenv("DAMAGESCORE_DATA", str(tmp_path))
    monkeypatch.delenv("DAMAGESCORE_DATABASE", raising=False)
    record = filled(tmp_path)
    for entry in record.photos:
        record = confirm_all(record, entry.sha256, by="R. Alder")
    limits = parse_limit_set(demo_limit_set_text(), name="demo")
    record = assess_inspection(record, limits, by="R. Alder")
    session.store().save(record)
    yield record
    session.desk().close()


def at_step(record: Inspection, step: str) -> AppTest:
    app = AppTest.from_file(str(MAIN), default_timeout=SECONDS)
    app.query_params["inspection"] = record.id
    app.query_params["step"] = step
    app.session_state["inspector_name"] = "R. Alder"
    return app.run()


def test_what_is_done_and_more_of_the_part_are_saved_when_left(ready: Inspection) -> None:
    key = ready.id
    app = at_step(ready, "part")
    app.text_input(key=f"task-extent-{key}").set_value("all layers").run()
    app.text_input(key=f"fitted_to-{key}").set_value("Test rig 3").run()
    app.number_input(key=f"total_time_h-{key}").set_value(5120.5).run()
    app.text_input(key=f"position-{key}").set_value("upper").run()
    assert not app.exception
    kept = session.store().load(key)
    assert kept.task.extent == "all layers"
    assert (kept.part.fitted_to, kept.part.total_time_h) == ("Test rig 3", 5120.5)
    assert kept.part.position == "upper"
    assert kept.part.part_number == ready.part.part_number


def test_a_key_is_made_and_seals_the_record(ready: Inspection) -> None:
    key = ready.id
    app = at_step(ready, "sign")
    assert any("signed by name only" in c.value for c in app.caption)
    app.text_input(key=f"key-authorisation-{key}").set_value("HV-A-118")
    app.text_input(key=f"key-first-{key}").set_value(PASSPHRASE)
    app.text_input(key=f"key-again-{key}").set_value("snow on the elders")
    app.button(key=f"key-{key}-submit").click().run()
    assert "The two passphrases differ" in app.error[0].value
    app.text_input(key=f"key-again-{key}").set_value(PASSPHRASE)
    app.button(key=f"key-{key}-submit").click().run()
    (made,) = keys_of(session.store(), "R. Alder")
    app.text_input(key=f"sign-authorisation-{key}").set_value("HV-A-118")
    app.text_input(key=f"sign-certificate-{key}").set_value("M-7731")
    app.radio(key=f"sign-disposition-{key}").set_value("refer")
    app.text_area(key=f"sign-reason-{key}").set_value("Depth was not probed.")
    app.text_input(key=f"sign-passphrase-{key}").set_value("a wrong passphrase")
    app.button(key=f"sign-{key}-submit").click().run()
    assert "does not open this key" in app.error[0].value
    app.text_input(key=f"sign-passphrase-{key}").set_value(PASSPHRASE)
    app.button(key=f"sign-{key}-submit").click().run()
    assert not app.exception
    signature = session.store().load(key).signature
    assert signature is not None
    assert (signature.method, signature.public_key) == (BY_KEY, made.public_key)
    assert signature.certificate_number == "M-7731"
    assert any(made.public_key in c.value for c in app.caption)
    assert session.store().examine().n_sealed == 1


def test_the_records_page_filters_by_more_and_counts_all(ready: Inspection) -> None:
    for number in range(30):
        session.store().save(replace(ready, id=f"other-{number}", photos=()))
    app = AppTest.from_file(str(MAIN), default_timeout=SECONDS)
    app.run()
    app.switch_page(str(ROOT / "app_pages" / "records.py")).run()
    assert any(c.value == "31 records" for c in app.caption)
    app.selectbox(key="records-by-kind").set_value("crack").run()
    assert not app.exception
    assert any(c.value == "1 record" for c in app.caption)
    assert any("1 set" in e.label for e in app.expander)
    app.selectbox(key="records-by-kind").set_value(None)
    app.date_input(key="records-by-created_from").set_value(date.today() + timedelta(days=30))
    app.run()
    assert any(c.value == "0 records" for c in app.caption)
