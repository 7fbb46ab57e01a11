"""Read a folder of photos with exact truth beside them."""

import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from damagescore.measurement import MeasureOptions
from damagescore.scale import ScaleRequest


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """One photo with its truth."""

    path: Path
    truth: Mapping[str, Any]

    @property
    def good(self) -> bool:
        return bool(self.truth["expected"]["verdict"] == "ok")

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
