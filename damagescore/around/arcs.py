"""Arcs on a circle in degrees: joined, cut, and what is left over.

An arc is (start, extent): it begins at `start`, 0 <= start < 360, and goes on in the sense
of rising angle for `extent`, 0 <= extent <= 360.
"""

from collections.abc import Iterable

Arc = tuple[float, float]
Span = tuple[float, float]

TURN = 360.0


def arc_between(start_deg: float, end_deg: float) -> Arc:
    """The arc from one angle to another that is not smaller; never more than a turn."""
    return start_deg % TURN, min(end_deg - start_deg, TURN)


def union(arcs: Iterable[Arc]) -> tuple[Arc, ...]:
    """Arcs that cover what the given ones cover together, apart from each other."""
    return _arcs(_joined(_spans(arcs)))


def complement(arcs: Iterable[Arc]) -> tuple[Arc, ...]:
    """What the arcs leave of the circle."""
    spans, reached = [], 0.0
    for start, end in _joined(_spans(arcs)):
        if start > reached:
            spans.append((reached, start))
        reached = max(reached, end)
    if reached < TURN:
        spans.append((reached, TURN))
    return _arcs(spans)


def intersection(some: Iterable[Arc], others: Iterable[Arc]) -> tuple[Arc, ...]:
    """What two sets of arcs both cover."""
    right = _joined(_spans(others))
    spans = [
        (max(a, c), min(b, d))
        for a, b in _joined(_spans(some))
        for c, d in right
        if min(b, d) > max(a, c)
    ]
    return _arcs(sorted(spans))


def difference(some: Iterable[Arc], others: Iterable[Arc]) -> tuple[Arc, ...]:
    """What the first arcs cover and the others do not."""
    return intersection(some, complement(others))


def total_deg(arcs: Iterable[Arc]) -> float:
    """Angle that the arcs cover together, overlaps counted once."""
    return sum(end - start for start, end in _joined(_spans(arcs)))


def narrowed(arc: Arc, by_deg: float) -> tuple[Arc, ...]:
    """The arc less an angle at each end; empty where nothing is left, whole where whole."""
    start, extent = arc
    if extent >= TURN:
        return (arc,)
    left = extent - 2 * by_deg
    return (((start + by_deg) % TURN, left),) if left > 0 else ()


def widened(arc: Arc, by_deg: float) -> Arc:
    """The arc with an angle more at each end, at most the whole circle."""
    start, extent = arc
    return arc_between(start - by_deg, start + extent + by_deg)


def covers(arcs: Iterable[Arc], angle_deg: float) -> bool:
    """Whether an angle lies in one of the arcs, ends included."""
    return any((angle_deg - start) % TURN <= extent for start, extent in arcs)


def apart_deg(one_deg: float, other_deg: float) -> float:
    """The shorter way between two angles, 0 to 180."""
    away = (one_deg - other_deg) % TURN
    return min(away, TURN - away)


def _spans(arcs: Iterable[Arc]) -> list[Span]:
    """Stretches of 0 to 360; an arc over the zero becomes two."""
    spans = []
    for start, extent in arcs:
        end = start + extent
        spans.append((start, min(end, TURN)))
        if end > TURN:
            spans.append((0.0, end - TURN))
    return spans


def _joined(spans: Iterable[Span]) -> list[Span]:
    joined: list[Span] = []
    for start, end in sorted(spans):
        if joined and start <= joined[-1][1]:
            joined[-1] = (joined[-1][0], max(joined[-1][1], end))
        elif end > start:
            joined.append((start, end))
    return joined


def _arcs(spans: list[Span]) -> tuple[Arc, ...]:
    """Stretches of 0 to 360, apart and rising, as arcs; one over the zero is whole."""
    if len(spans) > 1 and spans[0][0] <= 0.0 and spans[-1][1] >= TURN:
        first, last = spans[0], spans[-1]
        spans = [*spans[1:-1], (last[0], TURN + first[1])]
    return tuple((start, end - start) for start, end in spans)
