"""Read a folder of photos with exact truth beside them."""

import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from damagescore.measurement import MeasureOptions
from damagescore.photo.along import run_of
from damagescore.scale import ScaleRequest
from damagescore.scenes.fractures import Branch, outside

Points = NDArray[np.float64]
Record = Mapping[str, Any]


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """One photo with its truth."""

    path: Path
    truth: Mapping[str, Any]

    @property
    def good(self) -> bool:
        return bool(self.truth["expected"]["verdict"] == "ok")

    @property
    def cracks(self) -> list[Record]:
        """Cracks and bond gaps, each with `polylines_px` and `length_mm`, as far as seen."""
        cracks = list(self.truth.get("cracks", ()))
        listed = {c["id"] for c in cracks}  # bond gaps repeat their entry among the cracks
        gaps = [
            gap
            for gap in self.truth.get("bond_gaps", ())
            if gap.get("crack_id", gap.get("id")) not in listed
        ]
        return seen_apart(cracks + gaps)

    @property
    def seen_layers(self) -> list[Record]:
        """Rubber and shims that are in the photo."""
        return [x for x in self.truth["layers"] if x.get("in_image", True)]

    def options(self) -> MeasureOptions:
        """What a user who knows the mark and the part would tell the program."""
        marker = self.truth["markers"][0] if self.truth["markers"] else None
        return MeasureOptions(view=self.truth["view"], scale=_request(self.truth, marker))


def seen_apart(cracks: Sequence[Record]) -> list[Record]:
    """The cracks without what lies inside the opening of a darker or wider one.

    No photo shows a pale crack where a dark one is open, as within one crack no opening of
    its own is counted inside an earlier one (`fractures.outside`). A crack that is hidden
    altogether is left out; one that lies clear stays as it is written.
    """
    if len(cracks) < 2:
        return list(cracks)
    mm, px = (
        np.vstack([np.asarray(run) for c in cracks for run in c[key]])
        for key in ("polylines_mm", "polylines_px")
    )
    pixel_of = cKDTree(mm)
    order = sorted(
        range(len(cracks)),
        key=lambda k: (bool(cracks[k].get("faint")), -cracks[k]["width_max_mm"]),
    )
    made: dict[int, Record] = {}
    before: list[Branch] = []
    for k in order:
        own = [
            Branch(points_mm=np.asarray(run), widths_mm=np.asarray(widths))
            for run, widths in zip(
                cracks[k]["polylines_mm"], cracks[k]["widths_mm"], strict=True
            )
        ]
        seen = [part for run in own for part in outside(run, before)] if before else own
        whole = sum(len(run.points_mm) for run in own) == sum(len(x.points_mm) for x in seen)
        if seen:
            made[k] = cracks[k] if whole else _cut(cracks[k], seen, pixel_of, px)
        before += own
    return [made[k] for k in sorted(made)]


def _cut(crack: Record, seen: list[Branch], pixel_of: cKDTree, px: Points) -> Record:
    """A crack's record with only these runs of it."""
    return {
        **crack,
        "length_mm": sum(float(run_of(run.points_mm)[-1]) for run in seen),
        "branches": len(seen) - 1,
        "polylines_mm": [run.points_mm for run in seen],
        "polylines_px": [px[pixel_of.query(run.points_mm)[1]] for run in seen],
        "widths_mm": [run.widths_mm for run in seen],
    }


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
