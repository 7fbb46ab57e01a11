"""Keys, seals, the audit log, and what verifying finds; on both databases."""

import json
from dataclasses import replace

import pytest
from sqlalchemy import text
from sqlalchemy.exc import DBAPIError

from damagescore.errors import RecordError
from damagescore.inspection import (
    Task,
    clash_of,
    inspection_to_dict,
    set_part,
    set_task,
    sign_inspection,
    undo,
)
from damagescore.inspection.record import Inspection, Part, PhotoEntry
from damagescore.inspection.seal import BY_KEY, BY_NAME, SigningKey, content_of, new_key
from damagescore.records import Store
from damagescore.records.keys import key_path, keys_of, make_key, unlock_key
from damagescore.report.changes import change_text
from tests.record_samples import AT, an_inspection, signed, tamper

PASSPHRASE = "alder leaf under snow"
SIGN = {
    "name": "R. Alder", "authorisation": "HV-INSP-7", "statement": "I looked at it.",
    "disposition": "remove", "at": AT,
}  # fmt: skip


def ready(name: str = "rec-1", **changes: object) -> Inspection:
    return an_inspection(name, assessment={"outcome": "exceeded", "score": 140.0}, **changes)


def sealed(store: Store, name: str = "rec-1", **changes: object) -> Inspection:
    """A record that R. Alder signed with a new key."""
    made = make_key(store, name="R. Alder", authorisation="HV-INSP-7", passphrase=PASSPHRASE)
    key = unlock_key(store, made.public_key, PASSPHRASE)
    return sign_inspection(ready(name, **changes), key=key, **SIGN)


def test_a_record_sealed_with_a_key_comes_back_and_holds(store: Store) -> None:
    record = sealed(store)
    store.save(record)
    assert store.load("rec-1") == record
    found = store.examine()
    assert (found.problems, found.n_records, found.n_sealed) == ((), 1, 1)
    assert record.signature is not None
    assert record.signature.method == BY_KEY


def test_a_record_without_a_key_says_that_it_is_signed_by_name_only(store: Store) -> None:
    record = sign_inspection(ready(), certificate=("M-77", "mechanic"), **SIGN)
    store.save(record)
    assert record.signature is not None
    assert (record.signature.method, record.signature.ed25519) == (BY_NAME, "")
    assert record.signature.certificate_kind == "mechanic"
    assert store.examine().n_sealed == 0
    (entry,) = store.audit_log(target="rec-1")
    assert (entry.action, entry.by, entry.detail) == (
        "sign",
        "R. Alder",
        "remove, by name only",
    )


def test_the_private_key_opens_with_its_passphrase_only(store: Store) -> None:
    made = make_key(store, name="R. Alder", authorisation="HV-7", passphrase=PASSPHRASE)
    path = key_path(store, made.public_key)
    assert b"BEGIN ENCRYPTED PRIVATE KEY" in path.read_bytes()  # PKCS#8, RFC 5958
    assert path.stat().st_mode & 0o077 == 0
    assert [k.public_key for k in keys_of(store, "R. Alder")] == [made.public_key]
    assert keys_of(store, "B. Rowan") == []
    with pytest.raises(RecordError, match="does not open"):
        unlock_key(store, made.public_key, "something else")
    with pytest.raises(RecordError, match="does not open"):
        unlock_key(store, made.public_key, "")
    path.unlink()
    with pytest.raises(RecordError, match="cannot be read"):
        unlock_key(store, made.public_key, PASSPHRASE)


def test_a_short_passphrase_is_refused_and_makes_no_key(store: Store) -> None:
    with pytest.raises(RecordError, match="5 characters, fewer than 12"):
        make_key(store, name="R. Alder", authorisation="HV-7", passphrase="short")
    assert keys_of(store) == []


def rewritten(store: Store, record: Inspection) -> None:
    """Write a signed record anew with a chain that fits it, as an intruder might."""
    from damagescore.records.chain import (  # noqa: PLC0415
        GENESIS,
        link_of,
        section_hashes,
        sha256_of,
    )

    body = store._bodies.write(record)
    body_sha256 = sha256_of(body)
    link = link_of(position=1, inspection_id="rec-1", body_sha256=body_sha256, previous=GENESIS)
    hashes = json.dumps(section_hashes(json.loads(body)))
    tamper(
        store,
        f"UPDATE inspection SET body = '{body}'".replace(":", r"\:"),
        f"UPDATE signed_chain SET body_sha256 = '{body_sha256}', link_sha256 = '{link}'",
        f"UPDATE signed_sections SET hashes = '{hashes}'".replace(":", r"\:"),
    )
    store.rebuild_index()


def resealed(record: Inspection, key: SigningKey, *, public_key: str) -> Inspection:
    import hashlib  # noqa: PLC0415

    assert record.signature is not None
    named = replace(record, signature=replace(record.signature, public_key=public_key))
    content = content_of(inspection_to_dict(named))
    signature = replace(
        named.signature, content_sha256=hashlib.sha256(content).hexdigest(),
        ed25519=key.sign(content),
    )  # fmt: skip
    return replace(named, signature=signature)


def test_whoever_rewrites_the_whole_chain_still_lacks_the_key(store: Store) -> None:
    record = sealed(store)
    store.save(record)
    assert record.signature is not None
    forged = replace(record, part=replace(record.part, serial_number="0099"))
    rewritten(store, forged)
    assert store.verify() == [
        "Signed record rec-1: its content does not have the hash that was signed."
    ]
    stranger = new_key()
    rewritten(store, resealed(forged, stranger, public_key=record.signature.public_key))
    assert store.verify() == [
        "Signed record rec-1: its seal was not made with the key that it names."
    ]
    rewritten(store, resealed(forged, stranger, public_key=stranger.public_key))
    (told,) = store.verify()
    assert "is sealed with the key" in told
    assert "not known here" in told


def test_a_record_signed_with_the_key_of_another_is_told(store: Store) -> None:
    made = make_key(store, name="B. Rowan", authorisation="HV-8", passphrase=PASSPHRASE)
    key = unlock_key(store, made.public_key, PASSPHRASE)
    store.save(sign_inspection(ready(), key=key, **SIGN))
    assert store.verify() == [
        "Signed record rec-1 is signed by R. Alder with the key of B. Rowan."
    ]


@pytest.mark.parametrize(
    ("before", "after", "what"),
    [
        ("0042", "0043", "part serial number"),
        ("B. Rowan", "B. Linden", "hand 1, hand 2"),
        ('"disposition":"remove"', '"disposition":"refer"', "signature disposition"),
        ('"name":"a.jpg"', '"name":"b.jpg"', "photo 1 name"),
        ('"score":140', '"score":40', "assessment"),
    ],
)
def test_what_differs_is_named(store: Store, before: str, after: str, what: str) -> None:
    photo = PhotoEntry(sha256=store.put_photo(b"photo"), name="a.jpg", view="face")
    store.save(sealed(store, photos=(photo,)))
    with store.engine.begin() as connection:
        body = connection.scalar(text("SELECT body FROM inspection"))
    changed = body.replace(before, after)
    assert changed != body
    tamper(store, f"UPDATE inspection SET body = '{changed}'".replace(":", r"\:"))
    assert store.verify()[0] == (
        f"Signed record rec-1 was altered after signing: what differs is {what}."
    )


def test_links_that_change_places_are_told(store: Store) -> None:
    for name in ("rec-1", "rec-2"):
        store.save(signed(an_inspection(name)))
    tamper(
        store,
        "UPDATE signed_chain SET position = 3 WHERE position = 1",
        "UPDATE signed_chain SET position = 1 WHERE position = 2",
        "UPDATE signed_chain SET position = 2 WHERE position = 3",
    )
    told = "\n".join(store.verify())
    assert "Link 1 does not follow" in told
    assert "Link 2 was altered" in told


def test_the_audit_log_takes_entries_and_shows_changes(store: Store) -> None:
    store.save(signed(an_inspection("rec-1")))
    again = an_inspection("rec-2", supersedes="rec-1", supersede_reason="wrong serial")
    store.save(again)
    store.note("export", by="B. Rowan", target="rec-1", detail="report.pdf")
    assert [(e.number, e.action) for e in store.audit_log()] == [
        (3, "export"), (2, "supersede"), (1, "sign"),
    ]  # fmt: skip
    for statement in ("UPDATE audit_log SET by_name = 'X'", "DELETE FROM audit_log"):
        with pytest.raises(DBAPIError, match="cannot be"), store.engine.begin() as connection:
            connection.execute(text(statement))
    assert store.verify() == []
    tamper(store, "UPDATE audit_log SET by_name = 'X' WHERE number = 2")
    assert store.verify() == ["Entry 2 of the audit log was altered (supersede rec-1)."]
    tamper(store, "DELETE FROM audit_log WHERE number = 2")
    assert store.verify() == ["An entry is missing before number 3 of the audit log."]


def test_a_clock_that_ran_back_is_noted_and_harms_nothing(store: Store) -> None:
    store.save(sign_inspection(ready("rec-1"), **SIGN))
    earlier = {**SIGN, "at": "2026-11-24T10:00:00+00:00"}
    store.save(sign_inspection(ready("rec-2"), **earlier))
    found = store.examine()
    assert found.problems == ()
    (told,) = found.notes
    assert told == (
        "The clock ran back: link 2 was signed at 2026-11-24T10:00:00+00:00, after link 1 at "
        "2026-11-25T10:00:00+00:00; their order holds."
    )


def test_what_was_done_is_kept_signed_and_can_be_undone(store: Store) -> None:
    task = Task(kind="on-condition", extent="all layers, whole edge", data="HV-MM-3 rev 2")
    record = set_task(ready(), task, by="R. Alder", at=AT)
    assert (record.task, record.edits[-1].action) == (task, "set_task")
    assert set_task(record, task) is record
    assert undo(record, by="R. Alder", at=AT).task == Task()
    said = change_text(record.edits[-1].before, record.edits[-1].after, unit="mm")
    assert "extent none → all layers, whole edge" in said
    hers = set_part(ready(), Part(part_number="HV-9"), by="B. Rowan", at=AT)
    his = set_task(hers, task, by="R. Alder", at=AT)
    assert clash_of(hers, his, seen=0, own=()) is None
    store.save(sign_inspection(record, **SIGN))
    assert store.load("rec-1").task == task
    assert store.verify() == []
