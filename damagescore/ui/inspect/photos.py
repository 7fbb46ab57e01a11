"""Step 2: photos, with what each is good for."""

from collections.abc import Callable, Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

import cv2
import streamlit as st

from damagescore.errors import DamageScoreError
from damagescore.inspection.record import Inspection, PhotoEntry
from damagescore.measure import MeasureOptions
from damagescore.quantity import COVERAGE_FACTOR_95, MM_PER_INCH, Length
from damagescore.ui.demo import DemoPhoto, demo_photos
from damagescore.ui.edits import add_measured, remove_photo, replace_measured, smallest_limit
from damagescore.ui.inspect.photo_options import VIEWS, option_fields
from damagescore.ui.measuring import FILE_KINDS, measure_again, measure_file
from damagescore.ui.session import flash, photo_of, told, unit
from damagescore.ui.words import OUTCOME_COLOURS, OUTCOME_SIGNS, check_words, method_words

THUMB_PX = 320


def photos_step(inspection: Inspection, *, locked: bool) -> None:
    """Add photos, and show what came of each."""
    st.subheader("Photos")
    if not locked:
        _adding(inspection)
    if not inspection.photos:
        if locked:
            st.info("No photos were added.")
        return
    for number, entry in enumerate(inspection.photos, start=1):
        with st.container(border=True):
            _photo(inspection, entry, number=number, locked=locked)


def _adding(inspection: Inspection) -> None:
    first = not inspection.photos
    if first:
        st.write(
            "Photograph the exposed rubber edge square on, sharp and without glare, with "
            "something of known size **in the plane of the edge**: a scale card, printed "
            "squares, a rule or two dots. A profile photo shows bulges."
        )
    with st.container(border=True):
        round_number = st.session_state.get("upload-round", 0)
        files = st.file_uploader(
            "Photos", type=list(FILE_KINDS), accept_multiple_files=True,
            key=f"upload-{inspection.id}-{round_number}",
        )  # fmt: skip
        options = None
        with told():
            options = option_fields(inspection.id, smallest_limit_mm=smallest_limit(inspection))
        count = len(files or ())
        label = f"Measure {count} photos" if count > 1 else "Measure the photo"
        pressed = st.button(
            label, type="primary", key="measure", disabled=not files or options is None
        )
        if files and options is None:
            st.caption("Give the size of the mark to measure.")
        if pressed and files and options is not None:
            jobs = [(f.name, f.getvalue(), options) for f in files]
            _measure_all(inspection, jobs)
    _demo(inspection, first=first)


def _measure_all(inspection: Inspection, jobs: list[tuple[str, bytes, MeasureOptions]]) -> None:
    bar = st.progress(0.0, text="Starting…")
    for number, (name, data, options) in enumerate(jobs):
        bar.progress(number / len(jobs), text=f"Measuring {name} ({number + 1} of {len(jobs)})")
        try:
            fault = add_measured(inspection.id, measure_file(data, name, options))
        except DamageScoreError as error:
            fault = error
        if fault is not None:
            flash(str(fault), bad=True)
    st.session_state["upload-round"] = st.session_state.get("upload-round", 0) + 1
    st.rerun()


def _demo(inspection: Inspection, *, first: bool) -> None:
    known = {entry.name for entry in inspection.photos}
    demos = [d for d in demo_photos() if d.path.name not in known]
    if not demos:
        return
    with st.expander("Try it with a demo photo", expanded=first, icon=":material/science:"):
        st.caption("Rendered photos of parts that do not exist.")
        chosen = st.selectbox(
            "Demo photo", demos, format_func=lambda d: d.title, key="demo-photo"
        )
        if st.button("Measure the demo photo", key="measure_demo"):
            _measure_all(inspection, [_demo_job(chosen, smallest_limit(inspection))])


def _demo_job(demo: DemoPhoto, smallest_mm: float | None) -> tuple[str, bytes, MeasureOptions]:
    return demo.path.name, demo.path.read_bytes(), demo.options(smallest_limit_mm=smallest_mm)


def _photo(inspection: Inspection, entry: PhotoEntry, *, number: int, locked: bool) -> None:
    picture, facts = st.columns([1, 3], gap="medium", vertical_alignment="top")
    with picture, told():
        st.image(thumbnail(entry.sha256, entry.name), width="stretch")
    with facts:
        _facts(entry, number=number)
        with st.container(horizontal=True):
            st.button(
                "Open findings", key=f"open-{entry.sha256}", icon=":material/search:",
                on_click=_open, args=(entry.sha256,),
            )  # fmt: skip
            if not locked:
                _again(inspection, entry)
                _remove(inspection, entry)


def _facts(entry: PhotoEntry, *, number: int) -> None:
    measurement = entry.measurement
    quality = measurement["quality"]
    worst = worst_outcome(quality)
    st.markdown(
        f"**{number}. {Path(entry.name).name}** · {VIEWS[entry.view].split(':')[0]} view"
    )
    words = {
        "pass": "Good to judge",
        "warn": "Usable, with a warning",
        "refuse": "Refused: take it again",
    }
    st.badge(f"{OUTCOME_SIGNS[worst]} {words[worst]}", color=OUTCOME_COLOURS[worst])  # type: ignore[arg-type]
    for check in quality["checks"]:
        if check["outcome"] != "pass":
            message = check_words(check, unit=unit())
            st.markdown(f"{OUTCOME_SIGNS[check['outcome']]} {message}")
    if measurement.get("scale"):
        st.caption(scale_words(measurement["scale"], unit=unit()))
    if limits_words(entry.options):
        st.caption(limits_words(entry.options))
    st.caption(_found(measurement))


def limits_words(options: Mapping[str, Any]) -> str:
    """Say what the inspector keeps from being judged; empty where nothing."""
    said = ["Only the region that was drawn is judged."] if options.get("region_px") else []
    n_out = len(options.get("keep_out_px") or ())
    if n_out:
        said.append(f"{n_out} area{' is' if n_out == 1 else 's are'} kept out.")
    return " ".join(said)


def worst_outcome(quality: Mapping[str, Any]) -> str:
    """The worst outcome of the checks; what is not usable was refused."""
    outcomes = {c["outcome"] for c in quality["checks"]}
    if not quality["usable"] or "refuse" in outcomes:
        return "refuse"
    return "warn" if "warn" in outcomes else "pass"


def scale_words(scale: Mapping[str, Any], *, unit: Length) -> str:
    """One line on the scale of a photo; its uncertainty is relative, k = 1.96."""
    per_px = scale["mm_per_px"] / (MM_PER_INCH if unit == "in" else 1.0)
    spread = 100 * COVERAGE_FACTOR_95 * scale["u_mm_per_px"] / scale["mm_per_px"]
    tilt = "" if scale.get("tilt_deg") is None else f" · tilt {scale['tilt_deg']:.1f}°"
    return (
        f"Scale by {method_words(scale['method']).lower()}: "
        f"{per_px:.4g} {unit} per pixel ± {spread:.2g} %{tilt}"
    )


def _found(measurement: Mapping[str, Any]) -> str:
    if not measurement["quality"]["usable"]:
        return "Nothing was measured on this photo."
    findings = measurement["findings"]
    if not findings:
        return "Looked and found no damage."
    return f"{len(findings)} findings" if len(findings) > 1 else "1 finding"


@st.cache_data(max_entries=60, show_spinner=False)
def thumbnail(sha256: str, name: str) -> bytes:
    """Give a small JPEG of a photo of the store."""
    rgb = photo_of(sha256, name).rgb
    share = THUMB_PX / max(rgb.shape[:2])
    size = (max(1, round(rgb.shape[1] * share)), max(1, round(rgb.shape[0] * share)))
    small = cv2.resize(rgb, size, interpolation=cv2.INTER_AREA)
    _, data = cv2.imencode(".jpg", cv2.cvtColor(small, cv2.COLOR_RGB2BGR))
    return bytes(data.tobytes())


def _open(sha256: str) -> None:
    st.session_state["step"] = "findings"
    st.session_state["photo"] = sha256


def _again(inspection: Inspection, entry: PhotoEntry) -> None:
    with st.popover("Measure again", key=f"pop-again-{entry.sha256}"):
        st.caption(
            "Replaces the findings of this photo; reviews of them are dropped. What was drawn "
            "as region or kept out stays."
        )
        options = None
        with told():
            options = option_fields(
                f"again-{entry.sha256[:12]}", smallest_limit_mm=smallest_limit(inspection)
            )
        pressed = st.button(
            "Measure again", key=f"again-{entry.sha256}", disabled=options is None
        )
        if pressed and options is not None:
            kept = MeasureOptions.from_dict(entry.options)
            drawn = replace(options, region_px=kept.region_px, keep_out_px=kept.keep_out_px)
            _told_edit(
                lambda: replace_measured(
                    inspection.id, measure_again(entry.sha256, entry.name, drawn)
                )
            )


def _remove(inspection: Inspection, entry: PhotoEntry) -> None:
    with st.popover("Remove", key=f"pop-remove-{entry.sha256}"):
        reason = st.text_input("Why", key=f"why-{entry.sha256}", max_chars=200)
        if st.button("Remove the photo", key=f"remove-{entry.sha256}"):
            _told_edit(lambda: remove_photo(inspection.id, entry.sha256, reason=reason))


def _told_edit(edit: Callable[[], DamageScoreError | None]) -> None:
    try:
        fault = edit()
    except DamageScoreError as error:
        fault = error
    if fault is not None:
        flash(str(fault), bad=True)
    st.rerun()
