"""Add photos: files, a folder, the camera, or a demo photo."""

from collections.abc import Callable, Iterable
from datetime import UTC, datetime
from typing import Literal

import streamlit as st

from damagescore.inspection.record import Inspection
from damagescore.measure import MeasureOptions
from damagescore.ui.demo import demo_photos
from damagescore.ui.edits import smallest_limit
from damagescore.ui.handing_in import File, hand_in
from damagescore.ui.inspect.photo_options import option_fields
from damagescore.ui.last_time import last_of, last_options
from damagescore.ui.measuring import FILE_KINDS
from damagescore.ui.session import desk, flash, told

Chosen = tuple[str, Callable[[], bytes]]
"""Name of a chosen file, and how to read it."""

WAYS = {"files": "Files", "folder": "A folder", "camera": "Camera"}


def adding(inspection: Inspection) -> None:
    """Draw the ways to add photos."""
    if not inspection.photos:
        st.write(
            "Photograph the exposed rubber edge square on, sharp and without glare, with "
            "something of known size **in the plane of the edge**: a scale card, printed "
            "squares, a rule or two dots. A profile photo shows bulges."
        )
    with st.expander(
        "Add photos", expanded=not inspection.photos, icon=":material/add_photo_alternate:"
    ):
        files = _chosen(inspection.id)
        if files or not inspection.photos:
            desk().expect()
        options = None
        with told():
            options = option_fields(
                inspection.id, smallest_limit_mm=smallest_limit(inspection),
                start=last_options(inspection, last_of(inspection)),
            )  # fmt: skip
        label = f"Measure {len(files)} photos" if len(files) > 1 else "Measure the photo"
        pressed = st.button(
            label, type="primary", key="measure", disabled=not files or options is None
        )
        if files and options is None:
            st.caption("Give the size of the mark to measure.")
        if pressed and options is not None:
            # One at a time: together they may be larger than the memory.
            _hand_in(inspection, ((name, read(), options) for name, read in files))
        _demo(inspection)


def take_picture(key: str) -> Chosen | None:
    """Take a photo with the camera of this device; None until there is one."""
    picture = st.camera_input("Camera", key=key)
    st.caption(
        "Browsers give the camera to pages over https only, and with fewer pixels than the "
        "camera's own app: where the photo is refused, take it with that and add the file."
    )
    if picture is None:
        return None
    return f"camera-{datetime.now(UTC):%Y%m%d-%H%M%S}.jpg", picture.getvalue


def _chosen(inspection_id: str) -> list[Chosen]:
    round_number = st.session_state.get("upload-round", 0)
    way = st.segmented_control(
        "Add photos from", list(WAYS), default="files", required=True, key="adding-way",
        format_func=WAYS.__getitem__,
    )  # fmt: skip
    if way == "camera":
        taken = take_picture(f"camera-{inspection_id}-{round_number}")
        return [taken] if taken else []
    many: Literal[True, "directory"] = "directory" if way == "folder" else True
    files = st.file_uploader(
        "Photos" if many is True else "Folder of photos", type=list(FILE_KINDS),
        accept_multiple_files=many, key=f"upload-{way}-{inspection_id}-{round_number}",
        label_visibility="collapsed",
    )  # fmt: skip
    return [(f.name.rsplit("/", 1)[-1], f.getvalue) for f in files or ()]


def _hand_in(inspection: Inspection, files: Iterable[File]) -> None:
    with st.spinner("Keeping the photos…"):
        faults = hand_in(inspection, files)
    for fault in faults:
        flash(str(fault), bad=True)
    st.session_state["upload-round"] = st.session_state.get("upload-round", 0) + 1
    st.rerun()


def _demo(inspection: Inspection) -> None:
    known = {entry.name for entry in inspection.photos}
    demos = [d for d in demo_photos() if d.path.name not in known]
    if not demos:
        return
    with st.expander(
        "Try it with demo photos", expanded=not inspection.photos, icon=":material/science:"
    ):
        st.caption("Rendered photos of parts that do not exist.")
        chosen = st.multiselect(
            "Demo photos", demos, default=demos[:1], format_func=lambda d: d.title,
            key=f"demo-photos-{len(known)}",
        )  # fmt: skip
        if st.button("Measure the demo photos", key="measure_demo", disabled=not chosen):
            smallest = smallest_limit(inspection)
            files: list[tuple[str, bytes, MeasureOptions]] = [
                (d.path.name, d.path.read_bytes(), d.options(smallest_limit_mm=smallest))
                for d in chosen
            ]
            _hand_in(inspection, files)
