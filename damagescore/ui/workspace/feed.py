"""What the workspace is told about one photo, as plain data."""

from collections.abc import Mapping
from typing import Any

import cv2
import numpy as np

from damagescore.inspection import last_redoable, last_undoable, words_of_edit
from damagescore.inspection.record import Inspection, PhotoEntry
from damagescore.quantity import (
    MM_PER_INCH,
    Length,
    Measured,
    format_quantity,
    quantity_from_dict,
)
from damagescore.report.marks import STYLES, LineStyle
from damagescore.ui import questions
from damagescore.ui.tiles import PREFIX, TILE_PX, levels_of
from damagescore.ui.words import KIND_WORDS, MAIN_QUANTITY, quantity_words

REASONS = (
    "Dirt or dust",
    "Mould mark",
    "Shadow or glare",
    "Surface scratch only",
    "Found twice",
)

_ROWS = ("length", "area", "peak", "width_max", "width_mean", "extent", "share_of_layer")
"""Quantities in the order in which a person asks for them; others follow."""

_LEAST_STEP_PX = 0.6
"""Outlines are thinned to this before they are sent; a tenth of a line's width."""


def feed_of(
    inspection: Inspection, entry: PhotoEntry, *, unit: Length, locked: bool
) -> dict[str, Any]:
    """Describe a photo and its findings for the workspace.

    Parameters
    ----------
    inspection : Inspection
    entry : PhotoEntry
        One of its photos, with a measurement, whose "photo" gives width and height.
    unit : "mm" or "in"
    locked : bool
        True where nothing may be changed: a signed record, or nobody named.
    """
    measurement = entry.measurement
    photo = measurement["photo"]
    width, height = int(photo["width"]), int(photo["height"])
    layers = measurement.get("layers") or []
    scale = measurement.get("scale")
    mm_per_px = scale["mm_per_px"] if scale else None
    return {
        "photo": {
            "base": f"{PREFIX}/{entry.sha256}", "width": width, "height": height,
            "levels": levels_of(width, height), "tile": TILE_PX,
        },
        "ask": f"{questions.PREFIX}/{inspection.id}/{entry.sha256}",
        "edits": len(inspection.edits),
        **_undoing(inspection, entry),
        **_limits(entry),
        "scaled": scale is not None,
        "measured": bool(scale and layers and measurement["quality"]["usable"]),
        "profile": entry.view == "profile",
        "locked": locked,
        "layers": [{"index": x["index"], "polygon": _thinned(x["polygon_px"])} for x in layers],
        "rubber": [x["index"] for x in layers if x["kind"] == "rubber"],
        "findings": [
            _finding(f, entry=entry, unit=unit) for f in measurement.get("findings") or ()
        ],
        "styles": {name: _style(style) for name, style in STYLES.items()},
        "kinds": [
            {"id": kind, "label": words, "area": kind == "crumbling"}
            for kind, words in KIND_WORDS.items()
            if kind != "bulge"
        ],
        "reasons": list(REASONS),
        "unit": unit,
        "unit_per_px": _per_px(mm_per_px, unit),
        "nothing": _nothing(measurement),
    }  # fmt: skip


def _undoing(inspection: Inspection, entry: PhotoEntry) -> dict[str, str]:
    """What undo would take back and redo make again, in words; empty where nothing."""
    back = last_undoable(inspection, photo=entry.sha256)
    again = last_redoable(inspection, photo=entry.sha256)
    return {
        "undo": "" if back is None else words_of_edit(back),
        "redo": "" if again is None else words_of_edit(again),
    }


def _limits(entry: PhotoEntry) -> dict[str, Any]:
    return {
        "region": entry.options.get("region_px"),
        "keepOut": list(entry.options.get("keep_out_px") or ()),
    }


def _finding(plain: Mapping[str, Any], *, entry: PhotoEntry, unit: Length) -> dict[str, Any]:
    review = entry.reviews.get(plain["id"])
    quantities = {k: quantity_from_dict(q) for k, q in plain["quantities"].items()}
    main = quantities.get(MAIN_QUANTITY[plain["kind"]])
    rows = [
        [quantity_words(name), format_quantity(quantities[name], unit=unit)]
        for name in sorted(quantities, key=_place)
    ]
    rows.append(["How clearly it shows", f"{round(100 * plain['strength'])} %"])
    layer = plain["layer"]
    return {
        "id": plain["id"],
        "kind": plain["kind"],
        "layer": layer,
        "place": "no layer" if layer is None else f"layer {layer}",
        "state": review.state if review else "proposed",
        "reason": review.reason if review else "",
        "lines": [_rounded(line) for line in plain["lines_px"]],
        "polygon": _rounded(plain["polygon_px"]) if plain["polygon_px"] else None,
        "main": format_quantity(main, unit=unit) if isinstance(main, Measured) else "–",
        "rows": rows,
    }


def _place(quantity: str) -> int:
    return _ROWS.index(quantity) if quantity in _ROWS else len(_ROWS)


def _style(style: LineStyle) -> dict[str, Any]:
    red, green, blue = style.rgb
    return {
        "colour": f"#{red:02x}{green:02x}{blue:02x}",
        # The report's widths are thousandths of a side; on the screen, pixels.
        "width": 1.2 + 0.8 * style.width,
        "dash": [1.4 * d for d in style.dash],
        "hatch": style.hatch,
    }


def _per_px(mm_per_px: float | None, unit: Length) -> float | None:
    if mm_per_px is None:
        return None
    return mm_per_px if unit == "mm" else mm_per_px / MM_PER_INCH


def _nothing(measurement: Mapping[str, Any]) -> str:
    if not measurement["quality"]["usable"]:
        return "Not searched: the photo was refused."
    return "Looked and found none. Trace what you see and the program missed."


def _rounded(points: Any) -> list[list[float]]:
    return [[round(x, 1), round(y, 1)] for x, y in points]


def _thinned(points: Any) -> list[list[float]]:
    """Leave out points of an outline that the eye would not miss."""
    shaped = np.asarray(points, np.float32).reshape(-1, 1, 2)
    if len(shaped) < 3:
        return []
    thin = cv2.approxPolyDP(shaped, _LEAST_STEP_PX, closed=True).reshape(-1, 2)
    return _rounded(thin.tolist())
