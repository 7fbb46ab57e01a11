"""What was made of plain data is remembered as long as the data are the same objects.

A record that was edited shares all its data with the one before but for what was changed,
so that of 200 findings one is read, worded and sent anew.
"""

from collections.abc import Callable, Hashable
from dataclasses import replace
from typing import Any, Generic, TypeVar

from damagescore.damage.record import Finding
from damagescore.edge.record import Edge
from damagescore.measurement import Measurement

MOST = 6000
"""Objects remembered at once: as many findings as some photos with 200 each have."""


T = TypeVar("T")


class Known(Generic[T]):
    """Results by the identity of what they were made from.

    Parameters
    ----------
    make : callable
        Makes the result; called with the object and what else was given.
    most : int
        Objects remembered at once.
    """

    def __init__(self, make: Callable[..., T], *, most: int = MOST) -> None:
        self._make, self._most = make, most
        self._known: dict[Hashable, tuple[Any, T]] = {}

    def of(self, plain: Any, *also: Hashable) -> T:
        """Give the result for an object, which must not be changed afterwards."""
        key = (id(plain), *also)
        known = self._known.get(key)
        if known is not None and known[0] is plain:
            return known[1]
        made = self._make(plain, *also)
        if len(self._known) >= self._most:
            # Replaced as a whole, since threads share it.
            self._known = dict(list(self._known.items())[self._most // 2 :])
        # Kept with its object, so that no other one can take its place in memory.
        self._known[key] = (plain, made)
        return made


_findings: Known[Finding] = Known(Finding.from_dict)


def finding_from(plain: Any) -> Finding:
    """Read one finding of a record."""
    return _findings.of(plain)


def measurement_from(plain: Any) -> Measurement:
    """Read the measurement of a record; findings that were read before are not read again."""
    return _measurements.of(plain)


def _read(plain: Any) -> Measurement:
    found = Measurement.from_dict({**plain, "findings": (), "edge": None})
    findings = tuple(finding_from(f) for f in plain["findings"])
    return replace(found, edge=_edge_from(plain["edge"], plain["layers"]), findings=findings)


MOST_EDGES = 3
"""Each keeps the map of its layers, as large as its photo."""

_edges: dict[int, tuple[Any, Any, Edge]] = {}


def _edge_from(frame: Any, layers: Any) -> Edge | None:
    """Read the layers; an edit of a finding leaves them, so their map is drawn once."""
    if frame is None:
        return None
    known = _edges.get(id(layers))
    if known is not None and known[0] is layers and known[1] is frame:
        return known[2]
    edge = Edge.from_dict({**frame, "layers": layers})
    for oldest in list(_edges)[: 1 - MOST_EDGES]:
        _edges.pop(oldest, None)
    _edges[id(layers)] = (layers, frame, edge)
    return edge


MOST_MEASUREMENTS = 4
"""Each holds its layers and their map, as large as its photo: as many as photos are kept
decoded, and the one before the last edit."""

_measurements: Known[Measurement] = Known(_read, most=MOST_MEASUREMENTS)
