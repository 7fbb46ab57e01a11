"""Sites of a detection study from photos whose damage is known exactly."""

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from damagescore.capability.detection import Origin, Site
from damagescore.damage.record import Finding
from damagescore.photo.along import places_along

Points = NDArray[np.float64]

REACH_PX, REACH_MM = 4.0, 0.15
"""A finding is on a crack within the larger of these."""

MET_SHARE = 0.5
"""A crack counts as found when half of its length is."""

LINES = ("crack", "bond_gap")


def sites_of_photo(
    truth: Mapping[str, Any],
    findings: Sequence[Finding],
    *,
    mm_per_px: float,
    origin: Origin = "rendered",
) -> tuple[Site, ...]:
    """Compare what was found in one photo with its truth.

    Parameters
    ----------
    truth : mapping
        With "cracks" (each "polylines_px" and "length_mm") and "layers" ("index", "kind"),
        as the scene generator writes it beside each photo; cracks name their "layer".
    findings : sequence of Finding
        Lines only count; rejected ones are to be left out.
    mm_per_px : float
    origin : "rendered" or "prepared"

    Returns
    -------
    tuple of Site
        One for each crack, with the found length in mm as its signal; one without damage
        for each rubber layer that has no damage of any kind, called when a line is in it.
    """
    reach = max(REACH_PX, REACH_MM / mm_per_px)
    lines = [f for f in findings if f.kind in LINES]
    dense = [places_along(f.lines_px) for f in lines]
    tree = cKDTree(np.vstack(dense)) if dense else None
    sites = [_crack_site(crack, tree, reach, origin) for crack in truth.get("cracks", ())]
    called = {f.layer for f in lines}
    sites += [
        Site(size_mm=None, found=index in called, origin=origin)
        for index in _sound_layers(truth)
    ]
    return tuple(sites)


def _crack_site(
    crack: Mapping[str, Any], tree: "cKDTree | None", reach: float, origin: Origin
) -> Site:
    size = float(crack["length_mm"])
    along = places_along(crack["polylines_px"])
    met = 0.0 if tree is None else float(np.mean(tree.query(along)[0] <= reach))
    return Site(size_mm=size, found=met >= MET_SHARE, signal=met * size, origin=origin)


def _sound_layers(truth: Mapping[str, Any]) -> list[int]:
    damaged: set[Any] = set()
    for name in ("cracks", "bond_gaps", "crumbling"):
        damaged |= {d.get("layer") for d in truth.get(name, ())}
    return [
        layer["index"]
        for layer in truth.get("layers", ())
        if layer["kind"] == "rubber" and layer["index"] not in damaged
    ]
