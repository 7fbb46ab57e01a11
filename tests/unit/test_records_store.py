"""The store keeps what it is given, tells people apart, and guards what is signed.

Each test runs on SQLite and on PostgreSQL.
"""

import threading
from dataclasses import replace

import pytest
from sqlalchemy import text
from sqlalchemy.exc import DBAPIError

from damagescore.errors import RecordError
from damagescore.inspection.record import Part, PhotoEntry, Review
from damagescore.records import Store
from tests.inspection_samples import limits
from tests.record_samples import AT, an_edit, an_inspection, signed, tamper


def test_what_is_saved_comes_back_equal(store: Store) -> None:
    sha256 = store.put_photo(b"photo")
    entry = PhotoEntry(
        sha256=sha256, name="a.jpg", view="face", measurement={"findings": [], "x": [1.5]},
        reviews={"crack-1": Review(state="rejected", by="R. Alder", at=AT, reason="scratch")},
    )  # fmt: skip
    given = an_inspection(photos=(entry,), edits=(an_edit(1),))
    assert store.save(given) == 1
    assert store.load("rec-1") == given


def test_a_second_program_sees_the_save_at_once(store: Store) -> None:
    store.save(an_inspection())
    with Store(store.folder, url=store.url) as second:
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


@pytest.mark.parametrize("known", [True, False])
def test_the_chain_vouches_for_the_text_that_was_signed_not_for_the_draft(
    store: Store, known: bool
) -> None:
    draft = an_inspection(edits=(an_edit(1),))
    revision = store.save(draft)
    store.save(signed(draft), expected_revision=revision if known else None)
    assert store.verify() == []


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


REFUSED = {
    "both": (
        "UPDATE inspection SET body = '{}' WHERE id = 'rec-1'",
        "UPDATE inspection SET signed = (1 = 0) WHERE id = 'rec-1'",
        "DELETE FROM inspection WHERE id = 'rec-1'",
        "DELETE FROM signed_chain",
        "UPDATE signed_chain SET body_sha256 = ''",
        "UPDATE limit_set SET body = ''",
        "DELETE FROM limit_set",
    ),
    "sqlite": (
        "INSERT OR REPLACE INTO inspection SELECT * FROM inspection",
        "INSERT OR REPLACE INTO signed_chain SELECT * FROM signed_chain",
        "INSERT OR REPLACE INTO limit_set SELECT * FROM limit_set",
    ),
    "postgresql": ("TRUNCATE inspection", "TRUNCATE signed_chain", "TRUNCATE limit_set"),
}


def test_the_database_itself_refuses_to_change_what_is_kept(store: Store) -> None:
    store.save(signed(an_inspection()))
    store.save_limit_set(limits())
    for statement in (*REFUSED["both"], *REFUSED[store.engine.dialect.name]):
        with (
            pytest.raises(DBAPIError, match="cannot be"),
            store.engine.begin() as connection,
        ):
            connection.execute(text(statement))
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


def test_verify_tells_of_an_altered_record_a_lost_one_and_a_lost_photo(store: Store) -> None:
    sha256 = store.put_photo(b"photo")
    entry = PhotoEntry(sha256=sha256, name="a.jpg", view="face")
    for name in ("rec-1", "rec-2", "rec-3"):
        store.save(signed(an_inspection(name, photos=(entry,))))
    assert store.verify() == []
    tamper(
        store,
        "UPDATE inspection SET body = replace(body, '0042', '0043') WHERE id = 'rec-1'",
        "DELETE FROM inspection WHERE id = 'rec-2'",
    )
    assert store.verify() == [
        "Signed record rec-1 was altered after signing: what differs is part serial number.",
        "The list shows another serial_number for record rec-1 than it holds.",
        "The list shows another search_text for record rec-1 than it holds.",
        "Signed record rec-2 is missing.",
    ]
    tamper(store, "DELETE FROM signed_chain WHERE position = 2")
    (store.folder / "photos" / sha256[:2] / sha256[2:]).unlink()
    told = "\n".join(store.verify())
    assert "A link is missing before position 3." in told
    assert "Link 3 does not follow" in told
    assert f"Record rec-3, photo 1 (a.jpg): The photo {sha256[:12]}… is missing" in told


def test_verify_tells_of_a_list_that_shows_another_outcome(store: Store) -> None:
    store.save(signed(an_inspection(assessment={"outcome": "exceeded", "score": 140.0})))
    tamper(store, "UPDATE record_index SET outcome = 'within', score = 40")
    assert store.verify() == [
        "The list shows another outcome for record rec-1 than it holds.",
        "The list shows another score for record rec-1 than it holds.",
    ]
    assert store.rebuild_index() == 1
    assert store.verify() == []


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
