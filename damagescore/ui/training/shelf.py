"""The graded library: search, take in from inspections, correct, give and take."""

import tempfile
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import streamlit as st

from damagescore.errors import DamageScoreError
from damagescore.inspection.checks import now_utc
from damagescore.inspection.record import Inspection, PhotoEntry
from damagescore.quantity import format_quantity
from damagescore.training.exchange import read_library, write_library
from damagescore.training.kept import Library, new_entry_id
from damagescore.training.library import CALLS, SIZES, Entry, Search, agreed_entry
from damagescore.training.scale import GradeScale
from damagescore.training.similar import KINDS, most_similar
from damagescore.ui.offer import offer
from damagescore.ui.session import flash, load, store, unit
from damagescore.ui.thumbnails import thumbnail
from damagescore.ui.words import KIND_WORDS, when

ORIGINS = {
    "field": "Found in service: overlooked damage is not excluded",
    "prepared": "Made for study: all damage is known",
    "rendered": "Rendered: all damage is known",
}
PAGE = 24


def library_tab(kept: Library, who: str) -> None:
    """Draw the tab."""
    entries = kept.entries()
    if not entries:
        st.info(
            "No graded photo yet. Review a photo on the *Inspect* page until every finding is "
            "confirmed or rejected, then take it in here with its grade, where it comes from "
            "and who allowed its use."
        )
    if who:
        with st.expander("Take a reviewed photo in"):
            _take_in(kept, who)
        with st.expander("Give to others, or take in what others gave"):
            _give(entries)
            _receive(kept, who)
    else:
        st.caption("Write your name into the field in the sidebar to add photos.")
    if entries:
        _search(kept, entries, who)


# Search


def _search(kept: Library, entries: Sequence[Entry], who: str) -> None:
    left, middle, right = st.columns(3)
    kind = left.selectbox(
        "Damage", [None, *KINDS], format_func=lambda k: KIND_WORDS.get(k or "", "Any"),
        key="shelf-kind",
    )  # fmt: skip
    grades = middle.multiselect("Grades", list(kept.scale().grades), key="shelf-grades")
    layer = right.number_input(
        "Layer; empty for any", min_value=0, value=None, key="shelf-layer"
    )
    least = left.number_input(
        "Size from, mm or mm²", min_value=0.0, value=None, key="shelf-from"
    )
    most = middle.number_input("Size up to", min_value=0.0, value=None, key="shelf-to")
    words = right.text_input("Words", key="shelf-words")
    search = Search(
        kind=kind, layer=layer, smallest=least, largest=most, grades=tuple(grades), text=words
    )
    found = [e for e in entries if search.finds(e)]
    chosen = st.session_state.get("shelf-like")
    like = next((e for e in entries if e.id == chosen), None)
    if like is not None:
        found = list(most_similar(like, entries))
        st.caption(f"Photos with damage most like that of {like.photo_name}, nearest first.")
        if st.button("Back to all", key="shelf-all"):
            st.session_state.pop("shelf-like")
            st.rerun()
    else:
        st.caption(f"{len(found)} of {len(entries)} photos")
    for start in range(0, min(len(found), PAGE), 3):
        for entry, column in zip(found[start : start + 3], st.columns(3), strict=False):
            with column.container(border=True):
                _card(kept, entry, who)
    if len(found) > PAGE:
        st.caption(f"The first {PAGE} are shown: narrow the search to see others.")


def _card(kept: Library, entry: Entry, who: str) -> None:
    st.image(thumbnail(entry.photo_sha256), width="stretch")
    call = f" · {entry.call}" if entry.call else ""
    st.text(f"Grade {entry.grade}{call}\n{_sizes(entry)}")
    st.caption(f"Agreed by {', '.join(entry.agreed_by)}, {when(entry.agreed_at)}")
    with st.expander(f"Version {entry.version}: more"):
        st.text(
            f"{entry.photo_name}\nFrom: {entry.provenance}\nAllowed: {entry.permission}\n"
            f"{ORIGINS[entry.origin]}\n{entry.note}"
        )
        if st.button("Similar photos", key=f"like-{entry.id}"):
            st.session_state["shelf-like"] = entry.id
            st.rerun()
        if who:
            _use_as_picture(kept, entry)
            _correct(kept, entry, who)


def _use_as_picture(kept: Library, entry: Entry) -> None:
    """Make a photo the picture of its grade; it is not practised on from then on."""
    scale = kept.scale()
    if entry.grade not in scale.grades or scale.step(entry.grade).picture_sha256:
        return
    if st.button(f"Show it as grade {entry.grade}", key=f"picture-{entry.id}"):
        steps = tuple(
            replace(s, picture_sha256=entry.photo_sha256) if s.grade == entry.grade else s
            for s in scale.steps
        )
        kept.keep_scale(replace(scale, version=scale.version + 1, steps=steps))
        flash(f"The scale shows this photo for grade {entry.grade}; it is not practised on.")
        st.rerun()


def _sizes(entry: Entry) -> str:
    if not entry.findings:
        return "nothing found"
    return "\n".join(
        f"{KIND_WORDS[f.kind]}, layer {f.layer}: "
        + format_quantity(f.quantities[SIZES[f.kind]], unit=unit())
        if SIZES[f.kind] in f.quantities
        else f"{KIND_WORDS[f.kind]}, layer {f.layer}"
        for f in entry.findings[:6]
    )


def _correct(kept: Library, entry: Entry, who: str) -> None:
    scale = kept.scale()
    with st.form(f"correct-{entry.id}"):
        grade = st.selectbox(
            "Grade", list(scale.grades), key=f"correct-grade-{entry.id}",
            index=scale.grades.index(entry.grade) if entry.grade in scale.grades else 0,
        )  # fmt: skip
        note = st.text_input("Note", value=entry.note, key=f"correct-note-{entry.id}")
        leave = st.checkbox(
            "May be given to others", value=entry.may_leave, key=f"correct-leave-{entry.id}"
        )
        if st.form_submit_button("Keep as a new version", key=f"correct-go-{entry.id}"):
            kept.keep(
                entry.corrected(
                    grade=grade, note=note, may_leave=leave, scale_name=scale.name,
                    scale_version=scale.version, agreed_at=now_utc(),
                    agreed_by=tuple(dict.fromkeys((*entry.agreed_by, who))),
                )
            )  # fmt: skip
            flash(f"Version {entry.version + 1} is kept; earlier answers keep theirs.")
            st.rerun()


# Take in


def _take_in(kept: Library, who: str) -> None:
    summaries = store().search(limit=50)
    if not summaries:
        st.info("There is no inspection yet.")
        return
    by_id = {
        s.id: f"{s.part_number} · {s.serial_number} · {when(s.created_at)}" for s in summaries
    }
    chosen = st.selectbox(
        "Inspection", list(by_id), format_func=by_id.__getitem__, key="take-inspection"
    )
    inspection = load(chosen)
    usable = [p for p in inspection.photos if p.measurement["quality"]["usable"]]
    if not usable:
        st.info("This inspection has no measured photo.")
        return
    names = {p.sha256: p.name for p in usable}
    sha256 = st.selectbox("Photo", list(names), format_func=names.__getitem__, key="take-photo")
    photo = next(p for p in usable if p.sha256 == sha256)
    _take_form(kept, inspection, photo, who)


def _take_form(kept: Library, inspection: Inspection, photo: PhotoEntry, who: str) -> None:
    scale, usage, call = kept.scale(), _usage(inspection), _call(inspection)
    with st.form("take-form"):
        st.image(thumbnail(photo.sha256))
        grade = st.selectbox(
            "Grade", list(scale.grades), key="take-grade",
            index=None if usage is None else scale.grades.index(scale.grade_of(usage)),
            placeholder="Choose",
            format_func=lambda g: f"{g}: {scale.step(g).label}",
        )  # fmt: skip
        said = st.selectbox(
            "Against the limits", [None, *CALLS], key="take-call",
            index=0 if call is None else 1 + CALLS.index(call),
            format_func=lambda c: c or "not compared",
        )  # fmt: skip
        agreed = st.text_input("Agreed by: names and commas", value=who, key="take-agreed")
        provenance = st.text_input("Where the photo comes from", key="take-provenance")
        permission = st.text_input("Who allowed its use, and for what", key="take-permission")
        origin = st.selectbox(
            "Damage", list(ORIGINS), format_func=ORIGINS.__getitem__, key="take-origin"
        )
        leave = st.checkbox("May be given to others", key="take-leave")
        if st.form_submit_button("Take into the library", type="primary", key="take-go"):
            if grade is None:
                st.error("No grade was given. Choose one, then take the photo in.")
                return
            described: dict[str, Any] = {
                "grade": grade, "call": said, "usage": usage, "provenance": provenance,
                "permission": permission, "origin": origin, "may_leave": leave,
                "agreed_by": tuple(x.strip() for x in agreed.split(",") if x.strip()),
            }  # fmt: skip
            _keep(kept, scale, inspection, photo, described)


def _keep(
    kept: Library, scale: GradeScale, inspection: Inspection, photo: PhotoEntry,
    described: dict[str, Any],
) -> None:  # fmt: skip
    try:
        entry = agreed_entry(
            photo.measurement, {k: r.state for k, r in photo.reviews.items()}, version=1,
            id=new_entry_id(), photo_name=photo.name, scale_name=scale.name,
            scale_version=scale.version, agreed_at=now_utc(), source_inspection=inspection.id,
            **described,
        )  # fmt: skip
        kept.keep(entry)
    except DamageScoreError as fault:
        st.error(str(fault))
        return
    flash(f"{photo.name} is in the library with grade {entry.grade}.")
    st.rerun()


def _usage(inspection: Inspection) -> float | None:
    score = (inspection.assessment or {}).get("score")
    return None if score is None else float(score) / 100


def _call(inspection: Inspection) -> Any:
    outcome = (inspection.assessment or {}).get("outcome")
    return outcome if outcome in CALLS else None


# Give and take


def _give(entries: Sequence[Entry]) -> None:
    free = [e for e in entries if e.may_leave]
    st.write(
        f"{len(free)} of {len(entries)} photos may be given to others: one zip file with the "
        "photos, COCO annotations, masks and a CSV table."
    )
    if free and st.button("Make the file", key="give-make"):
        with tempfile.TemporaryDirectory() as folder:
            target = Path(folder) / "library.zip"
            write_library(target, free, photo_bytes=store().photo_bytes, made_at=now_utc())
            st.session_state["give-file"] = target.read_bytes()
    if "give-file" in st.session_state:
        offer(
            "Graded library, zip", st.session_state["give-file"], file_name="library.zip",
            mime="application/zip", key="give-file-download", icon=":material/download:",
        )  # fmt: skip


def _receive(kept: Library, who: str) -> None:
    with st.form("receive-form"):
        file = st.file_uploader(
            "A library, or a zip of photos with a COCO file", type=["zip"], key="receive-file"
        )
        st.caption("For a file of another program, that does not say these:")
        grade = st.number_input(
            "Grade", min_value=0, max_value=20, value=0, key="receive-grade"
        )
        per_mm = st.number_input(
            "Pixels a millimetre", min_value=0.1, value=25.0, key="receive-scale"
        )
        provenance = st.text_input("Where they come from", key="receive-provenance")
        permission = st.text_input("Who allowed their use", key="receive-permission")
        if not st.form_submit_button("Take in", key="receive-go") or file is None:
            return
    scale = kept.scale()
    described = {
        "grade": int(grade), "mm_per_px": 1 / per_mm, "provenance": provenance,
        "permission": permission, "agreed_by": [who], "agreed_at": now_utc(),
        "scale_name": scale.name, "scale_version": scale.version,
    }  # fmt: skip
    with tempfile.NamedTemporaryFile(suffix=".zip") as copy:
        copy.write(file.getvalue())
        copy.flush()
        imported = read_library(Path(copy.name), described=described)
    _take_all(kept, imported.entries, imported.photos)


def _take_all(kept: Library, entries: Sequence[Entry], photos: Any) -> None:
    known = {e.photo_sha256 for e in kept.entries()}
    new = [e for e in entries if e.photo_sha256 not in known]
    for entry in new:
        store().put_photo(photos[entry.photo_sha256])
        kept.keep(entry.corrected(id=new_entry_id(), version=1))
    flash(f"{len(new)} photos were taken in; {len(entries) - len(new)} were there already.")
    st.rerun()
