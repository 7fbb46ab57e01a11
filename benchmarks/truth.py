"""Read a folder of photos with exact truth, and compare a measurement with it."""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from damagescore.measure import Measurement
from damagescore.photo.along import places_along
from damagescore.quantity import Measured, Quantity
from damagescore.scale.record import Scale
from damagescore.scenes.reading import Case

Points = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class CrackScore:
    """Cracks found in one photo; lengths in mm.

    `lengths` has, for every true crack that was met, the sum of what was measured on it
    and its true length; `wide_` counts only cracks whose widest place is 3 px or more.
    `kinds_` counts findings on true lines and those told rightly as crack or bond gap.
    """

    found_mm: float
    present_mm: float
    wide_found_mm: float
    wide_present_mm: float
    false_findings: int
    kinds_right: int
    kinds_asked: int
    lengths: tuple[tuple[Measured, float], ...]

    @property
    def relative_errors(self) -> tuple[float, ...]:
        return tuple(m.value / true - 1 for m, true in self.lengths)

    @property
    def inside_95(self) -> tuple[bool, ...]:
        return tuple(abs(m.value - true) <= 1.96 * m.u for m, true in self.lengths)


def score_cracks(case: Case, measurement: Measurement) -> CrackScore:
    """Match proposals to true cracks within the larger of 4 px and 0.15 mm."""
    assert measurement.scale is not None
    reach_px = reach_of(measurement.scale)
    lines = [f for f in measurement.findings if f.kind in ("crack", "bond_gap")]
    truths = [places_along(c["polylines_px"]) for c in case.cracks]
    false = sum(not lies_on(f.lines_px, truths, reach_px) for f in lines)
    found, present, lengths = np.zeros(2), np.zeros(2), []
    kinds: list[bool] = []
    for crack, points in zip(case.cracks, truths, strict=True):
        widest_px = float(np.max(np.concatenate(crack["widths_mm"])))
        widest_px /= measurement.scale.mm_per_px
        counts = np.array([1.0, float(widest_px >= 3)]) * crack["length_mm"]
        present += counts
        mine = [f for f in lines if lies_on(f.lines_px, [points], reach_px)]
        if not mine:
            continue
        kinds += [(f.kind == "bond_gap") == (crack["kind"] == "bond_line") for f in mine]
        tree = cKDTree(np.vstack([places_along(f.lines_px) for f in mine]))
        found += counts * float(np.mean(tree.query(points)[0] <= reach_px))
        lengths.append((_sum([f.quantities["length"] for f in mine]), crack["length_mm"]))
    return CrackScore(
        found_mm=found[0], present_mm=present[0],
        wide_found_mm=found[1], wide_present_mm=present[1],
        false_findings=false, kinds_right=sum(kinds), kinds_asked=len(kinds),
        lengths=tuple(lengths),
    )  # fmt: skip


def _sum(lengths: list[Any]) -> Measured:
    """Sum that takes the uncertainties as shared, the careful way."""
    return Measured(value=sum(x.value for x in lengths), u=sum(x.u for x in lengths), unit="mm")


def reach_of(scale: Scale) -> float:
    """How near to a true line a place counts as on it, px: the larger of 4 px and 0.15 mm."""
    return max(4.0, 0.15 / scale.mm_per_px)


def lies_on(lines_px: Iterable[Points], truths: list[Points], reach_px: float) -> bool:
    """Whether half of some lines or more lies on dense true ones, from `dense`."""
    if not truths:
        return False
    tree = cKDTree(np.vstack(truths))
    return bool(np.mean(tree.query(places_along(lines_px))[0] <= reach_px) >= 0.5)


@dataclass(frozen=True, slots=True, kw_only=True)
class AreaScore:
    """Crumbling in one photo: areas in mm², overlap as intersection over union."""

    true_mm2: float
    total: Quantity
    overlap: float
    false_findings: int

    @property
    def measured_mm2(self) -> float:
        return self.total.value if isinstance(self.total, Measured) else np.nan

    @property
    def inside_95(self) -> bool:
        u = self.total.u if isinstance(self.total, Measured) else 0.0
        return bool(abs(self.measured_mm2 - self.true_mm2) <= 1.96 * u)


def score_crumbling(case: Case, measurement: Measurement) -> AreaScore:
    """Compare the total crumbled area and its outline with the truth."""
    edge = measurement.edge
    assert edge is not None
    true = _filled([p for c in case.truth["crumbling"] for p in c["polygons_px"]], edge.shape)
    mine = [f for f in measurement.findings if f.kind == "crumbling"]
    outlines = [f.polygon_px for f in mine if f.polygon_px is not None]
    found = _filled(outlines, edge.shape)
    false = sum(np.mean(true[_filled([p], edge.shape)]) < 0.3 for p in outlines)
    union = int(np.sum(true | found))
    return AreaScore(
        true_mm2=float(case.truth["total_crumbling_area_mm2"]),
        total=measurement.totals["crumbling_area"],
        overlap=float(np.sum(true & found)) / union if union else 1.0,
        false_findings=int(false),
    )


def _filled(polygons: list[Any], shape: tuple[int, int]) -> NDArray[np.bool_]:
    canvas = np.zeros(shape, np.uint8)
    for polygon in polygons:
        cv2.fillPoly(canvas, [np.round(np.asarray(polygon)).astype(np.int32)], (1,))
    return canvas.astype(bool)
