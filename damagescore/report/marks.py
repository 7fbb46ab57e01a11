"""What is drawn over a photo: lines, labels and a scale bar, as plain geometry.

The PDF and the raster overlay draw the same marks. The kinds differ in line style
as well as colour, so that a black-and-white print says the same.
"""

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from damagescore.damage.links import apart_at
from damagescore.inspection import links_in
from damagescore.quantity import MM_PER_INCH, Length, format_quantity
from damagescore.scale import limit_lines_px, ruler_length
from damagescore.scale.record import Scale, SurfaceMap

Points = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class LineStyle:
    """How a kind is drawn; widths and dashes in thousandths of the longest side.

    The colours are those of a published palette for colour-blind readers (Okabe
    and Ito 2008), each over a white halo.
    """

    name: str
    rgb: tuple[int, int, int]
    width: float
    dash: tuple[float, ...] = ()
    hatch: bool = False


STYLES: Mapping[str, LineStyle] = {
    "crack": LineStyle(name="crack: solid line", rgb=(213, 94, 0), width=1.3),
    "bond_gap": LineStyle(
        name="bond gap: dashed line", rgb=(0, 114, 178), width=1.6, dash=(7.0, 4.0)
    ),
    "crumbling": LineStyle(
        name="crumbling: dotted outline, hatched", rgb=(230, 159, 0), width=1.4,
        dash=(1.6, 2.6), hatch=True,
    ),
    "bridged": LineStyle(
        name="joined across a gap by the inspector: short dashes", rgb=(90, 30, 110), width=1.3,
        dash=(2.6, 2.2),
    ),
    "link": LineStyle(
        name="may go on across a gap, not decided: dots", rgb=(90, 30, 110), width=1.0,
        dash=(1.2, 3.0),
    ),
    "bulge": LineStyle(name="bulge: bold line", rgb=(0, 158, 115), width=3.2),
    "layer": LineStyle(name="layer: faint line", rgb=(225, 225, 225), width=0.5),
    "rejected": LineStyle(
        name="rejected by the inspector: thin grey line", rgb=(120, 120, 120), width=0.7,
        dash=(2.0, 2.0),
    ),
    "by_hand": LineStyle(
        name="layer border put by hand: long dashes", rgb=(0, 90, 140), width=0.8,
        dash=(11.0, 3.0),
    ),
    "region": LineStyle(
        name="region judged: line of dashes and gaps", rgb=(13, 85, 96), width=1.2,
        dash=(12.0, 6.0),
    ),
    "keep_out": LineStyle(
        name="kept out, not judged: grey, hatched", rgb=(95, 95, 95), width=0.9,
        dash=(3.0, 3.0), hatch=True,
    ),
    "unjudged": LineStyle(
        name="rubber that could not be judged: thin dotted outline",
        rgb=(90, 60, 120), width=0.9, dash=(1.0, 3.2),
    ),
    "too_far": LineStyle(
        name="turned too far, not judged beyond: dashes with long gaps", rgb=(13, 85, 96),
        width=0.9, dash=(6.0, 9.0),
    ),
    "ruler": LineStyle(name="measuring line, no damage: thin black", rgb=(0, 0, 0), width=0.7),
}  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class Mark:
    """One line or outline over the photo.

    `points_px` has shape (N, 2), upright full-resolution pixels, pixel centres at
    integers; `style` is a key of `STYLES`.
    """

    style: str
    points_px: Points
    closed: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Label:
    """A finding's id, or a measuring line's length, and the point that it belongs to."""

    text: str
    at_px: tuple[float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class ScaleBar:
    """A bar of a round length at the photo's scale in the judged area."""

    text: str
    length_px: float


def layer_marks(measurement: Mapping[str, Any]) -> Iterator[Mark]:
    """Outlines of the layers."""
    for layer in measurement.get("layers") or ():
        points = _points(layer["polygon_px"])
        if len(points) > 2:
            yield Mark(style="layer", points_px=points, closed=True)


def finding_marks(
    measurement: Mapping[str, Any], states: Mapping[str, str] | None = None
) -> Iterator[Mark]:
    """Lines and outlines of the findings; `states` gives the review by finding id."""
    for finding in measurement.get("findings") or ():
        rejected = (states or {}).get(finding["id"]) == "rejected"
        style = "rejected" if rejected else finding["kind"]
        for line in finding.get("lines_px") or ():
            yield Mark(style=style, points_px=_points(line))
        if finding.get("polygon_px"):
            yield Mark(style=style, points_px=_points(finding["polygon_px"]), closed=True)
        if not rejected:
            yield from _bridge_marks(finding)


def _bridge_marks(finding: Mapping[str, Any]) -> Iterator[Mark]:
    lines = [_points(x) for x in finding.get("lines_px") or ()]
    bridged = [_points(x) for x in finding.get("bridged_px") or ()]
    for way in apart_at(lines, bridged)[1]:
        yield Mark(style="bridged", points_px=way)


def link_marks(
    measurement: Mapping[str, Any], states: Mapping[str, str] | None = None
) -> Iterator[Mark]:
    """Where a crack may go on beyond a gap, as long as nobody has decided on it."""
    for link in links_in(measurement, states or {}):
        for line in (link["line_px"], *link["beyond_px"]):
            yield Mark(style="link", points_px=_points(line))


def limit_marks(measurement: Mapping[str, Any]) -> Iterator[Mark]:
    """What the inspector drew: borders put by hand, the region, and what is kept out."""
    edge = measurement.get("edge") or {}
    layers = measurement.get("layers") or ()
    for number in edge.get("by_hand") or ():
        yield Mark(style="by_hand", points_px=_boundary(layers, number))
    for outline in edge.get("drawn_keep_out_px") or ():
        yield Mark(style="keep_out", points_px=_points(outline), closed=True)
    if edge.get("region_px"):
        yield Mark(style="region", points_px=_points(edge["region_px"]), closed=True)


def unjudged_marks(measurement: Mapping[str, Any]) -> Iterator[Mark]:
    """Outlines of the rubber on which crumbling would not have been seen."""
    for part in measurement.get("unjudged") or ():
        yield Mark(style="unjudged", points_px=_points(part["polygon_px"]), closed=True)


def turn_lines_px(measurement: Mapping[str, Any]) -> tuple[Points, ...]:
    """Where a round edge turns too far to be judged, shape (N, 2) each; none on a flat one."""
    surface = (measurement.get("scale") or {}).get("surface") or {}
    if surface.get("radius_mm") is None:
        return ()
    photo = measurement["photo"]
    size = int(photo["width"]), int(photo["height"])
    return limit_lines_px(SurfaceMap.from_dict(surface), size)


def turn_marks(measurement: Mapping[str, Any]) -> Iterator[Mark]:
    """The lines of `turn_lines_px`."""
    for line in turn_lines_px(measurement):
        yield Mark(style="too_far", points_px=line)


def _boundary(layers: Sequence[Mapping[str, Any]], number: int) -> Points:
    """A boundary of the stack, counted from the lowest: each is a side of a layer."""
    layer = layers[max(0, number - 1)]
    points, n_upper = _points(layer["polygon_px"]), layer["upper_points"]
    return points[n_upper:] if number == 0 else points[:n_upper]


def ruler_marks(measurement: Mapping[str, Any]) -> Iterator[Mark]:
    """Kept measuring lines, with a tick at each end; see `with_rulers`."""
    for line in measurement.get("rulers") or ():
        a, b = ends = _points(line["points_px"])
        way = b - a
        tick = 0.03 * np.array([-way[1], way[0]])
        yield Mark(style="ruler", points_px=ends)
        for end in ends:
            yield Mark(style="ruler", points_px=np.vstack([end - tick, end + tick]))


def with_rulers(
    measurement: Mapping[str, Any], rulers: Sequence[Mapping[str, Any]], *, unit: Length
) -> dict[str, Any]:
    """Add the measuring lines of a photo to its measurement, each with its length in words."""
    plain = measurement.get("scale")
    scale = Scale.from_dict(plain) if rulers and plain else None
    lines = [
        {
            "points_px": line["points_px"],
            "text": format_quantity(ruler_length(line, scale), unit=unit) if scale else "",
        }
        for line in rulers
    ]
    return {**measurement, "rulers": lines}


def all_marks(
    measurement: Mapping[str, Any], states: Mapping[str, str] | None = None
) -> Iterator[Mark]:
    """Everything that is drawn over a photo, findings and their links last."""
    yield from layer_marks(measurement)
    yield from limit_marks(measurement)
    yield from turn_marks(measurement)
    yield from unjudged_marks(measurement)
    yield from ruler_marks(measurement)
    yield from finding_marks(measurement, states)
    yield from link_marks(measurement, states)


def finding_labels(measurement: Mapping[str, Any]) -> Iterator[Label]:
    """One label per finding that has a place in the photo, and per measuring line."""
    for finding in measurement.get("findings") or ():
        lines = finding.get("lines_px") or ()
        outline = finding.get("polygon_px") or (lines[0] if lines else ())
        points = _points(outline)
        if len(points):
            x, y = points[len(points) // 2]
            yield Label(text=str(finding["id"]), at_px=(float(x), float(y)))
    for line in measurement.get("rulers") or ():
        x, y = _points(line["points_px"]).mean(axis=0)
        if line["text"]:
            yield Label(text=line["text"], at_px=(float(x), float(y)))


def scale_bar(
    measurement: Mapping[str, Any], width_px: float, *, unit: Length = "mm"
) -> ScaleBar | None:
    """Give a bar of 1, 2 or 5 times a power of ten, at most a quarter of the width.

    None when the photo has no scale or was refused: a bar would then say what nobody
    knows.
    """
    scale = measurement.get("scale")
    refused = not (measurement.get("quality") or {"usable": True})["usable"]
    if refused or not scale or not scale.get("mm_per_px"):
        return None
    units_per_px = scale["mm_per_px"] / (1.0 if unit == "mm" else MM_PER_INCH)
    longest = width_px * units_per_px / 4
    power = 10.0 ** math.floor(math.log10(longest))
    length = next(n * power for n in (5, 2, 1) if n * power <= longest * (1 + 1e-9))
    return ScaleBar(text=f"{length:g} {unit}", length_px=length / units_per_px)


def kinds_in(measurement: Mapping[str, Any], states: Mapping[str, str]) -> list[str]:
    """Keys of `STYLES` that the photo's legend needs, in the order of `STYLES`."""
    used = {m.style for m in all_marks(measurement, states)}
    return [style for style in STYLES if style in used]


def hatch_lines(polygon_px: Points, spacing_px: float) -> list[Points]:
    """Lines at 45 degrees inside a closed polygon, shape (2, 2) each.

    Each line y = x + c is cut where it crosses the outline, and drawn between
    the crossings in turn (even-odd rule).
    """
    x, y = polygon_px.T
    offset = y - x
    following = np.roll(offset, -1)
    first = math.ceil(offset.min() / spacing_px)
    lines = []
    for number in range(first, math.floor(offset.max() / spacing_px) + 1):
        c = number * spacing_px
        crossed = (offset <= c) != (following <= c)
        share = (c - offset[crossed]) / (following[crossed] - offset[crossed])
        at = np.sort(x[crossed] + share * (np.roll(x, -1)[crossed] - x[crossed]))
        lines += [
            np.array([[a, a + c], [b, b + c]]) for a, b in zip(at[::2], at[1::2], strict=False)
        ]
    return lines


def _points(plain: Any) -> Points:
    return np.asarray(plain, dtype=np.float64).reshape(-1, 2)
