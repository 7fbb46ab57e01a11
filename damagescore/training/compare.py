"""What a trainee drew, compared with what was agreed."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import linear_sum_assignment
from scipy.spatial import cKDTree

from damagescore.damage.record import Finding
from damagescore.photo.along import places_along
from damagescore.photo.outline import fill_outline
from damagescore.training.library import Entry, size_of

REACH_MM = 0.5
"""A drawn line is on an agreed one within this: what a hand with a mouse keeps to."""

REACH_PX = 8.0

MET_SHARE = 0.5
"""Lines match when half of each lies along the other, areas when twice what they share is half
of their sum (Dice 1945)."""

LINES = ("crack", "bond_gap")

Points = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Match:
    """One agreed finding that the trainee found.

    `size_error_percent` is None where either has no size.
    """

    agreed_id: str
    drawn: int
    kind_right: bool
    layer_right: bool
    size_error_percent: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Comparison:
    """Drawn against agreed findings.

    Parameters
    ----------
    matches : tuple of Match
    missed : tuple of str
        Ids of agreed findings that were not drawn.
    extra : tuple of int
        Positions of drawn findings that nobody agreed on.
    """

    matches: tuple[Match, ...]
    missed: tuple[str, ...]
    extra: tuple[int, ...]

    @property
    def found_share(self) -> float | None:
        """Share of the agreed findings that were found; None where there are none."""
        count = len(self.matches) + len(self.missed)
        return len(self.matches) / count if count else None

    def to_dict(self) -> dict[str, Any]:
        return {
            "matches": [
                {
                    "agreed_id": m.agreed_id, "drawn": m.drawn, "kind_right": m.kind_right,
                    "layer_right": m.layer_right, "size_error_percent": m.size_error_percent,
                }
                for m in self.matches
            ],
            "missed": list(self.missed),
            "extra": list(self.extra),
        }  # fmt: skip


def compare(drawn: Sequence[Finding], entry: Entry) -> Comparison:
    """Pair drawn with agreed findings, each once, so that most of their course is shared."""
    agreed = entry.findings
    shares = np.array([[_shared(d, a, entry) for a in agreed] for d in drawn])
    pairs = []
    if shares.size:
        rows, columns = linear_sum_assignment(-shares)
        pairs = [
            (d, a) for d, a in zip(rows, columns, strict=True) if shares[d, a] >= MET_SHARE
        ]
    met_drawn, met_agreed = {d for d, _ in pairs}, {a for _, a in pairs}
    return Comparison(
        matches=tuple(_match(int(d), drawn[d], agreed[a]) for d, a in pairs),
        missed=tuple(a.id for k, a in enumerate(agreed) if k not in met_agreed),
        extra=tuple(k for k in range(len(drawn)) if k not in met_drawn),
    )


def _match(place: int, drawn: Finding, agreed: Finding) -> Match:
    mine, true = size_of(drawn), size_of(agreed)
    comparable = drawn.kind == agreed.kind or (drawn.kind in LINES and agreed.kind in LINES)
    error = 100 * (mine / true - 1) if comparable and mine is not None and true else None
    return Match(
        agreed_id=agreed.id, drawn=place, kind_right=drawn.kind == agreed.kind,
        layer_right=drawn.layer == agreed.layer, size_error_percent=error,
    )  # fmt: skip


def _shared(drawn: Finding, agreed: Finding, entry: Entry) -> float:
    """Share of the course or area that two findings have in common; the smaller of the two."""
    if not len(drawn.points_px) or not len(agreed.points_px):
        return 0.0
    if drawn.polygon_px is not None and agreed.polygon_px is not None:
        return _shared_area(drawn.polygon_px, agreed.polygon_px)
    if drawn.polygon_px is not None or agreed.polygon_px is not None:
        return 0.0
    reach = max(REACH_PX, REACH_MM / entry.mm_per_px)
    a, b = places_along(drawn.lines_px), places_along(agreed.lines_px)
    mine = np.mean(cKDTree(b).query(a)[0] <= reach)
    true = np.mean(cKDTree(a).query(b)[0] <= reach)
    return float(min(mine, true))


def _shared_area(drawn: Points, agreed: Points) -> float:
    both = np.vstack([drawn, agreed])
    corner = np.floor(both.min(axis=0))
    # Outlines larger than this are compared at a smaller scale: shares do not change.
    shrink = min(1.0, 1000 / max(1.0, float(np.ptp(both, axis=0).max())))
    size = np.ceil((both.max(axis=0) - corner) * shrink).astype(int) + 2
    masks = []
    for polygon in (drawn, agreed):
        mask = np.zeros((size[1], size[0]), np.uint8)
        fill_outline(mask, (polygon - corner) * shrink, 1)
        masks.append(mask)
    areas = [int(mask.sum()) for mask in masks]
    return 2 * int((masks[0] & masks[1]).sum()) / max(sum(areas), 1)
