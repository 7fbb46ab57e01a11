"""Photos of the library with similar damage."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from damagescore.damage.record import FindingKind
from damagescore.training.library import Entry, size_of

KINDS: tuple[FindingKind, ...] = ("crack", "bond_gap", "crumbling", "bulge")


def signature_of(entry: Entry) -> NDArray[np.float64]:
    """Describe the damage of a photo by numbers, shape (18,).

    For each kind how many there are, the total and the largest size, each as log(1 + x),
    and how many layers have it; then the grade, and the share of the photo's width over
    which damage lies. Sizes are in mm or mm2, so photos of any distance compare.
    """
    numbers: list[float] = []
    for kind in KINDS:
        found = [f for f in entry.findings if f.kind == kind]
        sizes = [size for f in found if (size := size_of(f)) is not None]
        numbers += [
            np.log1p(len(found)),
            np.log1p(sum(sizes)),
            np.log1p(max(sizes, default=0.0)),
            np.log1p(len({f.layer for f in found})),
        ]
    return np.array([*numbers, float(entry.grade), _spread(entry)])


def _spread(entry: Entry) -> float:
    across = [f.points_px[:, 0] for f in entry.findings if len(f.points_px)]
    if not across:
        return 0.0
    places = np.concatenate(across)
    return float(np.ptp(places)) / entry.width


def most_similar(entry: Entry, others: Sequence[Entry], *, count: int = 6) -> tuple[Entry, ...]:
    """Return the entries whose damage is most like that of one, nearest first.

    Parameters
    ----------
    entry : Entry
    others : sequence of Entry
        The same photo in any version is left out.
    count : int
        At most this many.
    """
    candidates = [e for e in others if e.photo_sha256 != entry.photo_sha256]
    if not candidates:
        return ()
    table = np.array([signature_of(e) for e in candidates])
    own = signature_of(entry)
    spread = np.vstack([table, own]).std(axis=0)
    away = np.where(spread > 0, (table - own) / np.where(spread > 0, spread, 1.0), 0.0)
    order = np.argsort(np.hypot.reduce(away, axis=1), kind="stable")
    return tuple(candidates[k] for k in order[:count])
