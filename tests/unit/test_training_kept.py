"""The library in the store."""

import pytest

from damagescore.errors import RecordError
from damagescore.records import Store
from damagescore.records.documents import DocumentShelf
from damagescore.training.kept import Library, new_entry_id
from damagescore.training.practice import Answer
from damagescore.training.scale import DEFAULT_SCALE, GradeScale, Step
from tests.training_samples import crack, entry


@pytest.fixture
def library(tmp_path):
    with Store(tmp_path) as store:
        yield Library(DocumentShelf(store))


def _answer(of, *, version=1, grade=2, drawn=()) -> Answer:
    return Answer(
        trainee="L. Maas", entry_id=of.id, entry_version=version, drawn=drawn, grade=grade,
        started_at="2026-11-21T08:00:00Z", committed_at="2026-11-21T08:05:00Z", call="within",
    )  # fmt: skip


def test_versions_of_an_entry(library) -> None:
    first = entry(new_entry_id(), crack())
    library.keep(first)
    library.keep(first.corrected(grade=3))
    (kept,) = library.entries()
    assert (kept.version, kept.grade) == (2, 3)
    with pytest.raises(RecordError):
        library.keep(first)


def test_an_answer_is_judged_by_the_version_it_was_given_on(library) -> None:
    first = entry("a", crack(), grade=2)
    library.keep(first)
    library.commit(_answer(first, drawn=(crack(),)))
    library.keep(first.corrected(grade=5, findings=()))
    (feedback,) = library.progress("L. Maas").feedback
    assert feedback.right


def test_the_scale_in_use_and_those_of_before(library) -> None:
    assert library.scale() == DEFAULT_SCALE
    steps = (
        Step(grade=1, label="ok", up_to_usage=0.8),
        Step(grade=2, label="no", up_to_usage=None),
    )
    own = GradeScale(name="ours", version=1, steps=steps)
    library.keep_scale(own)
    assert library.scale() == own
    old = entry("a", crack())
    library.keep(old)
    library.commit(_answer(old))
    assert library.progress("L. Maas").grades_off == (0,)


def test_wrong_answers_make_a_photo_harder(library) -> None:
    one = entry("a", crack())
    library.keep(one)
    before = library.difficulties([one])["a"]
    for _ in range(5):
        library.commit(_answer(one))
    assert library.difficulties([one])["a"] > before


def test_sites_of_a_trainee_leave_out_photos_from_service(library) -> None:
    rendered, field = (
        entry("a", crack(), crack("c2", start=(100.0, 400.0))),
        entry("b", crack()),
    )
    sound = entry("c")
    for one in (rendered, field.corrected(version=1, origin="field"), sound):
        library.keep(one)
    library.commit(_answer(rendered, drawn=(crack(),)))
    library.commit(_answer(field, drawn=()))
    library.commit(_answer(sound, drawn=(crack(),)))
    sites, left_out = library.sites_of("L. Maas")
    assert left_out == 1
    assert sorted((s.size_mm or 0.0, s.found) for s in sites) == [
        (0.0, True), (6.0, False), (6.0, True),
    ]  # fmt: skip
