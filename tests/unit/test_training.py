"""The graded library and blind practice."""

import dataclasses
import json

import numpy as np
import pytest

from damagescore.errors import TrainingError
from damagescore.training.compare import compare
from damagescore.training.library import Entry, Search, agreed_entry, newest
from damagescore.training.practice import (
    Answer,
    difficulty,
    draw_set,
    exercise_of,
    feedback_on,
    progress_of,
)
from damagescore.training.scale import DEFAULT_SCALE, GradeScale, Step
from damagescore.training.similar import most_similar
from tests.training_samples import crack, entry, patch


def _answer(of: Entry, *drawn, grade=2, call="within", at="2026-11-21T08:05:00Z") -> Answer:
    return Answer(
        trainee="L. Maas", entry_id=of.id, entry_version=of.version,
        started_at="2026-11-21T08:00:00Z", committed_at=at, grade=grade, call=call, drawn=drawn,
    )  # fmt: skip


# The scale of grades


@pytest.mark.parametrize(
    ("usage", "grade"), [(0.0, 0), (0.01, 1), (0.25, 1), (0.26, 2), (1.0, 4), (1.01, 5), (9, 5)]
)
def test_grade_by_use_of_the_limit(usage, grade) -> None:
    assert DEFAULT_SCALE.grade_of(usage) == grade


def test_scale_comes_back_as_written() -> None:
    assert (
        GradeScale.from_dict(json.loads(json.dumps(DEFAULT_SCALE.to_dict()))) == DEFAULT_SCALE
    )


@pytest.mark.parametrize(
    "edges", [(0.5, 0.2, None), (0.5, None, None), (0.2, 0.5, 1.0), (None,)]
)
def test_scale_that_does_not_rise_is_refused(edges) -> None:
    steps = tuple(Step(grade=k, label="", up_to_usage=e) for k, e in enumerate(edges))
    with pytest.raises(TrainingError):
        GradeScale(name="bad", version=1, steps=steps)


def test_grade_off_the_scale_is_named() -> None:
    with pytest.raises(TrainingError, match="no grade 7"):
        DEFAULT_SCALE.step(7)


# Entries


def test_entry_comes_back_as_written() -> None:
    one = entry("a", crack(), patch())
    back = Entry.from_dict(json.loads(json.dumps(one.to_dict())))
    assert back.to_dict() == one.to_dict()
    assert back.findings[1].polygon_px.shape == (4, 2)


@pytest.mark.parametrize("field", ["provenance", "permission"])
def test_entry_without_a_word_on_its_origin_is_refused(field) -> None:
    with pytest.raises(TrainingError, match=field.split("_")[0][:4]):
        entry("a", **{field: "  "})


def test_entry_needs_somebody_who_agreed() -> None:
    with pytest.raises(TrainingError, match="Nobody is named"):
        entry("a", agreed_by=())


def _measurement(*findings) -> dict:
    return {
        "photo": {"sha256": "ab" * 32, "width": 800, "height": 600},
        "scale": {"mm_per_px": 0.04},
        "layers": [{"polygon_px": [[0, 0], [9, 0], [9, 9]]}],
        "findings": [f.to_dict() for f in findings],
    }


DESCRIBED = {
    key: getattr(entry("a"), key)
    for key in (
        "id", "version", "photo_name", "grade", "scale_name", "scale_version", "usage", "call",
        "agreed_by", "agreed_at", "provenance", "permission",
    )
}  # fmt: skip


def test_only_confirmed_findings_are_agreed() -> None:
    photo = _measurement(crack("crack-1"), crack("crack-2"))
    made = agreed_entry(photo, {"crack-1": "confirmed", "crack-2": "rejected"}, **DESCRIBED)
    assert [f.id for f in made.findings] == ["crack-1"]
    assert made.measurement["findings"] == []
    assert "crack" not in repr(exercise_of(made))


def test_photo_with_open_findings_is_not_taken_in() -> None:
    photo = _measurement(crack("crack-1"), crack("crack-2"))
    with pytest.raises(TrainingError, match="1 findings of the photo are still open, crack-2"):
        agreed_entry(photo, {"crack-1": "confirmed"}, **DESCRIBED)


def test_a_correction_is_a_new_version() -> None:
    first = entry("a", grade=2)
    second = first.corrected(grade=3)
    assert (second.version, second.grade, first.grade) == (2, 3, 2)
    assert newest([first, second, entry("b")]) == (second, entry("b"))


# Search


@pytest.mark.parametrize(
    ("search", "ids"),
    [
        (Search(), ["a", "b", "c"]),
        (Search(kind="crack"), ["a", "b"]),
        (Search(kind="crack", layer=2), []),
        (Search(kind="crack", smallest=8.0), ["b"]),
        (Search(largest=6.5), ["a"]),
        (Search(grades=(5,)), ["c"]),
        (Search(text="RENDERED a.jpg"), ["a"]),
    ],
)
def test_search(search, ids) -> None:
    shelf = [
        entry("a", crack(), patch()),
        entry("b", crack(length_px=250)),
        entry("c", grade=5),
    ]
    assert [e.id for e in shelf if search.finds(e)] == ids


def test_similar_photos_have_similar_damage() -> None:
    one = entry("a", crack())
    near, far = entry("b", crack(length_px=160)), entry("c", patch(), patch("p2"), grade=5)
    assert most_similar(one, [far, one, near]) == (near, far)
    assert most_similar(one, [one]) == ()


# Drawn against agreed


def test_a_line_drawn_beside_the_crack_is_found() -> None:
    agreed = entry("a", crack())
    result = compare([crack("mine", start=(98.0, 204.0), length_px=165)], agreed)
    (match,) = result.matches
    assert (match.agreed_id, match.kind_right, match.layer_right) == ("crack-1", True, True)
    assert match.size_error_percent == pytest.approx(10.0)
    assert (result.missed, result.extra, result.found_share) == ((), (), 1.0)


def test_a_line_drawn_elsewhere_is_missed_and_extra() -> None:
    result = compare([crack("mine", start=(100.0, 300.0))], entry("a", crack()))
    assert (result.missed, result.extra, result.found_share) == (("crack-1",), (0,), 0.0)


def test_half_a_crack_is_found_and_less_is_not() -> None:
    agreed = entry("a", crack())
    assert compare([crack(length_px=90)], agreed).matches
    assert not compare([crack(length_px=50)], agreed).matches


def test_two_drawings_of_one_crack_count_once() -> None:
    result = compare([crack(), crack("again")], entry("a", crack()))
    assert (len(result.matches), len(result.extra)) == (1, 1)


def test_areas_are_compared_by_what_they_share() -> None:
    agreed = entry("a", patch())
    near = compare([patch(corner=(430.0, 110.0))], agreed)
    assert near.matches[0].size_error_percent == pytest.approx(0.0)
    assert not compare([patch(corner=(480.0, 180.0))], agreed).matches
    assert not compare([crack(start=(400.0, 150.0))], agreed).matches


def test_sound_photo_has_no_share_found() -> None:
    assert compare([], entry("a")).found_share is None


# Practice


def test_exercise_does_not_hold_the_answer() -> None:
    shown = exercise_of(entry("a", crack(), note="a crack in layer 0"))
    names = {f.name for f in dataclasses.fields(shown)}
    assert not names & {"findings", "grade", "usage", "call", "note", "photo_name"}
    assert shown.asks_call
    assert "crack" not in repr(shown)


def test_feedback() -> None:
    agreed = entry("a", crack(), patch(), grade=3, call="borderline")
    feedback = feedback_on(_answer(agreed, crack(), grade=1), agreed, DEFAULT_SCALE)
    assert feedback.comparison.missed == ("crumbling-1",)
    assert (feedback.grade_off, feedback.call_right, feedback.right) == (-2, False, False)


def test_right_answer() -> None:
    agreed = entry("a", crack())
    assert feedback_on(_answer(agreed, crack()), agreed, DEFAULT_SCALE).right


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"entry_version": 2}, "version 2"),
        ({"grade": None, "call": None}, "neither"),
        ({"call": "fine"}, "'fine' is no call"),
        ({"grade": 9}, "no grade 9"),
    ],
)
def test_answer_that_does_not_fit_is_refused(change, words) -> None:
    agreed = entry("a", crack())
    answer = dataclasses.replace(_answer(agreed), **change)
    with pytest.raises(TrainingError, match=words):
        feedback_on(answer, agreed, DEFAULT_SCALE)


def test_answer_comes_back_as_written() -> None:
    answer = _answer(entry("a"), crack())
    back = Answer.from_dict(json.loads(json.dumps(answer.to_dict())))
    assert back.to_dict() == answer.to_dict()


def test_small_damage_near_a_boundary_is_harder() -> None:
    plain = difficulty(entry("a", crack(length_px=400), usage=0.1), DEFAULT_SCALE)
    small = difficulty(entry("b", crack(length_px=40), usage=0.1), DEFAULT_SCALE)
    edge = difficulty(entry("c", crack(length_px=40), usage=0.99), DEFAULT_SCALE)
    assert 0 <= plain < small < edge <= 1


def test_what_trainees_get_wrong_counts_as_harder() -> None:
    one = entry("a", crack())
    before = difficulty(one, DEFAULT_SCALE)
    assert difficulty(one, DEFAULT_SCALE, right=[False] * 4) == before
    assert difficulty(one, DEFAULT_SCALE, right=[False] * 5) > before


def test_sets_take_what_was_not_seen_first_and_repeat_by_seed() -> None:
    shelf = [entry(f"e{k}") for k in range(10)]
    hard = {e.id: 0.9 for e in shelf}
    seen = [f"e{k}" for k in range(7)]
    drawn = draw_set(shelf, hard, count=5, band="hard", seed=3, seen=seen)
    assert {e.entry_id for e in drawn[:3]} == {"e7", "e8", "e9"}
    assert drawn == draw_set(shelf, hard, count=5, band="hard", seed=3, seen=seen)
    with pytest.raises(TrainingError, match="counts as easy"):
        draw_set(shelf, hard, count=5, band="easy", seed=3)


def test_progress_adds_up() -> None:
    agreed = entry("a", crack(), patch())
    answers = [
        _answer(agreed, crack(), patch(), at="2026-11-22T08:00:00Z"),
        _answer(agreed, crack(start=(100.0, 400.0)), grade=4, at="2026-11-21T08:00:00Z"),
        dataclasses.replace(_answer(agreed), trainee="somebody else"),
    ]
    scales = {(DEFAULT_SCALE.name, 1): DEFAULT_SCALE}
    progress = progress_of("L. Maas", answers, {("a", 1): agreed}, scales)
    assert progress.committed_at == ("2026-11-21T08:00:00Z", "2026-11-22T08:00:00Z")
    assert (progress.found, progress.missed, progress.extra) == (2, 2, 1)
    assert progress.grades_off == (2, 0)
    assert progress.calls_right == (True, True)
    assert np.allclose(progress.size_errors_percent, 0.0)
