"""Read a folder of photos with exact truth, and compare a measurement with it."""

import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from damagescore.damage.record import Finding
from damagescore.measure import Measurement, MeasureOptions
from damagescore.scale import ScaleRequest

Points = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """One photo with its truth."""

    path: Path
    truth: Mapping[str, Any]

    @property
    def good(self) -> bool:
        return self.truth["expected"]["verdict"] == "ok"

    @property
    def cracks(self) -> list[Mapping[str, Any]]:
        """Cracks and bond gaps, each with `polylines_px` and `length_mm`."""
        cracks = list(self.truth.get("cracks", ()))
        listed = {c["id"] for c in cracks}  # bond gaps repeat their entry among the cracks
        return cracks + [
            gap
            for gap in self.truth.get("bond_gaps", ())
            if gap.get("crack_id", gap.get("id")) not in listed
        ]

    def options(self) -> MeasureOptions:
        """What a user who knows the mark and the part would tell the program."""
        marker = self.truth["markers"][0] if self.truth["markers"] else None
        return MeasureOptions(view=self.truth["view"], scale=_request(self.truth, marker))


def _request(truth: Mapping[str, Any], marker: Mapping[str, Any] | None) -> ScaleRequest:
    radius = truth.get("radius_mm") if truth["view"] == "face" else None
    if marker is None:
        return ScaleRequest(edge_radius_mm=radius)
    kind = marker["kind"]
    if kind.startswith(("aruco", "apriltag")):
        size = marker["size_mm"]
        return ScaleRequest(kind="squares", size_mm=size, edge_radius_mm=radius)
    if "rule" in kind:
        return ScaleRequest(kind="rule", size_mm=marker["pitch_mm"], edge_radius_mm=radius)
    if "dot" in kind:
        return ScaleRequest(
            kind="two_dots", size_mm=_dots_mm(marker, truth), edge_radius_mm=radius
        )
    return ScaleRequest(edge_radius_mm=radius)


def _dots_mm(marker: Mapping[str, Any], truth: Mapping[str, Any]) -> float:
    """Centre distance: the mark's size, or the distance between two marks of one dot each."""
    if len(truth["markers"]) == 1 or "corners_world_mm" not in marker:
        return float(marker["size_mm"])
    centres = [np.mean(m["corners_world_mm"], axis=0) for m in truth["markers"][:2]]
    return float(np.linalg.norm(centres[0] - centres[1]))


def cases_in(folder: Path) -> Iterator[Case]:
    """Every photo of a folder that has a truth file beside it, by name."""
    for path in sorted(folder.glob("*.json")):
        truth = json.loads(path.read_text(encoding="utf-8"))
        if isinstance(truth, dict) and "file" in truth and "expected" in truth:
            yield Case(path=folder / truth["file"], truth=truth)


@dataclass(frozen=True, slots=True, kw_only=True)
class CrackScore:
    """Cracks found in one photo; lengths in mm, one entry a true crack that was met."""

    found_mm: float
    present_mm: float
    false_findings: int
    relative_errors: tuple[float, ...]
    inside_95: tuple[bool, ...]


def score_cracks(case: Case, measurement: Measurement) -> CrackScore:
    """Match proposals to true cracks within the larger of 4 px and 0.15 mm."""
    assert measurement.scale is not None
    reach_px = max(4.0, 0.15 / measurement.scale.mm_per_px)
    lines = [f for f in measurement.findings if f.kind in ("crack", "bond_gap")]
    truths = [_dense(c["polylines_px"]) for c in case.cracks]
    false = sum(not _lies_on(f, truths, reach_px) for f in lines)
    found, present, errors, inside = 0.0, 0.0, [], []
    for crack, points in zip(case.cracks, truths, strict=True):
        present += crack["length_mm"]
        mine = [f for f in lines if _lies_on(f, [points], reach_px)]
        if not mine:
            continue
        tree = cKDTree(np.vstack([_dense(f.lines_px) for f in mine]))
        found += crack["length_mm"] * float(np.mean(tree.query(points)[0] <= reach_px))
        lengths = [f.quantities["length"] for f in mine]
        value = sum(q.value for q in lengths)
        spread = 1.96 * sum(q.u for q in lengths)
        errors.append((value - crack["length_mm"]) / crack["length_mm"])
        inside.append(abs(value - crack["length_mm"]) <= spread)
    return CrackScore(
        found_mm=found, present_mm=present, false_findings=false,
        relative_errors=tuple(errors), inside_95=tuple(inside),
    )  # fmt: skip


def _dense(lines: Any, *, step_px: float = 1.0) -> Points:
    pieces = []
    for line in lines:
        points = np.asarray(line, dtype=np.float64)
        along = np.concatenate([[0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))])
        at = np.arange(0, along[-1] + step_px, step_px)
        pieces.append(np.column_stack([np.interp(at, along, p) for p in points.T]))
    return np.vstack(pieces)


def _lies_on(finding: Finding, truths: list[Points], reach_px: float) -> bool:
    if not truths:
        return False
    tree = cKDTree(np.vstack(truths))
    return bool(np.mean(tree.query(_dense(finding.lines_px))[0] <= reach_px) >= 0.5)


@dataclass(frozen=True, slots=True, kw_only=True)
class AreaScore:
    """Crumbling in one photo: areas in mm², overlap as intersection over union."""

    true_mm2: float
    measured_mm2: float
    overlap: float
    false_findings: int
    inside_95: bool


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
    total = measurement.totals["crumbling_area"]
    true_mm2 = float(case.truth["total_crumbling_area_mm2"])
    value, u = (total.value, total.u) if hasattr(total, "value") else (np.nan, 0.0)
    return AreaScore(
        true_mm2=true_mm2, measured_mm2=value,
        overlap=float(np.sum(true & found)) / union if union else 1.0,
        false_findings=int(false), inside_95=bool(abs(value - true_mm2) <= 1.96 * u),
    )  # fmt: skip


def _filled(polygons: list[Any], shape: tuple[int, int]) -> NDArray[np.bool_]:
    canvas = np.zeros(shape, np.uint8)
    for polygon in polygons:
        cv2.fillPoly(canvas, [np.round(np.asarray(polygon)).astype(np.int32)], (1,))
    return canvas.astype(bool)
