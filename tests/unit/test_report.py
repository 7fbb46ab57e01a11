"""The three files of a report say the same, whatever the record holds."""

import csv
import io
import json
import re
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pypdf
import pytest
from PIL import Image

from damagescore.errors import RecordError
from damagescore.inspection import content_sha256, inspection_from_dict
from damagescore.inspection.record import (
    Edit,
    HandMeasurement,
    Inspection,
    Part,
    PhotoEntry,
    Review,
    Signature,
)
from damagescore.limits import Observation, assess, demo_limit_set_text, parse_limit_set
from damagescore.quantity import Measured, NotMeasured
from damagescore.report import report_pdf, write_report
from damagescore.report.criteria import limit_text, usage_text
from damagescore.report.fonts import drawable, markup
from damagescore.report.tables import harmless
from damagescore.report.words import CAUTIONS, INVENTED, NOT_SIGNED

AT = "2026-11-25T10:00:00+00:00"
SHA256 = "c0ffee" * 10 + "abcd"
LIMITS = parse_limit_set(demo_limit_set_text(), name="demo")


def jpeg() -> bytes:
    grey = np.random.default_rng(5).integers(60, 90, (300, 400, 3), dtype=np.uint8)
    file = io.BytesIO()
    Image.fromarray(grey).save(file, format="JPEG")
    return file.getvalue()


def load(sha256: str) -> bytes:
    if sha256 != SHA256:
        raise RecordError(f"The photo {sha256[:6]} is missing.", remedy="Restore it.")
    return jpeg()


def measured(value: float, u: float, unit: str = "mm") -> dict[str, Any]:
    return {"value": value, "u": u, "unit": unit}


def a_finding(name: str, kind: str, quantities: dict[str, Any], **geometry: Any) -> dict:
    return {
        "id": name, "kind": kind, "layer": 2, "strength": 0.8, "lines_px": [],
        "polygon_px": None, "origin": "auto", "quantities": quantities, **geometry,
    }  # fmt: skip


def a_measurement(*findings: dict, **changes: Any) -> dict[str, Any]:
    scale = {
        "method": "two_points", "mm_per_px": 0.05, "u_mm_per_px": 0.0001, "tilt_deg": 7.25,
        "u_relative": 0.002, "disagreement": None, "surface": {"radius_mm": None},
        "marks": [
            {"kind": "apriltag_36h11", "id": 3, "size_mm": 10.0, "corners_px": [],
             "mm_per_px": 0.05, "tilt_deg": None}
        ],
        "budget": [{"source": "stand-off", "u": 0.0016}],
    }  # fmt: skip
    check = {
        "name": "glare", "outcome": "warn", "value": 3.0, "unit": "%",
        "message": "3 % of the rubber is blown out.",
    }  # fmt: skip
    return {
        "schema": "damagescore/measurement/1", "version": "0.1.0", "view": "face",
        "photo": {"path": "edge.jpg", "sha256": SHA256, "width": 400, "height": 300},
        "scale": scale, "quality": {"usable": True, "checks": [check]},
        "layers": [], "edge": None, "findings": list(findings),
        "totals": {
            "crack_length": measured(12.5, 0.2), "bond_gap_length": measured(0.0, 0.0),
            "bulge_peak": {"value": None, "u": None, "unit": "mm", "reason": "face view"},
        },
        **changes,
    }  # fmt: skip


CRACK = a_finding(
    "crack-1", "crack", {"length": measured(12.5, 0.2), "width_max": measured(0.25, 0.05)},
    lines_px=[[[50, 100], [300, 110]]],
)  # fmt: skip
PATCH = a_finding(
    "crumbling-7", "crumbling",
    {
        "area": measured(30.0, 1.5, "mm2"),
        "share_of_layer": {"value": None, "u": None, "unit": "%", "reason": "layer cut off"},
    },
    polygon_px=[[100, 150], [200, 150], [200, 200]], origin="drawn",
)  # fmt: skip


def a_record(**changes: Any) -> Inspection:
    entry = PhotoEntry(
        sha256=SHA256, name="edge-north.jpg", view="face",
        measurement=a_measurement(CRACK, PATCH),
        reviews={
            "crack-1": Review(state="rejected", by="R. Alder", at=AT, reason="a moulding line")
        },
    )  # fmt: skip
    hand = HandMeasurement(
        quantity="crack_depth", value=Measured(value=1.5, u=0.1, unit="mm"), gauge_id="G-17",
        by="B. Rowan", at=AT, layer=2, note="three readings",
    )  # fmt: skip
    seen = [
        Observation(
            quantity="crack_length", value=Measured(value=12.5, u=0.2, unit="mm"),
            item="crack-1, photo 1", layer=2, finding=True, photo=1,
        )
    ]  # fmt: skip
    record = Inspection(
        id="rec-1", created_at=AT,
        part=Part(part_number="HV-2210", serial_number="0042", work_order="WO-7", hours=812.5),
        photos=(entry,), hand=(hand,),
        edits=(
            Edit(number=1, at=AT, by="R. Alder", action="reject", target="crack-1",
                 reason="seen under the loupe"),
        ),
        limit_set=LIMITS.to_dict(), assessment=assess(LIMITS, seen).to_dict(),
        software="damagescore 0.1.0",
    )  # fmt: skip
    return replace(record, **changes)


def with_measurement(measurement: dict[str, Any], **changes: Any) -> Inspection:
    record = a_record(**changes)
    return replace(record, photos=(replace(record.photos[0], measurement=measurement),))


def signed(inspection: Inspection) -> Inspection:
    signature = Signature(
        name="R. Alder", authorisation="HV-INSP-7", statement="I looked at this part myself.",
        disposition="remove", reason="crumbling", at=AT, content_sha256="",
    )  # fmt: skip
    whole = replace(inspection, signature=signature)
    sealed = replace(signature, content_sha256=content_sha256(whole))
    return replace(inspection, signature=sealed)


def pages_of(record: Inspection, **options: Any) -> list[str]:
    reader = pypdf.PdfReader(io.BytesIO(report_pdf(record, load, **options)))
    return [squeezed(page.extract_text()) for page in reader.pages]


def rows_of(path: Path) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(path.read_text(encoding="utf-8"))))


def squeezed(text: str) -> str:
    """Text without white space: where a line breaks says nothing."""
    return re.sub(r"\s+", "", text)


def assert_says(text: str, *expected: object) -> None:
    for words in expected:
        assert squeezed(str(words)) in text, words


def test_the_pdf_says_all_that_the_record_holds() -> None:
    record = a_record()
    text = "".join(pages_of(record))
    assert_says(text, "Inspection record", "rec-1", "HV-2210", "0042", "WO-7", "812.5")
    assert_says(text, "crack-1", "crumbling-7 (drawn)", "12.50 ± 0.39 mm", "30.0 ± 2.9 mm²")
    assert_says(text, "share of the layer not measured: layer cut off")
    assert_says(text, "rejected", "a moulding line", "seen under the loupe", "R. Alder")
    assert_says(text, "1.50 ± 0.20 mm", "G-17", "B. Rowan", "three readings")
    assert_says(
        text, LIMITS.source_document, LIMITS.revision, *(c.text for c in LIMITS.criteria)
    )
    assert_says(
        text, "two points given by hand", "0.05 mm per pixel", "7.2°", "stand-off 0.16 %"
    )
    assert_says(text, "k = 1.96", "3 % of the rubber is blown out", "0: looked and found none")
    assert_says(text, SHA256, content_sha256(record), "damagescore 0.1.0", *CAUTIONS)
    assert_says(text, "End of record")


def test_every_page_bears_number_record_hash_and_the_invented_mark() -> None:
    record = a_record()
    pages = pages_of(record)
    assert len(pages) > 1
    for number, page in enumerate(pages, start=1):
        assert_says(page, f"Page {number} of {len(pages)}", "Record rec-1", INVENTED)
        assert_says(page, content_sha256(record), NOT_SIGNED, "Part HV-2210, serial 0042")


def test_real_limits_bear_no_invented_mark() -> None:
    real = replace(LIMITS, invented=False).to_dict()
    record = a_record(limit_set=real, assessment=None)
    assert squeezed(INVENTED) not in "".join(pages_of(record))


@pytest.mark.parametrize(
    ("length_mm", "banner"),
    [(1.0, "NOT FULLY ASSESSED"), (40.0, "LIMIT EXCEEDED")],
)
def test_the_outcome_stands_in_words_on_the_first_page(length_mm: float, banner: str) -> None:
    value = Measured(value=length_mm, u=0.2, unit="mm")
    seen = [Observation(quantity="crack_length", value=value, item="crack-1", photo=1)]
    record = a_record(assessment=assess(LIMITS, seen).to_dict())
    assert_says(pages_of(record)[0], banner)


@pytest.mark.parametrize(
    ("length_mm", "banner", "score"),
    [(10.0, "WITHIN LIMITS", "score 58"), (17.2, "BORDERLINE", "score 99")],
)
def test_one_criterion_alone(length_mm: float, banner: str, score: str) -> None:
    limits = replace(LIMITS, criteria=LIMITS.criteria[:1])
    seen = [
        Observation(
            quantity="crack_length", value=Measured(value=length_mm, u=0.2, unit="mm"),
            item="crack-1", photo=1,
        )
    ]  # fmt: skip
    record = a_record(limit_set=limits.to_dict(), assessment=assess(limits, seen).to_dict())
    # Usage = value / 17.3 mm, the first limit of the demonstration set.
    assert_says(
        pages_of(record)[0], banner, score, "17.3 mm", f"{100 * length_mm / 17.3:.1f} %"
    )


def test_budgets_are_told_line_by_line_with_the_scale_split() -> None:
    lines = [
        {"source": "scale", "u": 0.05}, {"source": "tip position", "u": 0.12},
        {"source": "sampling", "u": 0.0004},
    ]  # fmt: skip
    length = {**measured(12.5, 0.13), "budget": lines}
    gap = a_finding("bond-gap-4", "bond_gap", {"length": length}, lines_px=[[[5, 9], [90, 9]]])
    measurement = a_measurement(gap)
    measurement["scale"]["budget"] = [
        {"source": "stand-off", "u": 0.0016}, {"source": "corner noise", "u": 0.0012},
    ]  # fmt: skip
    text = "".join(pages_of(with_measurement(measurement)))
    assert_says(
        text, "Uncertainty budgets", "bond-gap-4, photo 1", "0.13 mm",
        # 3-4-5 again: 0.05 splits into 0.04 and 0.03
        "tip position 0.12; scale: stand-off 0.04; scale: corner noise 0.03; "
        "smaller ones 0.0004",
    )  # fmt: skip
    assert squeezed("Uncertainty budgets") not in "".join(pages_of(a_record()))


def test_a_shared_gap_is_told_once_and_named_at_each_criterion() -> None:
    limits = replace(LIMITS, criteria=LIMITS.criteria[:2])
    missing = NotMeasured(reason="too blurred to judge", unit="mm")
    seen = [
        Observation(
            quantity="crack_length", value=Measured(value=1.0, u=0.1, unit="mm"),
            item="crack-1, photo 1", finding=True, photo=1,
        ),
        Observation(quantity="crack_length", value=missing, item="photo 2", photo=2),
    ]  # fmt: skip
    record = a_record(limit_set=limits.to_dict(), assessment=assess(limits, seen).to_dict())
    page = pages_of(record)[0]
    assert_says(page, "NOT FULLY ASSESSED", "Gap 1: photo 2: too blurred to judge")
    assert page.count(squeezed("Not fully measured not complete, see gap 1")) == 2
    assert page.count(squeezed("too blurred to judge")) == 1


def test_a_limit_of_zero_and_any_damage_has_no_finite_score() -> None:
    criterion = replace(LIMITS.criteria[0], limit=0.0)
    limits = replace(LIMITS, criteria=(criterion,))
    value = Measured(value=2.0, u=0.1, unit="mm")
    seen = [Observation(quantity="crack_length", value=value, item="crack-1", photo=1)]
    record = a_record(limit_set=limits.to_dict(), assessment=assess(limits, seen).to_dict())
    assert_says(pages_of(record)[0], "LIMIT EXCEEDED", "score ∞", "no damage is allowed")


def test_a_draft_has_empty_lines_and_a_signed_record_has_the_signature() -> None:
    draft = "".join(pages_of(a_record()))
    assert_says(draft, "Inspector's decision: NOT SIGNED", "Nobody has decided")
    record = signed(a_record())
    text = "".join(pages_of(record))
    assert squeezed(NOT_SIGNED) not in text
    assert_says(text, "HV-INSP-7", "I looked at this part myself.", "remove", "crumbling")
    assert_says(text, "2026-11-25 10:00:00 UTC", record.signature.content_sha256)


def test_looked_and_found_none_is_not_the_same_as_not_measured() -> None:
    none = "".join(pages_of(with_measurement(a_measurement())))
    assert_says(none, "None: the program looked and found none")
    refused = a_measurement(
        scale=None,
        quality={
            "usable": False,
            "checks": [
                {"name": "scale", "outcome": "refuse", "value": None, "unit": "",
                 "message": "No mark was found."}
            ],
        },
        totals={"crack_length": {"value": None, "u": None, "unit": "mm", "reason": "no scale"}},
    )  # fmt: skip
    text = "".join(pages_of(with_measurement(refused)))
    assert squeezed("found none") not in text
    assert_says(text, "Not measured: no photo could be judged", "REFUSED", "No mark was found.")
    assert_says(text, "not measured: no scale", "the scale of this photo is not known")


def test_a_record_without_anything_still_makes_a_report() -> None:
    bare = Inspection(id="rec-0", created_at="")
    text = "".join(pages_of(bare))
    assert_says(text, "NOT ASSESSED", "no score", "There is no photo in this record")


def test_a_photo_that_is_lost_is_named_and_the_rest_is_there() -> None:
    record = a_record()
    lost = replace(record.photos[0], sha256="dead" * 16)
    text = "".join(pages_of(replace(record, photos=(lost,))))
    assert_says(text, "The photo cannot be shown. The photo deaddd is missing."[:40])
    assert_says(text, "crack-1", "End of record")


def test_inches_in_the_pdf_only(tmp_path: Path) -> None:
    text = "".join(pages_of(a_record(), unit="in"))
    # 12.5 mm / 25.4 = 0.4921 in; 1.96 x 0.2 mm / 25.4 = 0.0154 in.
    assert_says(text, "0.492 ± 0.015 in", "0.1 in", "17.3 mm (0.6811 in)")
    inch = write_report(a_record(), load, tmp_path / "in", unit="in")
    metric = write_report(a_record(), load, tmp_path / "mm")
    assert inch.csv.read_bytes() == metric.csv.read_bytes()
    assert inch.json.read_bytes() == metric.json.read_bytes()


def test_the_same_record_gives_the_same_bytes() -> None:
    assert report_pdf(a_record(), load) == report_pdf(a_record(), load)


HOSTILE = (
    "<b>bold</b> <font size=99>&amp; </para> ../../etc =cmd() " + "W" * 250 + " שלום 漢字 😀"
    " \u202e\x07 {{x}} %s"
)


def test_hostile_words_are_shown_and_never_obeyed() -> None:
    part = Part(part_number=HOSTILE, serial_number=HOSTILE, description=HOSTILE * 5)
    finding = {**CRACK, "id": HOSTILE}
    entry = PhotoEntry(
        sha256=SHA256, name=HOSTILE, view="face", measurement=a_measurement(finding),
        reviews={HOSTILE: Review(state="rejected", by=HOSTILE, at=HOSTILE, reason=HOSTILE * 9)},
    )  # fmt: skip
    edit = Edit(number=1, at="", by=HOSTILE, action=HOSTILE, target=HOSTILE, reason=HOSTILE * 9)
    record = a_record(part=part, photos=(entry,), edits=(edit,), id="r" * 200)
    text = "".join(pages_of(record))
    assert_says(text, "<b>bold</b>", "<font size=99>&amp; </para>", "W" * 20, "{{x}} %s")


def test_two_hundred_findings_are_all_in_the_table() -> None:
    many = [
        {**CRACK, "id": f"crack-{n}", "lines_px": [[[n, n], [n + 9, n]]]} for n in range(200)
    ]
    text = "".join(pages_of(with_measurement(a_measurement(*many))))
    for n in range(200):
        assert f"crack-{n}crack" in text  # the id and, in the next column, the kind


def test_csv_and_json_hold_the_same_values(tmp_path: Path) -> None:
    files = write_report(a_record(), load, tmp_path)
    record = json.loads(files.json.read_text(encoding="utf-8"))
    rows = rows_of(files.csv)
    found = {(r["id"], r["quantity"]): r for r in rows if r["row"] == "finding"}
    (photo,) = record["inspection"]["photos"]
    count = 0
    for finding in photo["measurement"]["findings"]:
        for name, quantity in finding["quantities"].items():
            row = found[finding["id"], name]
            count += 1
            if quantity["value"] is None:
                assert row["value"] == ""
                assert row["not_measured_because"] == quantity["reason"]
            else:
                assert float(row["value"]) == quantity["value"]
                assert float(row["u_k1"]) == quantity["u"]
    assert count == len(found) == 4
    assert found["crack-1", "length"]["state"] == "rejected"
    assert found["crack-1", "length"]["reason"] == "a moulding line"
    totals = {r["id"]: r["value"] for r in rows if r["row"] == "total"}
    assert totals == {"crack_length": "12.5", "bond_gap_length": "0.0", "bulge_peak": ""}
    (hand,) = [r for r in rows if r["row"] == "hand"]
    assert (hand["value"], hand["gauge_id"], hand["layer"]) == ("1.5", "G-17", "2")


def test_the_json_gives_the_record_back(tmp_path: Path) -> None:
    record = signed(a_record())
    plain = json.loads(write_report(record, load, tmp_path).json.read_text(encoding="utf-8"))
    assert plain["schema"] == "damagescore/record/1"
    assert plain["cautions"] == list(CAUTIONS)
    assert inspection_from_dict(plain["inspection"]) == record
    assert plain["content_sha256"] == content_sha256(record)


def test_text_cells_are_not_run_and_numbers_stay_numbers(tmp_path: Path) -> None:
    # Common practice against formulas in CSV: a leading apostrophe.
    for cell in ("=1+1", "+1", "-1", "@x", "\t=1", "\r=1", " =1"):
        assert harmless(cell) == f"'{cell}"
    assert [harmless(x) for x in (-1.5, 3, None, "a=1", "")] == [-1.5, 3, None, "a=1", ""]
    bulge = a_finding("=SUM(A1)", "bulge", {"peak": measured(-0.25, 0.1)})
    record = with_measurement(a_measurement(bulge))
    rows = rows_of(write_report(record, load, tmp_path).csv)
    assert rows[0]["id"] == "'=SUM(A1)"
    assert float(rows[0]["value"]) == -0.25


def test_a_folder_that_cannot_be_written_says_so(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("x")
    with pytest.raises(RecordError, match="cannot be written"):
        write_report(a_record(), load, tmp_path / "file")


def test_what_the_fonts_lack_becomes_a_box() -> None:
    assert drawable("a漢\u202e\x00b") == "a□□□b"
    assert drawable("ab\ncd") == "ab cd"
    assert drawable("x" * 50, most=10) == "x" * 9 + "…"
    assert markup("<b>&") == "&lt;b&gt;&amp;"


def test_right_to_left_runs_are_turned_for_a_left_to_right_page() -> None:
    assert drawable("ab שלום cd") == "ab םולש cd"


@pytest.mark.parametrize(
    ("direction", "inclusive", "words"),
    [
        ("max", False, "not above 17.3 mm"),
        ("max", True, "below 17.3 mm"),
        ("min", False, "not below 17.3 mm"),
        ("min", True, "above 17.3 mm"),
    ],
)
def test_the_limit_says_on_which_side_the_limit_itself_is(
    direction: str, inclusive: bool, words: str
) -> None:
    (result, *_) = assess(LIMITS, []).results
    turned = replace(result, direction=direction, inclusive=inclusive)
    assert limit_text(turned, "mm").replace("\xa0", " ") == words
    assert limit_text(turned, "in").replace("\xa0", " ") == f"{words} (0.6811 in)"
    assert usage_text(turned) == "none: no value"


def test_no_value_is_never_shown_as_zero() -> None:
    record = a_record(
        hand=(
            HandMeasurement(
                quantity="crack_depth", value=NotMeasured(reason="probe broken", unit="mm"),
                gauge_id="", by="B. Rowan", at=AT,
            ),
        )
    )  # fmt: skip
    assert_says("".join(pages_of(record)), "not measured: probe broken", "whole part")
