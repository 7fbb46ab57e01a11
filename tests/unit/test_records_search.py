"""Each filter finds what it should, alone and together; on both databases."""

from dataclasses import replace
from typing import Any

import pytest

from damagescore.errors import RecordError
from damagescore.inspection import (
    assess_inspection,
    confirm_all,
    reject_finding,
    sign_inspection,
)
from damagescore.inspection.record import Inspection, Part
from damagescore.records import Filters, Store
from tests.inspection_samples import BY, SHA, inspected, limits, line_finding, patch_finding
from tests.record_samples import an_inspection


def reviewed() -> Inspection:
    """A crack that was confirmed, a crumbled area that was rejected."""
    record = inspected(line_finding("crack-1", (0, 50)), patch_finding("patch-1", area=3.0))
    record = reject_finding(record, SHA, "patch-1", by=BY, reason="chalk")
    part = Part(part_number="HV-1", serial_number="7", hours=100.0, position="Upper left")
    record = replace(record, id="cracked", part=part, created_at="2026-03-31T23:59:59+00:00")
    return assess_inspection(confirm_all(record, SHA, by=BY), limits(), by=BY)


def fill(store: Store) -> None:
    store.save(reviewed())
    signed = an_inspection(
        "signed", created_at="2026-04-01T00:00:00+00:00",
        assessment={"outcome": "exceeded", "score": 140.0},
    )  # fmt: skip
    store.save(
        sign_inspection(
            signed, name="J. Elm", authorisation="HV-9", statement="Seen.",
            disposition="remove", at="2026-04-02T12:00:00+00:00",
        )
    )  # fmt: skip
    again = an_inspection("again", supersedes="signed", supersede_reason="wrong serial")
    store.save(replace(again, created_at="2026-05-01T00:00:00+00:00"))


WANTED: dict[str, tuple[dict[str, Any], list[str]]] = {
    "nothing": ({}, ["again", "signed", "cracked"]),
    "part": ({"part_number": "HV-1"}, ["cracked"]),
    "position": ({"position": "upper"}, ["cracked"]),
    "kind": ({"kind": "crack"}, ["cracked"]),
    "rejected kind": ({"kind": "crumbling"}, []),
    "layer": ({"layer": "0"}, ["cracked"]),
    "photo": ({"photo": SHA}, ["cracked"]),
    "edit": ({"action": "reject"}, ["cracked"]),
    "reason in words": ({"text": "chalk"}, ["cracked"]),
    "gauge": ({"gauge": "g-1"}, ["again", "signed"]),
    "hand": ({"hand": "free_height"}, ["again", "signed"]),
    "person": ({"person": "rowan"}, ["again", "signed"]),
    "signer": ({"signer": "elm"}, ["signed"]),
    "signer's number": ({"text": "hv-9"}, ["signed"]),
    "decision": ({"disposition": "remove"}, ["signed"]),
    "limits": ({"limit_title": "invented"}, ["cracked"]),
    "superseded": ({"superseded": True}, ["signed"]),
    "not superseded": ({"superseded": False}, ["again", "cracked"]),
    "to the last second": ({"created_to": "2026-03-31"}, ["cracked"]),
    "from the first": ({"created_from": "2026-04-01"}, ["again", "signed"]),
    "signed on": ({"signed_from": "2026-04-02", "signed_to": "2026-04-02"}, ["signed"]),
    "usage": ({"usage_min": 140, "usage_max": 140}, ["signed"]),
    "hours": ({"hours_min": 50}, ["cracked"]),
    "few hours": ({"hours_max": 50}, ["again", "signed"]),
    "no cycles": ({"cycles_min": 0}, []),
    "together": ({"gauge": "G-1", "signed": False, "text": "hv-2210"}, ["again"]),
}


def test_each_filter_finds_what_it_should(store: Store) -> None:
    fill(store)
    for name, (wanted, ids) in WANTED.items():
        found = store.find(Filters(**wanted))
        assert [s.id for s in found.records] == ids, name
        assert found.total == len(ids), name


def test_pages_follow_each_other_and_count_all(store: Store) -> None:
    for number in range(7):
        store.save(
            an_inspection(f"rec-{number}", created_at=f"2026-01-0{number + 1}T00:00:00Z")
        )
    pages = [store.find(Filters(), limit=3, offset=start) for start in (0, 3, 6, 9)]
    assert [[s.id[-1] for s in p.records] for p in pages] == [
        ["6", "5", "4"], ["3", "2", "1"], ["0"], [],
    ]  # fmt: skip
    assert [p.total for p in pages] == [7, 7, 7, 7]


def test_the_index_made_anew_is_the_same(store: Store) -> None:
    fill(store)
    before = {name: store.find(Filters(**wanted)) for name, (wanted, _) in WANTED.items()}
    assert store.rebuild_index() == 3
    assert {n: store.find(Filters(**wanted)) for n, (wanted, _) in WANTED.items()} == before


def test_a_changed_record_is_found_by_what_it_is_now(store: Store) -> None:
    record = reviewed()
    store.save(record)
    store.save(replace(record, photos=(), part=Part(part_number="HV-2")))
    assert store.find(Filters(kind="crack")).total == 0
    assert store.find(Filters(part_number="HV-1")).total == 0
    assert store.find(Filters(part_number="HV-2")).total == 1


def test_a_day_that_is_none_is_refused(store: Store) -> None:
    with pytest.raises(RecordError, match="is not a day"):
        store.find(Filters(created_from="last week"))
