"""The photos of a record as a table: picture, quality, what to do, findings, review."""

from collections.abc import Mapping
from html import escape
from pathlib import Path
from typing import Any

import streamlit as st

from damagescore.inspection.record import Inspection, PhotoEntry
from damagescore.quantity import Length
from damagescore.ui.inspect.photo_change import measure_again, remove, retake, tell_layers
from damagescore.ui.inspect.photo_words import (
    QUALITY_WORDS,
    found_words,
    limits_words,
    options_words,
    reasons,
    scale_words,
    worst_outcome,
)
from damagescore.ui.session import unit
from damagescore.ui.tiles import PREFIX, levels_of
from damagescore.ui.words import OUTCOME_SIGNS, when

PAGE = 15
"""Photos shown before "Show more": each has buttons, which take time to draw."""


def photo_table(inspection: Inspection, *, locked: bool) -> None:
    """Draw a row a photo, those that need something first where there are many."""
    numbered = list(enumerate(inspection.photos, start=1))
    shown = st.session_state.get("photos-shown", PAGE)
    if len(numbered) > PAGE:
        numbered = _filtered(numbered)
    for number, entry in numbered[:shown]:
        with st.container(border=True, key=f"photo-{entry.sha256[:16]}"):
            st.html(row_html(entry, number=number, unit=unit()))
            _actions(inspection, entry, locked=locked)
    if not numbered:
        st.info("No photo of this kind.")
    left = len(numbered) - shown
    if left > 0 and st.button(f"Show {min(left, PAGE)} more of {left}", key="photos-more"):
        st.session_state["photos-shown"] = shown + PAGE
        st.rerun()


def _filtered(numbered: list[tuple[int, PhotoEntry]]) -> list[tuple[int, PhotoEntry]]:
    kinds = {"All": None, "Refused": "refuse", "With a warning": "warn", "Good": "pass"}
    kind = kinds[
        st.segmented_control(
            "Show", list(kinds), default="All", required=True, key="photos-kind"
        )
        or "All"
    ]
    return [
        (n, e)
        for n, e in numbered
        if kind is None or worst_outcome(e.measurement["quality"]) == kind
    ]


def row_html(entry: PhotoEntry, *, number: int, unit: Length) -> str:
    """One photo as a row: the picture at the left, what it is good for beside it."""
    quality = entry.measurement["quality"]
    worst = worst_outcome(quality)
    name = Path(entry.name).name
    told = "".join(f"<p>{escape(r)}</p>" for r in reasons(quality, unit=unit))
    scale = entry.measurement.get("scale")
    how = [options_words(entry.options, unit=unit, with_scale=not scale).capitalize()]
    how += [scale_words(scale, unit=unit)] if scale else []
    how.append(limits_words(entry.options))
    small = "".join(f"<small>{escape(x)}</small>" for x in how if x)
    return (
        f'<div class="ds-photo">{_picture(entry.measurement["photo"], entry.sha256)}'
        f'<div><div class="ds-name"><b>{number}. {escape(name)}</b>'
        f'<span class="ds-chip ds-{worst}">{OUTCOME_SIGNS[worst]} {QUALITY_WORDS[worst]}</span>'
        f"</div>{told}<p><b>{escape(found_words(entry))}</b></p>{small}</div></div>"
    )


def _picture(photo: Mapping[str, Any], sha256: str) -> str:
    top = levels_of(int(photo["width"]), int(photo["height"])) - 1
    return f'<img src="{PREFIX}/{sha256}/{top}/0_0.jpg" alt="" loading="lazy">'


def _actions(inspection: Inspection, entry: PhotoEntry, *, locked: bool) -> None:
    key = entry.sha256
    refused = worst_outcome(entry.measurement["quality"]) == "refuse"
    with st.container(horizontal=True):
        st.button(
            "Open findings", key=f"open-{key}", icon=":material/search:", on_click=_open,
            args=(key,),
        )  # fmt: skip
        if locked:
            return
        if st.button(
            "Retake", key=f"retake-{key}", icon=":material/photo_camera:",
            type="primary" if refused else "secondary",
        ):  # fmt: skip
            retake(inspection, entry)
        if st.button("Measure again", key=f"again-{key}", icon=":material/refresh:"):
            measure_again(inspection, entry)
        if (entry.measurement.get("edge") or {}).get("doubt"):
            tell_layers(inspection, entry)
        remove(inspection, entry)


def _open(sha256: str) -> None:
    st.session_state["step"] = "findings"
    st.session_state["photo"] = sha256


def replaced_photos(inspection: Inspection) -> None:
    """List photos that were taken out or replaced: the record keeps them, with the reason."""
    gone = [e for e in inspection.edits if e.action in ("remove_photo", "retake_photo")]
    now = {p.sha256 for p in inspection.photos}
    olds = [(e, e.before["photo"]) for e in gone if e.before["photo"] not in now]
    if not olds:
        return
    with st.expander(f"Replaced and removed photos ({len(olds)})", icon=":material/history:"):
        for edit, sha256 in olds:
            photo = edit.before["entry"]["measurement"]["photo"]
            st.html(
                f'<div class="ds-photo">{_picture(photo, sha256)}<div>'
                f"<b>{escape(str(photo['path']))}</b><p>{escape(edit.reason)}</p>"
                f"<small>{escape(edit.by)}, {when(edit.at)}</small></div></div>"
            )
