"""What the workspace is told about one photo, as plain data."""

from collections.abc import Mapping, Sequence
from typing import Any

from damagescore.damage.links import apart_at
from damagescore.damage.unjudged import (
    REMEDIES,
    damage_hidden,
    shares_by_reason,
    where_in_words,
)
from damagescore.inspection import (
    gap_text,
    last_redoable,
    last_undoable,
    open_links,
    words_of_edit,
    words_of_link,
)
from damagescore.inspection.record import Inspection, PhotoEntry, Review
from damagescore.quantity import (
    MM_PER_INCH,
    Length,
    Measured,
    NotMeasured,
    count_words,
    format_quantity,
    quantity_from_dict,
)
from damagescore.report.marks import STYLES, LineStyle, turn_lines_px
from damagescore.scale import ruler_length
from damagescore.ui import questions
from damagescore.ui.known import Known, finding_from, measurement_from
from damagescore.ui.parts import Part, hashed
from damagescore.ui.tiles import PREFIX, TILE_PX, levels_of
from damagescore.ui.words import KIND_WORDS, main_quantity, quantity_words

REASONS = (
    "Dirt or dust",
    "Mould mark",
    "Shadow or glare",
    "Surface scratch only",
    "Found twice",
)

_ROWS = ("length", "area", "peak", "width_max", "width_mean", "extent", "share_of_layer")
"""Quantities in the order in which a person asks for them; others follow."""

_STRENGTH: Mapping[str, str] = {
    "crack": "Chance that this is real damage, from fitted photos",
    "bond_gap": "Chance that this is real damage, from fitted photos",
    "crumbling": "How clearly it shows",
    "bulge": "How clearly it shows",
}
"""What `Finding.strength` says of a proposal of each kind."""

_NONE: tuple[Any, ...] = ()


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
        "corrected": (measurement.get("edge") or {}).get("by_hand") is not None,
        "rulers": _rulers(entry, unit),
        "links": [_link(x, unit) for x in open_links(entry)],
        **_parts(entry, unit),
        "styles": {name: _style(style) for name, style in STYLES.items()},
        "kinds": [
            {"id": kind, "label": words, "area": kind == "crumbling"}
            for kind, words in KIND_WORDS.items()
            if kind != "bulge"
        ],
        "reasons": list(REASONS),
        "unit": unit,
        "unit_per_px": _per_px(mm_per_px, unit),
        "nothing": _nothing(entry),
        "unseen": _unseen(entry),
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
        "turnLimits": [_rounded(x) for x in turn_lines_px(entry.measurement)],
    }


def _parts(entry: PhotoEntry, unit: Length) -> dict[str, Any]:
    """Findings and layers by the hash of what is told of them, and the parts themselves."""
    layers = _LAYERS.of(entry.measurement.get("layers") or _NONE, unit)
    findings = [
        _FINDINGS.of(f, entry.reviews.get(f["id"]), unit)
        for f in entry.measurement.get("findings") or ()
    ]
    parts = dict([layers, *findings])
    return {"layers": layers[0], "findings": [f[0] for f in findings], "parts": parts}


def _layers(layers: Sequence[Mapping[str, Any]], unit: Length) -> Part:
    """Boundaries from the lowest up, and what lies between them."""
    curves: list[list[list[float]]] = []
    for layer in layers:
        points, n_upper = layer["polygon_px"], layer["upper_points"]
        if not curves:
            curves.append(_rounded(points[n_upper:][::-1]))
        curves.append(_rounded(points[:n_upper]))
    told = [
        {
            "index": x["index"], "kind": x["kind"],
            "thickness": format_quantity(quantity_from_dict(x["thickness"]), unit=unit),
        }
        for x in layers
    ]  # fmt: skip
    return hashed({"boundaries": curves, "layers": told})


def _finding(plain: Mapping[str, Any], review: Review | None, unit: Length) -> Part:
    quantities = {k: quantity_from_dict(q) for k, q in plain["quantities"].items()}
    missing = NotMeasured(reason="", unit="mm")
    known_by = main_quantity(plain["kind"], quantities)
    main = quantities.get(known_by, missing)
    measured = isinstance(main, Measured)
    rows = [
        [quantity_words(name), format_quantity(quantities[name], unit=unit)]
        for name in sorted(quantities, key=_place)
        if measured or isinstance(quantities[name], Measured)
    ]
    if measured and plain.get("origin", "auto") == "auto":
        rows.append([_STRENGTH[plain["kind"]], f"{round(100 * plain['strength'])} %"])
    bridged = _bridged(plain)
    if bridged:
        rows.append(["Joined across", count_words(len(bridged), "gap")])
    layer = plain["layer"]
    return hashed({
        "id": plain["id"],
        "kind": plain["kind"],
        "layer": layer,
        "place": "no layer" if layer is None else f"layer {layer}",
        "state": review.state if review else "proposed",
        "reason": review.reason if review else "",
        "lines": [_rounded(line) for line in plain["lines_px"]],
        "bridged": bridged,
        "polygon": _rounded(plain["polygon_px"]) if plain["polygon_px"] else None,
        "main": ("recess " if known_by == "recess" else "") + format_quantity(main, unit=unit),
        "why": main.reason if isinstance(main, NotMeasured) else "",
        "rows": rows,
    })  # fmt: skip


def _bridged(plain: Mapping[str, Any]) -> list[list[list[float]]]:
    """Stretches of a finding's lines that were joined across a gap."""
    if not plain.get("bridged_px"):
        return []
    finding = finding_from(plain)
    return [_rounded(way) for way in apart_at(finding.lines_px, finding.bridged_px)[1]]


_FINDINGS: Known[Part] = Known(_finding)
_LAYERS: Known[Part] = Known(_layers, most=64)


def _rulers(entry: PhotoEntry, unit: Length) -> list[dict[str, Any]]:
    """Measuring lines that are kept, each with its length on the scale as it is now."""
    scale = measurement_from(entry.measurement).scale if entry.rulers else None
    return [
        {
            "points": line["points_px"],
            "text": ""
            if scale is None
            else format_quantity(ruler_length(line, scale), unit=unit),
        }
        for line in entry.rulers
    ]


def _link(link: Mapping[str, Any], unit: Length) -> dict[str, Any]:
    chance = round(100 * link["chance"])
    return {
        "id": link["id"],
        "name": words_of_link(link),
        "lines": [_rounded(x) for x in (link["line_px"], *link["beyond_px"])],
        "words": f"gap {gap_text(link, unit)}, {chance} % likely one crack",
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


def _nothing(entry: PhotoEntry) -> str:
    """What a photo without findings says of its rubber."""
    if not entry.measurement["quality"]["usable"]:
        return "Not searched: the photo was refused."
    measurement = measurement_from(entry.measurement)
    length = measurement.totals.get("crack_length")
    if entry.view == "face" and isinstance(length, NotMeasured):
        return f"Nothing can be said of the rubber. {length.reason}"
    where = " where the rubber could be judged" if measurement.unjudged else ""
    return f"Looked and found none{where}. Trace what you see and the program missed."


def _unseen(entry: PhotoEntry) -> list[dict[str, Any]]:
    """Rubber that could not be judged, by reason: outlines, and what is hidden there."""
    parts = measurement_from(entry.measurement).unjudged
    return [
        {
            "name": f"Not judged: {reason}",
            "words": f"{where_in_words(shares)}, for {damage_hidden(reason)}. "
            f"{REMEDIES[reason]}",
            "outlines": [_rounded(x.polygon_px) for x in parts if x.reason == reason],
        }
        for reason, shares in shares_by_reason(parts).items()
    ]


def _rounded(points: Any) -> list[list[float]]:
    return [[round(x, 1), round(y, 1)] for x, y in points]
