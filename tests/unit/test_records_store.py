"""The store keeps what it is given, tells people apart, and guards what is signed."""

import json
import sqlite3
import threading
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from damagescore.errors import RecordError
from damagescore.inspection import content_sha256
from damagescore.inspection.record import (
    Edit,
    HandMeasurement,
    Inspection,
    Part,
    PhotoEntry,
    Review,
    Signature,
)
from damagescore.quantity import Measured, NotMeasured
from damagescore.records import Store
from damagescore.records.database import open_database
from damagescore.records.migrations import MIGRATIONS, migrate
from damagescore.records.tables import Base

AT = "2026-11-25T10:00:00+00:00"


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with Store(tmp_path) as opened:
        yield opened


def an_inspection(name: str = "rec-1", **changes: object) -> Inspection:
    part = Part(part_number="HV-2210", serial_number="0042", work_order="WO-7", hours=12.5)
    hand = (
        HandMeasurement(
            quantity="probed_depth", value=Measured(value=1.2, u=0.1, unit="mm"),
            gauge_id="G-1", by="B. Rowan", at=AT, layer=2,
        ),
        HandMeasurement(
            quantity="free_height", value=NotMeasured(reason="gauge away", unit="mm"),
            gauge_id="G-2", by="B. Rowan", at=AT,
        ),
    )  # fmt: skip
    whole = Inspection(
        id=name, created_at=AT, part=part, hand=hand, software="damagescore 0.1.0"
    )
    return replace(whole, **changes)  # type: ignore[arg-type]


def an_edit(number: int, by: str = "R. Alder") -> Edit:
    return Edit(number=number, at=AT, by=by, action="confirm", target="crack-1")


def signed(inspection: Inspection) -> Inspection:
    signature = Signature(
        name="R. Alder", authorisation="HV-INSP-7", statement="I looked at this part myself.",
        disposition="remove", reason="crumbling", at=AT, content_sha256="",
    )  # fmt: skip
    whole = replace(inspection, signature=signature)
    sealed = replace(signature, content_sha256=content_sha256(whole))
    return replace(inspection, signature=sealed)


def test_what_is_saved_comes_back_equal(store: Store) -> None:
    sha256 = store.put_photo(b"photo")
    entry = PhotoEntry(
        sha256=sha256, name="a.jpg", view="face", measurement={"findings": [], "x": [1.5]},
        reviews={"crack-1": Review(state="rejected", by="R. Alder", at=AT, reason="scratch")},
    )  # fmt: skip
    given = an_inspection(photos=(entry,), edits=(an_edit(1),))
    assert store.save(given) == 1
    assert store.load("rec-1") == given


def test_a_second_program_sees_the_save_at_once(store: Store, tmp_path: Path) -> None:
    store.save(an_inspection())
    with Store(tmp_path) as second:
        assert second.load("rec-1") == an_inspection()


def test_an_unknown_record_is_named(store: Store) -> None:
    with pytest.raises(RecordError, match="no record 'rec-9'"):
        store.load("rec-9")
    assert store.revision("rec-9") == 0


def test_each_save_raises_the_revision(store: Store) -> None:
    assert [store.save(an_inspection()), store.save(an_inspection())] == [1, 2]
    assert store.revision("rec-1") == 2


def test_two_people_are_told_and_nothing_is_overwritten(store: Store) -> None:
    first = store.save(an_inspection())
    hers = an_inspection(edits=(an_edit(1, "R. Alder"),))
    his = an_inspection(edits=(an_edit(1, "B. Rowan"),))
    store.save(hers, expected_revision=first)
    with pytest.raises(RecordError, match="someone else"):
        store.save(his, expected_revision=first)
    with pytest.raises(RecordError, match="someone else"):
        store.save(his)  # the edit list tells it without a number too
    assert store.load("rec-1") == hers


def test_writers_at_the_same_time_lose_no_revision(store: Store) -> None:
    start = store.save(an_inspection())
    outcomes: list[str] = []

    def write(name: str) -> None:
        try:
            store.save(an_inspection(edits=(an_edit(1, name),)), expected_revision=start)
            outcomes.append("saved")
        except RecordError:
            outcomes.append("told")

    threads = [threading.Thread(target=write, args=(f"P. {n}",)) for n in range(6)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sorted(outcomes) == ["saved"] + ["told"] * 5
    assert store.revision("rec-1") == start + 1


def test_a_signed_record_cannot_be_changed_but_saving_it_again_is_no_fault(
    store: Store,
) -> None:
    final = signed(an_inspection())
    store.save(an_inspection())
    assert store.save(final) == store.save(final) == 2
    with pytest.raises(RecordError, match="signed"):
        store.save(an_inspection(edits=(an_edit(1),)))
    assert store.load("rec-1") == final


def test_a_record_changed_after_signing_is_not_taken(store: Store) -> None:
    changed = replace(signed(an_inspection()), part=Part(part_number="HV-9"))
    with pytest.raises(RecordError, match="after it was signed"):
        store.save(changed)
    assert store.revision("rec-1") == 0


def test_a_signed_record_needs_its_photos_in_the_vault(store: Store) -> None:
    entry = PhotoEntry(sha256="ab" * 32, name="a.jpg", view="face")
    assert store.save(an_inspection(photos=(entry,))) == 1
    with pytest.raises(RecordError, match="missing"):
        store.save(signed(an_inspection(photos=(entry,))))
    assert not store.search(signed=True)


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE inspection SET body = '{}' WHERE id = 'rec-1'",
        "UPDATE inspection SET signed = 0 WHERE id = 'rec-1'",
        "DELETE FROM inspection WHERE id = 'rec-1'",
        "INSERT OR REPLACE INTO inspection SELECT * FROM inspection WHERE id = 'rec-1'",
        "DELETE FROM signed_chain",
        "UPDATE signed_chain SET body_sha256 = ''",
    ],
)
def test_the_file_itself_refuses_to_change_a_signed_record(
    store: Store, tmp_path: Path, statement: str
) -> None:
    store.save(signed(an_inspection()))
    with (
        sqlite3.connect(tmp_path / "records.sqlite") as raw,
        pytest.raises(sqlite3.IntegrityError, match="cannot be"),
    ):
        raw.execute(statement)
    raw.close()
    assert store.verify() == []


def test_superseding_makes_a_history_oldest_first(store: Store) -> None:
    store.save(signed(an_inspection("rec-1")))
    second = an_inspection("rec-2", supersedes="rec-1", supersede_reason="wrong serial")
    store.save(signed(second))
    store.save(an_inspection("rec-3", supersedes="rec-2", supersede_reason="new photo"))
    for name in ("rec-1", "rec-2", "rec-3"):
        assert [s.id for s in store.history(name)] == ["rec-1", "rec-2", "rec-3"]
    assert [s.superseded_by for s in store.history("rec-2")] == ["rec-2", "rec-3", None]


def test_only_a_signed_record_is_superseded_and_only_once(store: Store) -> None:
    store.save(an_inspection("rec-1"))
    with pytest.raises(RecordError, match="not signed"):
        store.save(an_inspection("rec-2", supersedes="rec-1"))
    store.save(signed(an_inspection("rec-1")))
    store.save(an_inspection("rec-2", supersedes="rec-1"))
    with pytest.raises(RecordError, match="already superseded by rec-2"):
        store.save(an_inspection("rec-3", supersedes="rec-1"))
    with pytest.raises(RecordError, match="no record 'rec-8'"):
        store.save(an_inspection("rec-4", supersedes="rec-8"))


def test_verify_tells_of_an_altered_record_a_lost_one_and_a_lost_photo(
    store: Store, tmp_path: Path
) -> None:
    sha256 = store.put_photo(b"photo")
    entry = PhotoEntry(sha256=sha256, name="a.jpg", view="face")
    for name in ("rec-1", "rec-2", "rec-3"):
        store.save(signed(an_inspection(name, photos=(entry,))))
    assert store.verify() == []
    raw = sqlite3.connect(tmp_path / "records.sqlite")
    for trigger in ("signed_is_kept", "signed_is_not_deleted", "chain_is_not_deleted"):
        raw.execute(f"DROP TRIGGER {trigger}")
    raw.execute("UPDATE inspection SET body = replace(body, '0042', '0043') WHERE id = 'rec-1'")
    raw.execute("DELETE FROM inspection WHERE id = 'rec-2'")
    raw.commit()
    assert store.verify() == [
        "Signed record rec-1 was altered after signing.",
        "Signed record rec-2 is missing.",
        "The list shows another serial_number for record rec-1 than it holds.",
        "The list shows another search_text for record rec-1 than it holds.",
    ]
    raw.execute("DELETE FROM signed_chain WHERE position = 2")
    raw.commit()
    raw.close()
    (tmp_path / "photos" / sha256[:2] / sha256[2:]).unlink()
    told = "\n".join(store.verify())
    assert "A link is missing before position 3." in told
    assert "Link 3 does not follow" in told
    assert f"Record rec-3: The photo {sha256[:12]}… is missing" in told


def test_verify_tells_of_a_list_that_shows_another_outcome(
    store: Store, tmp_path: Path
) -> None:
    store.save(signed(an_inspection(assessment={"outcome": "exceeded", "score": 140.0})))
    raw = sqlite3.connect(tmp_path / "records.sqlite")
    raw.execute("DROP TRIGGER signed_is_kept")
    raw.execute("UPDATE inspection SET outcome = 'within', score = 40")
    raw.commit()
    raw.close()
    assert store.verify() == [
        "The list shows another outcome for record rec-1 than it holds.",
        "The list shows another score for record rec-1 than it holds.",
    ]


def test_the_head_of_the_chain_changes_with_each_signed_record_only(store: Store) -> None:
    heads = [store.chain_head()]
    store.save(an_inspection("rec-1"))
    heads.append(store.chain_head())
    store.save(signed(an_inspection("rec-1")))
    heads.append(store.chain_head())
    store.save(signed(an_inspection("rec-2")))
    heads.append(store.chain_head())
    assert heads[0] == heads[1] == "0" * 64
    assert len(set(heads)) == 3


def test_search_finds_words_in_any_field_newest_first(store: Store) -> None:
    store.save(an_inspection("rec-1", created_at="2026-01-01T00:00:00+00:00"))
    store.save(an_inspection("rec-2", created_at="2026-02-01T00:00:00+00:00"))
    store.save(
        an_inspection("rec-3", part=Part(part_number="HV-1_%", serial_number="ÄB"), hand=())
    )
    assert [s.id for s in store.search()] == ["rec-3", "rec-2", "rec-1"]
    assert [s.id for s in store.search("hv-2210 WO-7")] == ["rec-2", "rec-1"]
    assert [s.id for s in store.search("b. rowan")] == ["rec-2", "rec-1"]
    assert [s.id for s in store.search("äb")] == ["rec-3"]
    assert [s.id for s in store.search(limit=1)] == ["rec-3"]


@pytest.mark.parametrize("text", ["%", "_", "1_%"])
def test_search_takes_percent_and_underscore_as_letters(store: Store, text: str) -> None:
    store.save(an_inspection("rec-1"))
    store.save(an_inspection("rec-3", part=Part(part_number="HV-1_%")))
    assert [s.id for s in store.search(text)] == ["rec-3"]


def test_search_by_outcome_and_signature(store: Store) -> None:
    store.save(an_inspection("rec-1", assessment={"outcome": "within", "score": 12.5}))
    store.save(signed(an_inspection("rec-2")))
    (found,) = store.search(outcome="within")
    assert (found.id, found.score, found.signed) == ("rec-1", 12.5, False)
    assert found.inspectors == ("B. Rowan",)
    assert [s.id for s in store.search(signed=True)] == ["rec-2"]
    assert store.search(outcome="exceeded") == []


def test_the_folder_that_cannot_be_made_and_the_file_that_is_no_database(
    tmp_path: Path,
) -> None:
    (tmp_path / "file").write_text("x")
    with pytest.raises(RecordError, match="cannot be made"):
        Store(tmp_path / "file" / "data")
    (tmp_path / "records.sqlite").write_bytes(b"not a database at all " * 100)
    with pytest.raises(RecordError, match="not a database"):
        Store(tmp_path)


def test_a_newer_store_is_refused_with_both_versions(store: Store, tmp_path: Path) -> None:
    store.close()
    raw = sqlite3.connect(tmp_path / "records.sqlite")
    raw.execute("INSERT INTO damagescore_schema VALUES (99, 'later')")
    raw.commit()
    raw.close()
    with pytest.raises(
        RecordError, match=f"version 99; this program knows up to {len(MIGRATIONS)}"
    ):
        Store(tmp_path)


def test_a_locked_file_says_so(
    store: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    store.close()
    monkeypatch.setattr("damagescore.records.database.BUSY_SECONDS", 0)
    waiting = Store(tmp_path)
    raw = sqlite3.connect(tmp_path / "records.sqlite", isolation_level=None)
    raw.execute("BEGIN EXCLUSIVE")
    with pytest.raises(RecordError, match="locked"):
        waiting.save(an_inspection())
    raw.execute("ROLLBACK")
    raw.close()
    assert waiting.save(an_inspection()) == 1
    waiting.close()


def test_a_full_disk_says_so_and_keeps_what_was_saved(store: Store, tmp_path: Path) -> None:
    store.save(an_inspection())
    url = f"sqlite:///{tmp_path / 'records.sqlite'}"
    small = Store(tmp_path, url=url)
    with small._engine.connect() as connection:
        pages = connection.exec_driver_sql("PRAGMA page_count").scalar()
    # SQLite refuses to grow beyond this, with the same words as on a full disk.
    from sqlalchemy import event  # noqa: PLC0415

    def limited(connection: sqlite3.Connection, _record: object) -> None:
        connection.execute(f"PRAGMA max_page_count = {pages}")

    event.listen(small._engine, "connect", limited)
    small._engine.dispose()
    big = an_inspection("rec-2", supersede_reason="x" * 400_000)
    with pytest.raises(RecordError, match="disk is full"):
        small.save(big)
    assert store.load("rec-1") == an_inspection()
    assert store.revision("rec-2") == 0
    small.close()


def test_an_address_that_is_no_database_is_refused(tmp_path: Path) -> None:
    with pytest.raises(RecordError, match="address is not usable"):
        Store(tmp_path, url="nothing://here")


def test_the_tables_are_those_that_the_program_reads(tmp_path: Path) -> None:
    Store(tmp_path).close()
    raw = sqlite3.connect(tmp_path / "records.sqlite")
    for table in Base.metadata.sorted_tables:
        made = {row[1] for row in raw.execute(f"PRAGMA table_info({table.name})")}
        assert made == {column.name for column in table.columns}
    assert raw.execute("PRAGMA journal_mode").fetchone() == ("wal",)
    raw.close()


def test_a_migration_that_fails_changes_nothing(tmp_path: Path) -> None:
    engine = open_database(f"sqlite:///{tmp_path / 'r.sqlite'}")

    def half(connection: object) -> None:
        connection.exec_driver_sql("CREATE TABLE extra (x)")  # type: ignore[attr-defined]
        raise RuntimeError("broken step")

    with pytest.raises(RuntimeError, match="broken"), engine.begin() as connection:
        migrate(connection, steps=(*MIGRATIONS, half))
    with engine.begin() as connection:
        names = {r[0] for r in connection.exec_driver_sql("SELECT name FROM sqlite_master")}
    assert "extra" not in names


def test_an_older_store_is_brought_forward_with_its_records(tmp_path: Path) -> None:
    engine = open_database(f"sqlite:///{tmp_path / 'records.sqlite'}")
    engine.dispose()
    store = Store(tmp_path)
    store.save(an_inspection())
    store.close()

    def further(connection: object) -> None:
        connection.exec_driver_sql("ALTER TABLE limit_set ADD note TEXT")  # type: ignore[attr-defined]

    with engine.begin() as connection:
        migrate(connection, steps=(*MIGRATIONS, further))
    with engine.begin() as connection:
        versions = connection.exec_driver_sql(
            "SELECT version FROM damagescore_schema ORDER BY version"
        ).all()
        body = connection.exec_driver_sql("SELECT body FROM inspection").scalar()
    assert [v[0] for v in versions] == list(range(1, len(MIGRATIONS) + 2))
    assert json.loads(body)["id"] == "rec-1"
