"""The options of a photo: view, scale, layers; as a form and in words."""

from collections.abc import Mapping
from typing import Any

import streamlit as st

from damagescore.measure import MeasureOptions
from damagescore.measurement import CLOCK_WITHIN_DEG, MOST_CLOCK_WITHIN_DEG, View
from damagescore.quantity import MM_PER_INCH, rectangular
from damagescore.scale import ScaleKind, ScaleRequest
from damagescore.ui.lenses import lens_field
from damagescore.ui.session import unit

VIEWS: Mapping[View, str] = {
    "face": "Face: the rubber edge from the front",
    "profile": "Profile: the outline from the side",
}

SCALES: Mapping[ScaleKind, str] = {
    "auto": "Own scale card, found by itself",
    "squares": "Square marks of a known side",
    "rule": "Graduated rule",
    "two_dots": "Two black dots",
    "two_points": "Two points that I click on the photo",
}

SIZE_LABELS: Mapping[ScaleKind, str] = {
    "squares": "Side of the squares",
    "rule": "Pitch of the fine graduations",
    "two_dots": "Distance between the dots' centres",
}


def option_fields(
    key: str, *, smallest_limit_mm: float | None, start: Mapping[str, Any] | None = None
) -> MeasureOptions | None:
    """Draw the fields; give the options, or None while something is missing.

    The fields start as `start` has them, options of another photo as plain data.

    With two points to click, the photo is first read without a scale: it is then
    refused, and the points are given in the findings step.
    """
    begin = _begin(key, start or MeasureOptions().to_dict())
    left, right = st.columns(2)
    view = left.radio(
        "View", list(VIEWS), list(VIEWS).index(begin["view"]), format_func=VIEWS.__getitem__,
        key=f"view-{key}",
    )  # fmt: skip
    kind = right.selectbox(
        "Scale in the photo", list(SCALES), list(SCALES).index(begin["kind"]),
        format_func=SCALES.__getitem__, key=f"scale-{key}",
    )  # fmt: skip
    size = None
    if kind in SIZE_LABELS:
        size = right.number_input(
            f"{SIZE_LABELS[kind]}, {unit()}", min_value=0.0, value=begin["size"], step=None,
            format="%g", key=f"size-{key}-{unit()}",
        )  # fmt: skip
    elif kind == "two_points":
        right.caption("Click the two points in the findings step, with *Two-point scale*.")
    with st.expander("Round edge, stand-off, lens, layers, sensitivity"):
        more = _more_fields(key, begin)
    if kind in SIZE_LABELS and not size:
        return None
    request = ScaleRequest(
        # Without points there is nothing to ask for yet; the card may still be there.
        kind="auto" if kind == "two_points" else kind,
        size_mm=None if size is None else size * _factor(),
        edge_radius_mm=more["radius"],
        standoff_mm=more["standoff"],
        u_standoff_mm=more["u_standoff"],
        lens=more["lens"],
    )
    return MeasureOptions(
        view=view,
        scale=request,
        n_layers=more["layers"],
        sensitivity=more["sensitivity"],
        smallest_limit_mm=smallest_limit_mm,
        clock_hours=more["clock"] if more["radius"] else None,
        u_clock_deg=rectangular(more["within"]),
    )


def _begin(key: str, start: Mapping[str, Any]) -> dict[str, Any]:
    """What the fields begin with.

    It is given to the fields as their own default: what is put into the session's state
    is not shown by a field that first stood in a closed box.
    """
    scale, factor = start["scale"], _factor()

    def length(name: str) -> float | None:
        return None if scale.get(name) is None else float(f"{scale[name] / factor:.6g}")

    # Two points belong to the photo that they were clicked on.
    kind = "auto" if scale["kind"] == "two_points" else scale["kind"]
    return {
        "view": start["view"],
        "kind": kind,
        "size": length("size_mm") if kind in SIZE_LABELS else None,
        "radius": length("edge_radius_mm"),
        "standoff": length("standoff_mm"),
        "u_standoff": length("u_standoff_mm"),
        "layers": start.get("n_layers"),
        "sensitivity": float(start["sensitivity"]),
        "lens": (scale.get("lens") or {}).get("name"),
        # Another photo has another place on the round edge.
        "clock": start.get("clock_hours") if key.startswith("again-") else None,
        "within": _within(start),
    }


def _within(start: Mapping[str, Any]) -> float:
    """Degrees either way, as they are asked for, of a kept standard uncertainty."""
    u_deg: float = start.get("u_clock_deg", rectangular(CLOCK_WITHIN_DEG))
    return float(f"{u_deg / rectangular(1.0):.3g}")


def _more_fields(key: str, begin: Mapping[str, Any]) -> dict[str, Any]:
    shown, factor = unit(), _factor()
    left, right = st.columns(2)
    radius = left.number_input(
        f"Radius of a round edge, {shown}", min_value=0.0, value=begin["radius"], step=None,
        format="%g", key=f"radius-{key}-{shown}", placeholder="leave empty for a flat edge",
    )  # fmt: skip
    layers = right.number_input(
        "Rubber layers in the photo", min_value=1, max_value=60, value=begin["layers"],
        key=f"layers-{key}", placeholder="leave empty to count them",
    )  # fmt: skip
    # Rows of their own keep what belongs together so on a narrow screen too.
    left, right = st.columns(2)
    standoff = left.number_input(
        f"Mark nearer to the camera than the rubber by, {shown}",
        value=begin["standoff"], step=None,
        format="%g", key=f"standoff-{key}-{shown}",
    )  # fmt: skip
    u_standoff = right.number_input(
        f"Standard uncertainty of that, {shown}", min_value=0.0,
        value=begin["u_standoff"], step=None,
        format="%.3g", key=f"u-standoff-{key}-{shown}",
    )  # fmt: skip
    left, right = st.columns(2)
    clock = left.number_input(
        "Clock position on a round edge, hours", min_value=0.0, max_value=12.0,
        value=begin["clock"],
        step=0.5, format="%g", key=_clock_key(key), placeholder="such as 4.5",
        help="Of the line that faces the camera, seen from the side that is up in the photo. "
        "Photos at clock positions are joined: damage on two of them counts once.",
    )  # fmt: skip
    within = right.number_input(
        "Placed there within, ± degrees", min_value=0.1, max_value=MOST_CLOCK_WITHIN_DEG,
        value=begin["within"], step=1.0, format="%g", key=f"within-{key}",
        help="How far the card may stand from its clock position. A photo proves less of the "
        "circumference the larger this is.",
    )  # fmt: skip
    sensitivity = st.slider(
        "Sensitivity of the proposals", 0.0, 1.0, begin["sensitivity"], 0.05,
        key=f"sensitivity-{key}",
        help="Low: only the plainest damage is proposed. High: everything suspicious is.",
    )  # fmt: skip
    return {
        "radius": radius * factor if radius else None,
        "within": within,
        "layers": layers,
        "standoff": standoff * factor,
        "u_standoff": u_standoff * factor,
        "sensitivity": sensitivity,
        "lens": lens_field(key, start=begin["lens"]),
        "clock": clock,
    }


def _clock_key(key: str) -> str:
    """Key of a field that is empty again for the next photo."""
    return f"clock-{key}-{st.session_state.get('upload-round', 0)}"


def _factor() -> float:
    return MM_PER_INCH if unit() == "in" else 1.0
