"""Page: lens profiles."""

import math
from collections.abc import Sequence
from typing import Any

import streamlit as st

from damagescore.errors import DamageScoreError
from damagescore.photo import read_photo
from damagescore.scale.board import SQUARE_MM
from damagescore.scale.calibrate import BoardView, Calibration, calibrate, view_of
from damagescore.scale.calibration_rule import judge
from damagescore.scale.lens import Lens, lens_text
from damagescore.scale.lens_store import LensStore
from damagescore.ui.cards import MIME, card_files
from damagescore.ui.lens_chart import coverage_html
from damagescore.ui.offer import offer
from damagescore.ui.session import data_folder, flash, show_flashes, told

HOW = """
1. Print the board, check its two lines with a calliper, glue it to something flat and stiff.
2. Set zoom and focus as you will for the rubber, at that distance, and leave them.
3. Take **8 to 15 sharp photos**: the board large, in every corner of the photo, and tilted by
   20 to 40 degrees to each side in turn.
"""


def lens_store() -> LensStore:
    """Give the lens profiles of this server."""
    return LensStore(data_folder() / "lenses")


def lenses_page() -> None:
    """Draw the page."""
    st.title("Lenses")
    st.write(
        "A lens profile tells how a camera bends straight lines, and its focal length. A photo "
        "measured with it has a surer tilt and scale, above all by a rule or on a round edge."
    )
    show_flashes()
    with told():
        _kept(lens_store())
        st.subheader("Calibrate a camera")
        st.markdown(HOW)
        _board()
        _calibrate()


def lens_field(key: str, *, start: str | None = None) -> Lens | None:
    """Draw the choice of a profile for a photo; None where none is kept or chosen.

    It begins with the profile named `start`, where that is still kept.
    """
    kept = {lens.name: lens for lens in lens_store().all()}
    if st.session_state.get(f"lens-{key}") not in (None, *kept):
        del st.session_state[f"lens-{key}"]
    if not kept:
        return None
    first = list(kept).index(start) if start in kept else None
    name = st.selectbox(
        "Lens profile", list(kept), first, key=f"lens-{key}",
        placeholder="none: the focal length is taken from the photo's own data",
    )  # fmt: skip
    return None if name is None else kept.get(name)


def _kept(kept: LensStore) -> None:
    lenses = kept.all()
    if not lenses:
        st.info("No lens profile is kept yet. Calibrate a camera below.")
        return
    for lens in lenses:
        with st.container(border=True):
            _one(kept, lens)


def _one(kept: LensStore, lens: Lens) -> None:
    width, height = lens.size_px
    st.markdown(f"**{lens.name}**")
    st.caption(
        f"{lens.camera}. {width} × {height} px. Focal length {lens.focal_px:.0f} px ± "
        f"{1.96 * lens.u_focal_px:.2g} (95 %). Corner shifted by "
        f"{100 * lens.corner_bend:+.1f} %. Boards at {lens.distance_mm[0]:.0f} to "
        f"{lens.distance_mm[1]:.0f} mm. {lens.photos} photos, {lens.made}."
    )
    with st.container(horizontal=True):
        offer(
            "Download", lens_text(lens), file_name=f"{lens.name}.json",
            mime="application/json", icon=":material/download:",
            key=f"lens-get-{lens.name}",
        )  # fmt: skip
        with st.popover("Delete", icon=":material/delete:"):
            st.write("Photos measured with it keep it in their record.")
            if st.button("Delete this profile", key=f"lens-drop-{lens.name}"):
                kept.delete(lens.name)
                flash(f"Deleted: {lens.name}.")
                st.rerun()


def _board() -> None:
    files = card_files()
    with st.container(horizontal=True):
        for name, label in (("camera_board.pdf", "Board, PDF"), ("board_camera.svg", "SVG")):
            st.download_button(
                label, files[name], file_name=name, mime=MIME[name[-4:]],
                icon=":material/download:", on_click="ignore", key=f"board-{name}",
            )  # fmt: skip


def _calibrate() -> None:
    round_number = st.session_state.get("lens-round", 0)
    files = st.file_uploader(
        "Photos of the board", accept_multiple_files=True, key=f"lens-photos-{round_number}",
        type=["jpg", "jpeg", "png", "tif", "tiff", "webp", "heic"],
    )  # fmt: skip
    side = st.number_input(
        "Side of a square as measured on the print, mm", min_value=1.0, max_value=200.0,
        value=SQUARE_MM, step=None, format="%g", key="lens-side",
        help="Ten squares measured at once and divided by ten are surer than one.",
    )  # fmt: skip
    if st.button("Calibrate", type="primary", disabled=not files, key="lens-run"):
        st.session_state["calibration"] = _calibrated(files, side)
    found = st.session_state.get("calibration")
    if isinstance(found, DamageScoreError):
        raise found
    if found is not None:
        _result(found, round_number)


def _calibrated(files: Sequence[Any], side_mm: float) -> Calibration | DamageScoreError:
    """The calibration, or why there is none; kept until the next one."""
    seen: list[BoardView] = []
    bar = st.progress(0.0, "Looking for the board")
    try:
        for number, file in enumerate(files):
            bar.progress(number / len(files), f"Looking for the board in {file.name}")
            photo = read_photo(file.getvalue(), name=file.name)
            seen.append(view_of(photo, square_mm=side_mm))
        return calibrate(seen)
    except DamageScoreError as fault:
        return fault
    finally:
        bar.empty()


def _result(found: Calibration, round_number: int) -> None:
    faults = [c.message for c in judge(found) if not c.passed]
    for message in faults:
        st.error(message, icon=":material/error:")
    left, right = st.columns(2, gap="large")
    with left:
        _facts(found)
    with right:
        st.markdown("**Corners seen in each part of the photo**")
        st.html(coverage_html(found.fields, found.lens.size_px))
    with st.expander("Photos one by one", expanded=True):
        st.dataframe(_rows(found), hide_index=True, width="stretch")
    if not faults:
        _save(found, round_number)


def _facts(found: Calibration) -> None:
    lens = found.lens
    st.markdown("**What was found** (± is the 95 % interval)")
    rows = {
        "Camera": lens.camera,
        "Focal length": f"{lens.focal_px:.1f} ± {1.96 * lens.u_focal_px:.1f} px",
        "Principal point": ", ".join(
            f"{c:.1f} ± {1.96 * u:.1f} px"
            for c, u in zip(lens.centre_px, lens.u_centre_px, strict=True)
        ),
        "Corner shifted by": f"{100 * lens.corner_bend:+.2f} ± {196 * lens.u_bend:.2f} %",
        "Misfit of the corners": f"{lens.rms_px:.2f} px, root mean square",
        "Board's distance": f"{lens.distance_mm[0]:.0f} to {lens.distance_mm[1]:.0f} mm",
        "Boards differ in tilt by": f"{found.tilt_range_deg:.0f}°",
        "Field covered": f"{lens.coverage_percent:.0f} %",
        "Photos, corners": f"{lens.photos}, {lens.corners}",
    }
    head = ["| What | Value |", "|---|---|"]
    st.markdown("\n".join([*head, *(f"| {k} | {v} |" for k, v in rows.items())]))


def _rows(found: Calibration) -> list[dict[str, Any]]:
    return [
        {
            "Photo": view.name,
            "Used": view.used,
            "Corners": view.corners,
            "Misfit, px": _rounded(view.rms_px, 2),
            "Tilt, °": _rounded(view.tilt_deg, 0),
            "Distance, mm": _rounded(view.distance_mm, 0),
        }
        for view in found.views
    ]


def _rounded(value: float | None, digits: int) -> float | None:
    return None if value is None or not math.isfinite(value) else round(value, digits)


def _save(found: Calibration, round_number: int) -> None:
    with st.form(f"lens-save-{round_number}", border=False):
        name = st.text_input(
            "Name of the profile", placeholder="for instance: macro lens at 300 mm",
            key=f"lens-name-{round_number}",
        )  # fmt: skip
        if not st.form_submit_button("Save the profile", type="primary"):
            return
    saved = lens_store().save(found.lens, name=name)
    st.session_state.pop("calibration", None)
    st.session_state["lens-round"] = round_number + 1
    flash(f"Kept: {saved.name}. Choose it under the options when you add a photo.")
    st.rerun()
