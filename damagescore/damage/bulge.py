"""Bulges and recesses of rubber layers beyond the line through the shim edges."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import uniform_filter1d

from damagescore.damage.bulge_datum import LEAST_OF_SHIM, Datum, fit_datum
from damagescore.damage.bulge_ends import LayerEnd, layer_ends
from damagescore.damage.bulge_lost import (
    LEAST_KNOWN,
    LostLayer,
    check_lost,
    doubted_layer,
    lost_layer,
)
from damagescore.damage.bulge_shim import ShimEnd, shim_ends
from damagescore.damage.bulge_sight import level_doubt
from damagescore.damage.bulge_unseen import (
    BOND_MARGIN,
    BOND_ROWS,
    hidden_mm,
    jump_mm,
    u_at_bonds,
)
from damagescore.damage.record import Finding
from damagescore.edge.record import Edge, Layer
from damagescore.errors import EdgeError
from damagescore.photo.record import Photo
from damagescore.quantity import (
    Contribution,
    Measured,
    Quantity,
    from_budget,
    rectangular,
)
from damagescore.scale.record import Scale

Points = NDArray[np.float64]
Mask = NDArray[np.bool_]

LEAST_PEAK_MM = 0.1
"""No smaller bulge is called one: moulded edges stand off by about that much."""

LEAST_POINTS = 5
"""Points of an outline without which a layer is not measured."""

MOST_SPREAD_MM = 0.15
"""Spread of the shims' ends about the datum beyond which they are no datum."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LayerBulge:
    """How far one rubber layer stands beyond the datum.

    Parameters
    ----------
    layer : int
    along_mm, out_mm : ndarray, shape (N,)
        Outline in the datum's frame: along the stack and outwards.
    outline_px : ndarray, shape (N, 2)
    peak : Measured
        Largest outward distance, mm; negative where all of the layer stands back.
    recess : Measured
        Largest distance behind the datum, mm; negative where none of it does.
    area : Measured
        Area beyond the datum, mm2.
    thickness_mm : float
        Length of the layer along the datum at the outline.
    peak_px : tuple of float
    """

    layer: int
    along_mm: Points
    out_mm: Points
    outline_px: Points
    peak: Measured
    recess: Measured
    area: Measured
    thickness_mm: float
    peak_px: tuple[float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class BulgeProfile:
    """The whole outline against the datum, for charts and findings.

    Parameters
    ----------
    layers : tuple of LayerBulge
        One for each rubber layer, lowest first.
    datum_px : ndarray, shape (M, 2)
        The datum drawn through the photo.
    shim_points_px : ndarray, shape (K, 2)
        The outline points that carry the datum.
    curved : bool
        True where the datum is a parabola rather than a line.
    u_datum_mm : float
        Standard uncertainty of the datum at its middle.
    noise_mm : float
        Noise of a single outline point.
    lost : tuple of LostLayer
        Rubber layers that could not be measured.
    """

    layers: tuple[LayerBulge, ...]
    datum_px: Points
    shim_points_px: Points
    curved: bool
    u_datum_mm: float
    noise_mm: float
    lost: tuple[LostLayer, ...] = ()


def find_bulges(photo: Photo, edge: Edge, scale: Scale) -> tuple[Finding, ...]:
    """Find rubber layers that stand out from, or back behind, the shim edges.

    Parameters
    ----------
    photo : Photo
    edge : Edge
        From a profile view, with its outline.
    scale : Scale

    Returns
    -------
    tuple of Finding
        Kind "bulge"; quantities "peak" (mm), "area" (mm2) and
        "peak_over_thickness" (%), or "recess" (mm) where the layer stands back.
        Only what exceeds 0.1 mm and three standard uncertainties is a finding, and a
        layer whose outline is lost: its quantities are not measured.

    Raises
    ------
    EdgeError
        Where the edge has no outline or fewer than two shims reach it.
    """
    profile = bulge_profile(photo, edge, scale)
    found = [_finding(x) for x in profile.layers]
    kept = [f for f in found if f is not None] + [x.finding() for x in profile.lost]
    return tuple(sorted(kept, key=lambda f: f.layer or 0))


def bulge_profile(photo: Photo, edge: Edge, scale: Scale) -> BulgeProfile:
    """Measure every rubber layer's outline against the shim edges.

    The datum is the straight line through the outline where shims reach it (`bulge_line`);
    with five shims or more, and a bend well beyond its uncertainty, a parabola.
    The rubber never enters the datum. What the inspector keeps from being judged carries
    no datum, and a layer that is mostly kept out is not measured. Where the layers are in
    doubt, none is measured.
    """
    outline = edge.outline_px
    if outline is None or len(outline) < 20:
        raise EdgeError(
            "The edge has no outline to measure bulges on.",
            remedy="Use a photo along the edge against a plain background, view profile.",
        )
    ends = layer_ends(edge, outline, scale)
    free = edge.allows(outline)
    shims = [free & _between(outline, ends[x.index], margin=0.25) for x in edge.shims]
    surface = scale.surface.to_mm(outline)
    level = _level_mm(photo, outline, edge, scale)
    datum = _datum(photo, edge, scale, ends=[ends[x.index] for x in edge.shims], level=level)
    noise = _noise_mm(surface, datum)
    layers: list[LayerBulge] = []
    lost: list[LostLayer] = []
    doubted: list[LostLayer] = []
    judged = [x for x in edge.rubber if free[_stretch(ends[x.index])].mean() >= LEAST_KNOWN]
    for x in judged:
        end = ends[x.index]
        taken = free & _between(outline, end, margin=BOND_MARGIN, least=BOND_ROWS)
        if edge.doubt:
            doubted.append(doubted_layer(x, end.tips_px, edge.doubt))
            continue
        if end.known < LEAST_KNOWN or taken.sum() < LEAST_POINTS:
            lost.append(lost_layer(x, end.tips_px, end.known))
            continue
        layers.append(
            _layer_bulge(
                x, outline, taken, scale=scale, datum=datum, noise_mm=noise, level=level
            )
        )
    check_lost(lost, len(judged))
    t, _ = datum.frame(surface)
    drawn = np.linspace(t.min(), t.max(), 40)
    line = datum.origin + drawn[:, None] * datum.along
    line = line + np.polyval(datum.terms, drawn)[:, None] * datum.out
    return BulgeProfile(
        layers=tuple(layers),
        datum_px=scale.surface.to_px(line),
        shim_points_px=outline[np.any(shims, axis=0)],
        curved=len(datum.terms) > 2,
        u_datum_mm=datum.u_at(0.0),
        noise_mm=noise,
        lost=(*lost, *doubted),
    )


def _datum(
    photo: Photo, edge: Edge, scale: Scale, *, ends: list[LayerEnd], level: Points
) -> Datum:
    """The datum through the ends of the shims; raise EdgeError where these carry none."""
    outline = edge.outline_px
    assert outline is not None
    free = edge.allows(outline)
    reached = sum(
        bool((free & _between(outline, x, margin=0.25)).any()) and x.known >= LEAST_OF_SHIM
        for x in ends
    )
    if reached < 2:
        raise EdgeError(
            f"{reached} shim(s) reach the outline; the datum needs two.",
            remedy="Take the whole stack in the photo, against a background unlike the shims.",
        )
    to_mm, to_px = scale.surface.to_mm, scale.surface.to_px
    inner = np.vstack([x.polygon_px for x in edge.layers]).mean(axis=0)
    mm_per_px = scale.surface.mm_per_px_at(outline[len(outline) // 2])

    def together(reach: Points) -> list[ShimEnd | None]:
        found = shim_ends(photo, outline, reach, inner_px=inner, scale=scale)
        judged = [bool(edge.allows(to_px(x)).all()) for x in reach]
        return [x if j else None for x, j in zip(found, judged, strict=True)]

    datum = fit_datum(
        to_mm(outline[free]),
        np.array([to_mm(x.reach_px) for x in ends]),
        _inner_point(edge, scale),
        level=level[free],
        u_place=np.array([x.u_px * mm_per_px for x in ends]),
        together=together,
    )
    if reached > 2 and datum.spread_mm > MOST_SPREAD_MM:
        raise EdgeError(
            f"The ends of the {reached} shims do not lie on one line: they scatter by "
            f"{datum.spread_mm:.2f} mm.",
            remedy="Take the photo against a plain bright background, or correct the layers.",
        )
    return datum


def _stretch(end: LayerEnd) -> slice:
    return slice(end.first, end.last + 1)


def _between(outline: Points, end: LayerEnd, *, margin: float, least: int = 0) -> Mask:
    """Outline points of one layer, less a share at both its bonds, `least` at least."""
    taken = np.zeros(len(outline), dtype=bool)
    cut = max(margin * (end.last - end.first), least)
    taken[math.ceil(end.first + cut) : math.floor(end.last - cut) + 1] = True
    return taken


def _inner_point(edge: Edge, scale: Scale) -> Points:
    """A point inside the part, mm: tells outwards from inwards."""
    surface = scale.surface.to_mm(np.vstack([x.polygon_px for x in edge.layers]))
    return np.asarray(surface.mean(axis=0))


def _level_mm(photo: Photo, outline: Points, edge: Edge, scale: Scale) -> Points:
    """Uncertainty (N,) of the outline's place from the colours on both its sides, mm."""
    inner = np.vstack([x.polygon_px for x in edge.layers]).mean(axis=0)
    mm_per_px = scale.surface.mm_per_px_at(outline[len(outline) // 2])
    return level_doubt(photo, outline, inner) * mm_per_px


def _noise_mm(surface: Points, datum: Datum) -> float:
    """Noise of single outline points: spread about a short running mean."""
    _, out = datum.frame(surface)
    rough = out - uniform_filter1d(out, 5)
    return 1.4826 * float(np.median(np.abs(rough))) * math.sqrt(5 / 4)


def _layer_bulge(
    layer: Layer,
    outline: Points,
    taken: Mask,
    *,
    scale: Scale,
    datum: Datum,
    noise_mm: float,
    level: Points,
) -> LayerBulge:
    points, level = outline[taken], level[taken]
    t, raw = datum.frame(scale.surface.to_mm(points))
    width = max(round(0.03 * len(t)), 3)
    # A short mean: the peak of single points would grow with their noise. It
    # lowers a parabola's peak by (width / length)^2 / 3, 0.03 %.
    out = uniform_filter1d(raw, width, mode="nearest")
    top, low = int(np.argmax(out)), int(np.argmin(out))
    noise = noise_mm / math.sqrt(width)
    lost = jump_mm(t, raw) + hidden_mm(points, raw)
    return LayerBulge(
        layer=layer.index,
        along_mm=t,
        out_mm=raw,
        outline_px=points,
        peak=_distance(float(out[top]), t[top], scale=scale, datum=datum,
                       noise=noise, level=level[top], bond=u_at_bonds(out), lost=lost),
        recess=_distance(-float(out[low]), t[low], scale=scale, datum=datum,
                         noise=noise, level=level[low], bond=u_at_bonds(-out), lost=lost),
        area=_area(t, out, scale=scale, datum=datum, level=float(np.median(level))),
        thickness_mm=_thickness(layer, points, scale=scale, datum=datum),
        peak_px=(float(points[top, 0]), float(points[top, 1])),
    )  # fmt: skip


def _thickness(layer: Layer, points: Points, *, scale: Scale, datum: Datum) -> float:
    """Length along the datum between the two boundaries where they reach the outline."""
    middle = points.mean(axis=0)
    tips = [
        curve[[0, -1]][int(np.argmin(np.hypot(*(curve[[0, -1]] - middle).T)))]
        for curve in (layer.upper_px, layer.lower_px)
    ]
    t, _ = datum.frame(scale.surface.to_mm(np.array(tips)))
    return max(float(abs(t[1] - t[0])), 1e-6)


def _distance(
    value: float,
    at: float,
    *,
    scale: Scale,
    datum: Datum,
    noise: float,
    level: float,
    bond: float,
    lost: float,
) -> Measured:
    budget = (
        Contribution(source="scale", u=abs(value) * scale.u_relative),
        Contribution(source="outline noise", u=noise),
        Contribution(source="outline level", u=float(level)),
        Contribution(source="datum", u=datum.u_at(at)),
        Contribution(source="place of the bond", u=bond),
        Contribution(source="outline lost in part", u=rectangular(lost)),
    )
    return from_budget(value, budget, unit="mm")


def _area(t: Points, out: Points, *, scale: Scale, datum: Datum, level: float) -> Measured:
    area = float(np.trapezoid(np.maximum(out, 0.0), t) * np.sign(t[-1] - t[0]))
    length = float(np.ptp(t[out > 0])) if (out > 0).sum() > 1 else 0.0
    budget = (
        Contribution(source="scale", u=2 * area * scale.u_relative),
        Contribution(source="outline level", u=level * length),
        Contribution(source="datum", u=datum.u_at(float(t.mean())) * length),
    )
    return from_budget(max(area, 0.0), budget, unit="mm2")


def _finding(bulge: LayerBulge) -> Finding | None:
    stands_out = bulge.peak.value > max(LEAST_PEAK_MM, 3 * bulge.peak.u)
    stands_back = bulge.recess.value > max(LEAST_PEAK_MM, 3 * bulge.recess.u)
    if not stands_out and not stands_back:
        return None
    quantities: dict[str, Quantity] = {}
    if stands_out:
        quantities["peak"] = bulge.peak
        quantities["area"] = bulge.area
        quantities["peak_over_thickness"] = bulge.peak.scaled(
            100.0 / bulge.thickness_mm, unit="%"
        )
    if stands_back:
        quantities["recess"] = bulge.recess
    main = bulge.peak if stands_out else bulge.recess
    return Finding(
        id=f"bulge-{bulge.layer}",
        kind="bulge",
        layer=bulge.layer,
        strength=float(np.clip(1 - 3 * main.u / main.value, 0.0, 1.0)),
        lines_px=(bulge.outline_px,),
        polygon_px=_region(bulge),
        quantities=quantities,
    )


def _region(bulge: LayerBulge) -> Points:
    """Outline points that leave the datum, closed along the chord."""
    sign = 1.0 if bulge.peak.value >= bulge.recess.value else -1.0
    beyond = sign * bulge.out_mm > 0
    return bulge.outline_px[beyond] if beyond.sum() >= 3 else bulge.outline_px
