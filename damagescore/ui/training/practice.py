"""Blind practice: draw and judge, commit, then see what was agreed."""

import time
from collections.abc import Mapping
from typing import Any

import streamlit as st

from damagescore.damage.record import Finding
from damagescore.errors import DamageScoreError, UsageError
from damagescore.inspection.checks import now_utc
from damagescore.inspection.record import Inspection, PhotoEntry, Review
from damagescore.training.kept import Library
from damagescore.training.library import CALLS, Entry
from damagescore.training.practice import (
    BANDS,
    Answer,
    Exercise,
    draw_set,
    exercise_of,
    feedback_on,
)
from damagescore.training.scale import GradeScale
from damagescore.ui.photo_edits import edited
from damagescore.ui.session import unit
from damagescore.ui.thumbnails import LARGE_PX, thumbnail
from damagescore.ui.workspace import Op, feed_of, key_of, mount, take_ops

WORDS = {"easy": "Easy", "medium": "Medium", "hard": "Hard", None: "All"}
DRAWING = (
    "trace", "retrace", "area", "join", "cut", "shape", "drop", "kind", "layer", "undo", "redo",
    "reject",
)  # fmt: skip
"""Edits that draw; the scale and the layers of a graded photo stay as they are."""


def practice_tab(kept: Library, who: str) -> None:
    """Draw a set, an exercise of it, or the feedback on the last answer."""
    pictures = {step.picture_sha256 for step in kept.scale().steps}
    entries = tuple(e for e in kept.entries() if e.photo_sha256 not in pictures)
    if not entries:
        st.info(
            "The library is empty. A trainer takes reviewed photos into it under *Graded "
            "library*; then you can practise here without seeing the answers."
        )
        return
    if not who:
        st.info("Write your name into the field in the sidebar: answers are kept under it.")
        return
    queue: list[str] = st.session_state.get("practice-queue", [])
    by_id = {e.id: e for e in entries}
    queue = [name for name in queue if name in by_id]
    if not queue:
        _choose(kept, entries, who)
        return
    _exercise(kept, by_id[queue[0]], who, left=len(queue))


def _choose(kept: Library, entries: tuple[Entry, ...], who: str) -> None:
    st.write(
        "You see photos without any finding. Draw what you see, give a grade, commit; only "
        "then the agreed answer is shown."
    )
    band = st.segmented_control(
        "Difficulty", [None, *BANDS], format_func=WORDS.__getitem__, default=None,
        key="practice-band",
    )  # fmt: skip
    count = st.number_input("Photos", min_value=1, max_value=50, value=5, key="practice-count")
    if st.button("Begin", type="primary", key="practice-begin"):
        seen = [a.entry_id for a in kept.answers() if a.trainee == who]
        drawn = draw_set(
            entries, kept.difficulties(entries), count=int(count), band=band,
            seed=time.time_ns() % 2**32, seen=seen,
        )  # fmt: skip
        st.session_state["practice-queue"] = [e.entry_id for e in drawn]
        st.session_state.pop("practice-draft", None)
        st.rerun()


def _exercise(kept: Library, entry: Entry, who: str, *, left: int) -> None:
    given: Answer | None = st.session_state.get("practice-answer")
    st.caption(f"{left} photo{'s' if left > 1 else ''} to go")
    if given is not None and given.entry_id == entry.id:
        _feedback(kept, entry, given)
        return
    exercise = exercise_of(entry)
    draft = _draft(exercise)
    if exercise.measurement:
        _drawing(draft.id, exercise.photo_sha256)
    else:
        st.image(thumbnail(exercise.photo_sha256, side_px=LARGE_PX), width="stretch")
    _judge(kept, exercise, who)


def _draft(exercise: Exercise) -> Inspection:
    """What was drawn so far; it never reaches the records."""
    draft: Inspection | None = st.session_state.get("practice-draft")
    if draft is None or draft.photos[0].sha256 != exercise.photo_sha256:
        photo = PhotoEntry(
            sha256=exercise.photo_sha256, name="photo", measurement=exercise.measurement,
            view="profile" if exercise.measurement.get("view") == "profile" else "face",
        )  # fmt: skip
        draft = Inspection(
            id=f"practice-{time.time_ns():x}", created_at=now_utc(), photos=(photo,)
        )
        st.session_state["practice-draft"] = draft
    return draft


@st.fragment
def _drawing(draft_id: str, sha256: str) -> None:
    key = key_of(draft_id, sha256)
    take_ops(key, lambda op: _draw(sha256, op))
    draft: Inspection = st.session_state["practice-draft"]
    mount(key, _feed(draft, locked=False))


def _feed(draft: Inspection, *, locked: bool) -> dict[str, Any]:
    feed = feed_of(draft, draft.photos[0], unit=unit(), locked=locked)
    return feed | {"news": None, "nothing": "Draw what you see. Nothing is marked on purpose."}


def _draw(sha256: str, op: Op) -> DamageScoreError | None:
    if op["do"] not in DRAWING:
        return UsageError(
            "Scale, layers and region of a graded photo are given.",
            remedy="Draw with the tools for cracks and areas.",
        )
    try:
        draft: Inspection = st.session_state["practice-draft"]
        st.session_state["practice-draft"] = edited(draft, sha256, op)
    except DamageScoreError as fault:
        return fault
    return None


def _drawn(draft: Inspection) -> tuple[Finding, ...]:
    photo = draft.photos[0]
    return tuple(
        Finding.from_dict(f)
        for f in photo.measurement.get("findings", ())
        if _state(photo.reviews, f["id"]) != "rejected"
    )


def _state(reviews: Mapping[str, Review], finding_id: str) -> str:
    review = reviews.get(finding_id)
    return review.state if review else "proposed"


def _judge(kept: Library, exercise: Exercise, who: str) -> None:
    scale = kept.scale()
    started = st.session_state.setdefault(f"started-{exercise.entry_id}", now_utc())
    grade = st.segmented_control(
        "Grade", list(scale.grades), key=f"grade-{exercise.entry_id}",
        format_func=lambda g: f"{g}: {scale.step(g).label}",
    )  # fmt: skip
    call = None
    if exercise.asks_call:
        call = st.segmented_control(
            "Against the limits", list(CALLS), key=f"call-{exercise.entry_id}",
            format_func=str.capitalize,
        )  # fmt: skip
    if st.button("Commit the answer", type="primary", key="practice-commit"):
        if grade is None:
            st.error("No grade was given. Choose one, then commit.")
            return
        answer = Answer(
            trainee=who, entry_id=exercise.entry_id, entry_version=exercise.entry_version,
            started_at=started, committed_at=now_utc(), grade=grade, call=call,
            drawn=_drawn(_draft(exercise)),
        )  # fmt: skip
        kept.commit(answer)
        st.session_state["practice-answer"] = answer
        st.rerun()


def _feedback(kept: Library, entry: Entry, given: Answer) -> None:
    scale = kept.scale()
    judged = feedback_on(given, entry, scale)
    comparison = judged.comparison
    good = judged.right
    (st.success if good else st.warning)(
        "All right: nothing missed, nothing extra, grade and call as agreed."
        if good
        else f"{len(comparison.matches)} found, {len(comparison.missed)} missed, "
        f"{len(comparison.extra)} drawn where nothing was agreed."
    )
    st.write(_grade_words(given, entry, scale, off=judged.grade_off or 0))
    if entry.call is not None:
        yours = given.call or "not given"
        st.write(f"Against the limits: agreed **{entry.call}**, yours {yours}.")
    rows = [
        {
            "Agreed": m.agreed_id, "Kind": "right" if m.kind_right else "other kind",
            "Layer": "right" if m.layer_right else "other layer",
            "Your size": "–" if m.size_error_percent is None
            else f"{m.size_error_percent:+.1f} %",
        }
        for m in comparison.matches
    ] + [{"Agreed": name, "Kind": "missed", "Layer": "", "Your size": ""}
         for name in comparison.missed]  # fmt: skip
    if rows:
        st.dataframe(rows, hide_index=True, width="stretch", height="content")
    if entry.measurement:
        _both(entry, given)
    if st.button("Next", type="primary", key="practice-next"):
        st.session_state["practice-queue"] = st.session_state["practice-queue"][1:]
        for name in ("practice-answer", "practice-draft", f"started-{entry.id}"):
            st.session_state.pop(name, None)
        st.rerun()


def _grade_words(given: Answer, entry: Entry, scale: GradeScale, *, off: int) -> str:
    agreed = f"Agreed grade **{entry.grade}** ({scale.step(entry.grade).label})"
    if off == 0:
        return f"{agreed}, and so is yours."
    return f"{agreed}, yours {given.grade}: too {'strict' if off > 0 else 'mild'}."


def _both(entry: Entry, given: Answer) -> None:
    """Show what was agreed, or what the trainee drew, on the photo."""
    shown = st.segmented_control(
        "Show", ["Agreed", "Yours"], default="Agreed", required=True, key="practice-shown"
    )
    findings = entry.findings if shown == "Agreed" else given.drawn
    measurement = {**entry.measurement, "findings": [f.to_dict() for f in findings]}
    by, at = " and ".join(entry.agreed_by), entry.agreed_at
    agreed = Review(state="confirmed", by=by, at=at)
    photo = PhotoEntry(
        sha256=entry.photo_sha256, name="photo", view="face", measurement=measurement,
        reviews={f.id: agreed for f in findings} if shown == "Agreed" else {},
    )  # fmt: skip
    shown_id = f"shown-{entry.id}-{shown}"
    draft = Inspection(id=shown_id, created_at=now_utc(), photos=(photo,))
    mount(key_of(shown_id, entry.photo_sha256), _feed(draft, locked=True))
