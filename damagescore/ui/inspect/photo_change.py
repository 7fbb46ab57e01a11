"""Retake, measure again or remove a photo of the record: each in a window of its own."""

from collections.abc import Callable
from dataclasses import replace

import streamlit as st

from damagescore.errors import DamageScoreError
from damagescore.inspection.record import Inspection, PhotoEntry
from damagescore.measure import MeasureOptions
from damagescore.ui.edits import remove_photo, smallest_limit
from damagescore.ui.handing_in import hand_in_again, hand_in_retake
from damagescore.ui.inspect.adding import take_picture
from damagescore.ui.inspect.measuring_panel import window_opened
from damagescore.ui.inspect.photo_options import option_fields
from damagescore.ui.inspect.photo_words import options_words, reasons
from damagescore.ui.measuring import FILE_KINDS
from damagescore.ui.session import told, unit


@st.dialog("Retake a photo", width="medium", on_dismiss="rerun")
def retake(inspection: Inspection, entry: PhotoEntry) -> None:
    """Take a new photo in the place of one; the record keeps the old one with the reason."""
    window_opened(True)
    key = entry.sha256
    why = reasons(entry.measurement["quality"], unit=unit())
    for reason in why:
        st.markdown(reason)
    st.caption(
        f"The new photo of {entry.name} is measured the same way "
        f"({options_words(entry.options, unit=unit())}). The record keeps the old one."
    )
    if st.toggle("Use the camera of this device", key=f"retake-way-{key}"):
        taken = take_picture(f"retake-camera-{key}")
    else:
        file = st.file_uploader("New photo", type=list(FILE_KINDS), key=f"retake-file-{key}")
        taken = (file.name, file.getvalue) if file else None
    reason = st.text_input(
        "Reason", value=_first(why), key=f"retake-why-{key}", max_chars=200
    )  # fmt: skip
    ready = bool(taken and reason.strip())
    if st.button(
        "Replace the photo", key=f"retake-go-{key}", type="primary", disabled=not ready
    ):
        assert taken is not None
        name, read = taken
        options = replace(
            MeasureOptions.from_dict(entry.options), region_px=None, keep_out_px=(),
            smallest_limit_mm=smallest_limit(inspection),
        )  # fmt: skip
        _do(
            lambda: hand_in_retake(
                inspection,
                (name, read(), options),
                replaces=entry.sha256,
                reason=reason.strip(),
            )
        )


@st.dialog("Measure a photo again", width="large", on_dismiss="rerun")
def measure_again(inspection: Inspection, entry: PhotoEntry) -> None:
    """Measure with other options; what was drawn as region or kept out stays."""
    window_opened(True)
    st.caption(
        f"{entry.name}: its findings are proposed anew and reviews of them are dropped. What "
        "was drawn as region or kept out stays, and so do layers put right by hand."
    )
    options = None
    with told():
        options = option_fields(
            f"again-{entry.sha256[:12]}", smallest_limit_mm=smallest_limit(inspection),
            start=entry.options,
        )  # fmt: skip
    pressed = st.button(
        "Measure again", key=f"again-go-{entry.sha256}", type="primary",
        disabled=options is None,
    )  # fmt: skip
    if pressed and options is not None:
        kept = MeasureOptions.from_dict(entry.options)
        drawn = replace(options, region_px=kept.region_px, keep_out_px=kept.keep_out_px)
        _do(lambda: hand_in_again(inspection, entry.sha256, entry.name, options=drawn))


def tell_layers(inspection: Inspection, entry: PhotoEntry) -> None:
    """Ask for the number of layers of a photo that leaves it in doubt."""
    key = entry.sha256
    with st.popover("Number of layers", icon=":material/pin:", key=f"pop-layers-{key}"):
        st.caption(
            "Count the rubber layers on the part. The photo is measured again with their "
            "number, and reviews of its findings are dropped."
        )
        # Empty: what the photo seems to show is to be counted, not agreed to.
        number = st.number_input(
            "Rubber layers in the photo", min_value=1, max_value=60, value=None, step=1,
            key=f"count-{key}",
        )  # fmt: skip
        if st.button(
            "Measure with this number", key=f"count-go-{key}", type="primary",
            disabled=number is None,
        ):  # fmt: skip
            options = replace(MeasureOptions.from_dict(entry.options), n_layers=number)
            _do(lambda: hand_in_again(inspection, key, entry.name, options=options))


def remove(inspection: Inspection, entry: PhotoEntry) -> None:
    """Take a photo out, for a reason."""
    key = entry.sha256
    with st.popover("Remove", icon=":material/delete:", key=f"pop-remove-{key}"):
        st.caption("It leaves the result; the record keeps that it was there, and why.")
        reason = st.text_input("Reason", key=f"why-{key}", max_chars=200)
        if st.button("Remove the photo", key=f"remove-{key}", type="primary"):
            _do(lambda: remove_photo(inspection.id, key, reason=reason))


def _do(edit: Callable[[], DamageScoreError | None]) -> None:
    """Make a change and close the window, or say in it why not."""
    fault = edit()
    if fault is not None:
        st.error(str(fault), icon=":material/error:")
        return
    st.rerun()


def _first(why: list[str]) -> str:
    return why[0].split(":")[0].split(";")[0].rstrip(".") if why else ""
