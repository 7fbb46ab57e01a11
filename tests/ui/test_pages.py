"""Every page launches, and the journeys of an inspector work widget by widget."""

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from streamlit.testing.v1 import AppTest

from damagescore.inspection import Inspection, state_of
from damagescore.limits import demo_limit_set_text, parse_limit_set
from damagescore.records import Store
from damagescore.ui import session
from damagescore.ui.workspace import key_of
from tests.ui.browser import ROOT
from tests.ui.filled import MISSED, OTHER, filled

MAIN = ROOT / "damagescore" / "ui" / "main.py"
PAGES = (
    "work_orders",
    "records",
    "history",
    "compare",
    "limit_sets",
    "scale_cards",
    "lenses",
    "check_target",
    "studies",
    "training",
    "accounts",
    "about",
)
SECONDS = 60  # the first page of a run reads all packages from disk


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Path]:
    monkeypatch.setenv("DAMAGESCORE_DATA", str(tmp_path))
    yield tmp_path
    session.desk().close()


@pytest.fixture
def inspection(folder: Path) -> Inspection:
    return filled(folder)


def _app(inspection: Inspection | None = None, *, step: str = "", who: str = "") -> AppTest:
    app = AppTest.from_file(str(MAIN), default_timeout=SECONDS)
    if inspection is not None:
        app.query_params["inspection"] = inspection.id
    if step:
        app.query_params["step"] = step
    if who:
        app.session_state["inspector_name"] = who
    return _sound(app.run())


def _sound(app: AppTest) -> AppTest:
    assert [e.message for e in app.exception] == []
    return app


def _stored(inspection: Inspection) -> Inspection:
    return session.store().load(inspection.id)


def _send(app: AppTest, inspection: Inspection, ops: list[dict[str, Any]]) -> AppTest:
    """Send edits as the workspace does."""
    key = key_of(inspection.id, inspection.photos[0].sha256)
    app.session_state[key] = {"ops": ops}
    return _sound(app.run())


def test_every_page_has_its_address(folder: Path) -> None:
    pages = _app().session_state["pages"]
    assert pages["Inspect"].url_path == ""
    shown = {page.url_path.replace("-", "_") for page in pages.values()} - {""}
    assert shown == set(PAGES)
    assert shown | {"inspect"} == {path.stem for path in (ROOT / "app_pages").glob("*.py")}


@pytest.mark.parametrize("page", PAGES)
def test_every_page_launches_on_an_empty_store(folder: Path, page: str) -> None:
    app = _app()
    _sound(app.switch_page(str(ROOT / "app_pages" / f"{page}.py")).run())
    assert [e.value for e in app.error] == []
    assert app.title


@pytest.mark.parametrize("page", PAGES)
def test_every_page_launches_on_a_filled_store(inspection: Inspection, page: str) -> None:
    app = _app(inspection)
    _sound(app.switch_page(str(ROOT / "app_pages" / f"{page}.py")).run())
    assert [e.value for e in app.error] == []


@pytest.mark.parametrize("step", ["part", "photos", "findings", "hand", "limits", "sign"])
def test_every_step_launches_and_names_the_cautions(inspection: Inspection, step: str) -> None:
    app = _app(inspection, step=step, who="R. Alder")
    assert app.session_state["step"] == step
    assert any("maintenance data" in c.value for c in app.caption)


def test_an_unknown_inspection_is_told_in_a_sentence(folder: Path) -> None:
    app = AppTest.from_file(str(MAIN), default_timeout=SECONDS)
    app.query_params["inspection"] = "no-such-record"
    _sound(app.run())
    assert "There is no record 'no-such-record'." in app.error[0].value


def test_an_inspection_begins_with_its_part(folder: Path) -> None:
    app = _app(who="R. Alder")
    app.text_input(key="part_number-new").set_value("HV-3105")
    app.number_input(key="hours-new").set_value(620.0)
    _sound(app.button(key="submit-part-new").click().run())
    found = session.store().search("HV-3105")
    assert len(found) == 1
    assert app.query_params["inspection"] == found[0].id
    assert session.store().load(found[0].id).part.hours == 620.0


def test_a_known_part_fills_the_fields(inspection: Inspection) -> None:
    app = _app()
    _sound(app.selectbox(key="known-new").select("HV-2210 · 0117").run())
    assert app.text_input(key="serial_number-new").value == "0117"
    assert app.number_input(key="hours-new").value == 600.0


def test_nobody_named_means_nothing_changes(inspection: Inspection) -> None:
    app = _app(inspection, step="findings")
    _send(app, inspection, [{"n": 1, "do": "confirm", "id": "crack-1"}])
    assert not _stored(inspection).photos[0].reviews
    assert not [b for b in app.button if b.key == "measure"]


def test_edits_apply_once_and_in_order(inspection: Inspection) -> None:
    app = _app(inspection, step="findings", who="R. Alder")
    ops = [
        {"n": 2, "do": "reject", "id": "crack-2", "reason": "Mould mark"},
        {"n": 1, "do": "confirm", "id": "crack-1"},
    ]
    _send(app, inspection, ops)
    _send(app, inspection, [*ops, {"n": 3, "do": "confirm", "id": "crack-2"}])
    entry = _stored(inspection).photos[0]
    assert state_of(entry, "crack-1") == state_of(entry, "crack-2") == "confirmed"
    actions = [(e.action, e.by) for e in _stored(inspection).edits[2:]]
    assert actions == [("confirm", "R. Alder"), ("reject", "R. Alder"), ("confirm", "R. Alder")]


def test_a_traced_crack_is_measured_and_confirmed(inspection: Inspection) -> None:
    app = _app(inspection, step="findings", who="R. Alder")
    _send(app, inspection, [{"n": 1, "do": "trace", "kind": "crack", "points": MISSED}])
    entry = _stored(inspection).photos[0]
    traced = next(f for f in entry.measurement["findings"] if f["id"] == "crack-t1")
    assert state_of(entry, "crack-t1") == "confirmed"
    # 120 px at 0.04 mm; the claimed uncertainty covers what the stroke's ends leave open.
    length = traced["quantities"]["length"]
    assert abs(length["value"] - 4.8) <= 3 * length["u"]


def test_a_trace_over_nothing_is_refused_and_later_edits_still_apply(
    inspection: Inspection,
) -> None:
    app = _app(inspection, step="findings", who="R. Alder")
    nothing = [[300.0, 265.0], [380.0, 265.0]]
    ops = [
        {"n": 1, "do": "trace", "kind": "crack", "points": nothing},
        {"n": 2, "do": "confirm", "id": "crack-1"},
    ]
    _send(app, inspection, ops)
    entry = _stored(inspection).photos[0]
    assert len(entry.measurement["findings"]) == 2
    assert state_of(entry, "crack-1") == "confirmed"
    key = key_of(inspection.id, entry.sha256)
    assert app.session_state[f"{key}-fault"]["n"] == 1


def test_kind_layer_retrace_and_undo(inspection: Inspection) -> None:
    app = _app(inspection, step="findings", who="R. Alder")
    ops: list[dict[str, Any]] = [
        {"n": 1, "do": "kind", "id": "crack-1", "to": "bond_gap"},
        {"n": 2, "do": "layer", "id": "crack-2", "to": 4},
        {"n": 3, "do": "retrace", "id": "crack-2", "points": OTHER, "snap": False},
        {"n": 4, "do": "undo"},
    ]
    _send(app, inspection, ops)
    findings = {f["id"]: f for f in _stored(inspection).photos[0].measurement["findings"]}
    assert findings["crack-1"]["kind"] == "bond_gap"
    assert findings["crack-2"]["layer"] == 4
    assert findings["crack-2"]["origin"] == "auto"


def test_two_clicked_points_give_the_scale(inspection: Inspection) -> None:
    app = _app(inspection, step="findings", who="R. Alder")
    op = {"n": 1, "do": "scale", "points": [[50.0, 20.0], [350.0, 20.0]], "length": 0.5}
    _send(app, inspection, [{**op, "unit": "in"}])
    entry = _stored(inspection).photos[0]
    assert entry.options["scale"]["kind"] == "two_points"
    # Half an inch over 300 px; two points on a flat edge leave nothing else to choose.
    assert entry.measurement["scale"]["mm_per_px"] == pytest.approx(12.7 / 300, rel=1e-6)
    # The photo had 0.04 mm a pixel: 12.7 / 300 / 0.04 - 1 = 5.8 %.
    fault = app.session_state[f"{key_of(inspection.id, entry.sha256)}-fault"]
    assert "change the scale by +6 %" in fault["text"]


def test_a_photo_is_removed_for_a_reason_only(inspection: Inspection) -> None:
    app = _app(inspection, step="photos", who="R. Alder")
    sha256 = inspection.photos[0].sha256
    _sound(app.button(key=f"remove-{sha256}").click().run())
    assert "reason" in app.error[0].value
    assert len(_stored(inspection).photos) == 1
    app.text_input(key=f"why-{sha256}").set_value("Wrong part").run()
    _sound(app.button(key=f"remove-{sha256}").click().run())
    assert _stored(inspection).photos == ()


def test_a_file_that_is_no_photo_is_told_and_not_kept(inspection: Inspection) -> None:
    app = _app(inspection, step="photos", who="R. Alder")
    uploader = app.file_uploader(key=f"upload-files-{inspection.id}-0")
    uploader.set_value([("notes.jpg", b"no photo at all", "image/jpeg")]).run()
    _sound(app.button(key="measure").click().run())
    assert "notes.jpg is not a photo that can be read" in app.error[0].value
    assert len(_stored(inspection).photos) == 1


def test_each_field_of_the_part_is_saved_as_it_is_left(inspection: Inspection) -> None:
    app = _app(inspection, step="part", who="R. Alder")
    _sound(app.text_input(key=f"position-{inspection.id}").set_value("Upper").run())
    assert _stored(inspection).part.position == "Upper"
    assert _stored(inspection).edits[-1].by == "R. Alder"


def test_a_hand_measurement_in_inches_is_kept_in_millimetres(inspection: Inspection) -> None:
    app = _app(inspection, step="hand", who="R. Alder")
    _sound(app.segmented_control(key="unit").set_value("in").run())
    app.number_input(key="hand-value-in").set_value(0.1)
    app.number_input(key="hand-u-in").set_value(0.002)
    app.text_input(key="hand-gauge").set_value("DG-07")
    _sound(app.button(key="hand-add").click().run())
    hand = _stored(inspection).hand[0]
    assert hand.value.to_dict()["value"] == pytest.approx(2.54, abs=1e-12)  # exact inch
    assert hand.value.to_dict()["u"] == pytest.approx(0.0508, abs=1e-12)  # exact inch


def test_a_missing_gauge_is_told(inspection: Inspection) -> None:
    app = _app(inspection, step="hand", who="R. Alder")
    app.number_input(key="hand-value-mm").set_value(1.0)
    app.number_input(key="hand-u-mm").set_value(0.05)
    _sound(app.button(key="hand-add").click().run())
    assert "gauge" in app.error[0].value
    assert _stored(inspection).hand == ()


def _choose_invented(app: AppTest, inspection: Inspection) -> AppTest:
    box = app.selectbox(key=f"limits-{inspection.id}")
    return _sound(box.select_index(0).run())


def test_invented_limits_are_marked_and_proposals_said(inspection: Inspection) -> None:
    app = _choose_invented(_app(inspection, step="limits", who="R. Alder"), inspection)
    assert any("2 proposed findings are not reviewed" in w.value for w in app.warning)
    assert any("INVENTED LIMITS" in m.value for m in app.markdown)
    assert _stored(inspection).limit_set is not None


def test_signing_is_refused_until_all_is_reviewed_then_locks(inspection: Inspection) -> None:
    app = _choose_invented(_app(inspection, step="limits", who="R. Alder"), inspection)
    _sign(app, inspection)
    assert "not reviewed" in app.error[0].value
    app = _app(inspection, step="findings", who="R. Alder")
    ops = [{"n": n, "do": "confirm", "id": f"crack-{n}"} for n in (1, 2)]
    _send(app, inspection, ops)
    _sign(app, inspection)
    signature = _stored(inspection).signature
    assert signature is not None
    assert (signature.name, signature.disposition) == ("R. Alder", "refer")
    assert not [b for b in app.button if b.key == f"sign-{inspection.id}-submit"]


def _sign(app: AppTest, inspection: Inspection) -> None:
    app.segmented_control(key="step").set_value("sign").run()
    key = inspection.id
    app.text_input(key=f"sign-authorisation-{key}").set_value("HV-A-118")
    app.radio(key=f"sign-disposition-{key}").set_value("refer")
    app.text_area(key=f"sign-reason-{key}").set_value("Depth was not probed.")
    _sound(app.button(key=f"sign-{key}-submit").click().run())


def test_a_signed_record_is_superseded_for_a_reason(inspection: Inspection) -> None:
    app = _choose_invented(_app(inspection, step="limits", who="R. Alder"), inspection)
    app = _app(inspection, step="findings", who="R. Alder")
    _send(app, inspection, [{"n": n, "do": "confirm", "id": f"crack-{n}"} for n in (1, 2)])
    _sign(app, inspection)
    app.text_input(key=f"supersede-why-{inspection.id}").set_value("Wrong hours").run()
    _sound(app.button(key=f"supersede-{inspection.id}").click().run())
    newest = session.store().history(inspection.id)[-1]
    assert newest.supersedes == inspection.id
    assert not newest.signed
    assert app.query_params["inspection"] == newest.id


def test_a_limit_set_is_saved_from_the_form(folder: Path) -> None:
    app = _app()
    _sound(app.switch_page(str(ROOT / "app_pages" / "limit_sets.py")).run())
    demo = parse_limit_set(demo_limit_set_text())
    key = f"{demo.title}-{demo.revision}"
    app.text_input(key=f"revision-{key}").set_value("INVENTED-2")
    _sound(app.button(key=f"save-{key}").click().run())
    assert [e.value for e in app.error] == []
    kept = session.store().load_limit_set(demo.title, "INVENTED-2")
    assert kept.invented
    assert json.dumps([c.to_dict() for c in kept.criteria]) == json.dumps(
        [c.to_dict() for c in demo.criteria]
    )


def test_the_store_is_the_one_of_the_data_folder(inspection: Inspection, folder: Path) -> None:
    assert Store(folder).load(inspection.id) == _stored(inspection)


def test_another_part_leads_back_to_the_start_and_the_open_one_is_offered(
    inspection: Inspection,
) -> None:
    app = _app(inspection, step="photos", who="R. Alder")
    _sound(app.button(key="close").click().run())
    assert app.title[0].value == "Inspect"
    assert "inspection" not in app.query_params
    _sound(app.button(key=f"go-on-{inspection.id}").click().run())
    assert app.title[0].value == "HV-2210 · 0117"
