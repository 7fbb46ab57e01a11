"""The same finding again: paired over time, with its growth and what that growth shows."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import linear_sum_assignment
from scipy.spatial import cKDTree

from damagescore.damage.record import Finding
from damagescore.history.edge_view import EdgeView
from damagescore.history.register import Registration
from damagescore.photo.along import at_run, run_of
from damagescore.quantity import Contribution, Measured, Quantity, from_budget
from damagescore.scale.record import Scale

Points = NDArray[np.float64]
State = Literal["new", "grown", "unchanged", "shorter", "no_longer_seen", "out_of_view"]

STATE_WORDS: Mapping[State, str] = {
    "new": "new",
    "grown": "grown",
    "unchanged": "unchanged",
    "shorter": "reads smaller",
    "no_longer_seen": "no longer seen",
    "out_of_view": "not in view",
}

SIGNIFICANT = 1.645
"""Standard uncertainties of a difference beyond which growth is shown: 5 % one-sided."""

SIGNIFICANCE_TEXT = (
    "Grown: longer by more than 1.645 standard uncertainties of the difference (5 % one-sided, "
    "for each finding by itself)."
)

NEAR_MM = 1.0
"""The shorter of two lines runs within this of the longer one where they are the same."""

SIZE_OF: Mapping[str, str] = {"crack": "length", "bond_gap": "length", "crumbling": "area"}

SHARED_SOURCES = ("printed size", "place of the printed edge")
"""Lines of a scale's budget that one and the same printed mark gives to every photo."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Pair:
    """One finding at two times.

    Parameters
    ----------
    state : str
    before, after : Finding or None
    growth : Measured or None
        After less before, where both were measured.
    layer : int or None
    along_mm : float
        Middle of it along the first photo's edge.
    """

    state: State
    before: Finding | None
    after: Finding | None
    growth: Measured | None
    layer: int | None
    along_mm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Side:
    """One of two photos: its flat view and the findings that count."""

    view: EdgeView
    findings: tuple[Finding, ...]


def pair_findings(first: Side, second: Side, registration: Registration) -> tuple[Pair, ...]:
    """Pair the findings of two registered photos.

    Findings of one kind and layer are the same where the smaller runs along the larger
    within 1 mm, each taken once, so that the sum of distances is least.
    """
    size_b = len(second.findings)
    placed_a = [_placed(f, first.view) for f in first.findings]
    carried = [_carried(p, registration) for p in placed_a]
    placed_b = [_placed(f, second.view) for f in second.findings]
    matched: dict[int, int] = {}
    if carried and placed_b:
        cost = np.array(
            [
                [_distance(f, a, g, b) for g, b in zip(second.findings, placed_b, strict=True)]
                for f, a in zip(first.findings, carried, strict=True)
            ]
        )
        rows, columns = linear_sum_assignment(np.minimum(cost, 10 * NEAR_MM))
        matched = {
            int(i): int(j) for i, j in zip(rows, columns, strict=True) if cost[i, j] <= NEAR_MM
        }
    pairs = [
        _both(f, second.findings[matched[i]], placed_a[i], first.view.scale, second.view.scale)
        if i in matched
        else _only_before(f, placed_a[i], registration)
        for i, f in enumerate(first.findings)
    ]
    back = _inverse(registration)
    pairs += [
        _only_after(second.findings[j], _carried(placed_b[j], back), registration)
        for j in range(size_b)
        if j not in matched.values()
    ]
    return tuple(pairs)


def growth_of(
    before: Quantity, after: Quantity, *, scales: tuple[Scale, Scale]
) -> Measured | None:
    """Difference of a size at two times; None where either was not measured.

    What both scales have in common (the same printed mark) acts on the difference alone;
    all else is independent (GUM 5.2.2).

    Parameters
    ----------
    before, after : Measured or NotMeasured
    scales : tuple of Scale
        Of the two photos.
    """
    if not isinstance(before, Measured) or not isinstance(after, Measured):
        return None
    shared = shared_relative(*scales)
    difference = after.value - before.value
    power = 2 if after.unit == "mm2" else 1
    own = [
        math.sqrt(max(m.u**2 - (power * shared * m.value) ** 2, 0.0)) for m in (before, after)
    ]
    lines = (
        Contribution(source="earlier photo", u=own[0]),
        Contribution(source="later photo", u=own[1]),
        Contribution(source="mark that both photos share", u=abs(power * shared * difference)),
    )
    return from_budget(difference, lines, unit=after.unit)


def shared_relative(first: Scale, second: Scale) -> float:
    """Relative uncertainty that two scales have in common: that of the same printed mark."""
    marks = [{(m.kind, m.id, m.size_mm) for m in s.marks} for s in (first, second)]
    if not marks[0] or marks[0] != marks[1]:
        return 0.0
    lines = [
        math.hypot(*(c.u for c in s.budget if c.source in SHARED_SOURCES))
        for s in (first, second)
    ]
    return min(lines)


def state_of_growth(growth: Measured | None) -> State:
    """What a difference shows."""
    if growth is None:
        return "unchanged"
    if growth.value > SIGNIFICANT * growth.u:
        return "grown"
    return "shorter" if growth.value < -SIGNIFICANT * growth.u else "unchanged"


def _placed(finding: Finding, view: EdgeView) -> Points:
    points = finding.points_px
    return view.place(points) if len(points) else np.zeros((0, 2))


def _carried(points: Points, registration: Registration) -> Points:
    if not len(points):
        return points
    return np.column_stack([registration.carry(points[:, 0]), points[:, 1]])


def _inverse(registration: Registration) -> Registration:
    return Registration(
        stretch=1 / registration.stretch,
        shift_mm=-registration.shift_mm / registration.stretch,
        u_mm=registration.u_mm, n_matches=registration.n_matches,
        overlap_mm=registration.overlap_mm,
    )  # fmt: skip


def _distance(f: Finding, a: Points, g: Finding, b: Points) -> float:
    """Mean distance from the smaller to the larger, mm; huge where they cannot be the same."""
    if f.kind != g.kind or f.layer != g.layer or not len(a) or not len(b):
        return 1e6
    fine_a, fine_b = _dense(a), _dense(b)
    small, large = (fine_a, fine_b) if np.ptp(a[:, 0]) <= np.ptp(b[:, 0]) else (fine_b, fine_a)
    return float(np.mean(cKDTree(large).query(small)[0]))


def _dense(points: Points) -> Points:
    """Points about every 0.1 mm along a line; jumps between branches stay coarse enough."""
    long_mm = run_of(points)[-1]
    return at_run(points, np.linspace(0, long_mm, max(2, min(2000, round(long_mm / 0.1)))))


def _size(finding: Finding) -> Quantity | None:
    return finding.quantities.get(SIZE_OF.get(finding.kind, ""))


def _both(before: Finding, after: Finding, at: Points, scale: Scale, later: Scale) -> Pair:
    sizes = _size(before), _size(after)
    growth = None
    if sizes[0] is not None and sizes[1] is not None:
        growth = growth_of(sizes[0], sizes[1], scales=(scale, later))
    return Pair(
        state=state_of_growth(growth), before=before, after=after, growth=growth,
        layer=after.layer, along_mm=_middle(at),
    )  # fmt: skip


def _only_before(before: Finding, at: Points, registration: Registration) -> Pair:
    inside = _inside(at, registration.overlap_mm)
    return Pair(
        state="no_longer_seen" if inside else "out_of_view", before=before, after=None,
        growth=None, layer=before.layer, along_mm=_middle(at),
    )  # fmt: skip


def _only_after(after: Finding, at: Points, registration: Registration) -> Pair:
    """What was not in the first photo's view is not called new."""
    inside = _inside(at, registration.overlap_mm)
    return Pair(
        state="new" if inside else "out_of_view", before=None, after=after, growth=None,
        layer=after.layer, along_mm=_middle(at),
    )  # fmt: skip


def _middle(at: Points) -> float:
    return float((at[:, 0].min() + at[:, 0].max()) / 2) if len(at) else math.nan


def _inside(at: Points, span: tuple[float, float]) -> bool:
    if not len(at):
        return True
    return bool(np.mean((at[:, 0] >= span[0]) & (at[:, 0] <= span[1])) > 0.5)


def sorted_pairs(pairs: Sequence[Pair]) -> list[Pair]:
    """New and grown ones first, then by place."""
    order = list(STATE_WORDS)
    return sorted(pairs, key=lambda p: (order.index(p.state), p.layer or 0, p.along_mm))
