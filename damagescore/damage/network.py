"""From a mask of line-like places to ordered paths: thin, link, order."""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import labeled_comprehension
from scipy.sparse import coo_matrix, csr_matrix
from scipy.sparse.csgraph import connected_components, dijkstra
from skimage.morphology import skeletonize

Mask = NDArray[np.bool_]
Points = NDArray[np.float64]
Indices = NDArray[np.intp]
Image = NDArray[np.float32]

PALE = 0.5
"""Long lines whose darkness differs by more than this share are not one crack."""

PALER = 0.48
"""Nor are a line and what meets it where that is so much paler over most of its length."""

LOOP_SHARE = 1.4
"""A side of a loop must be this many times as long as the shortest branch."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Paths:
    """One connected network: its longest path first, then its branches.

    Each path is an ordered array (N, 2) of (column, row); a branch starts on
    the path that it starts from, and ends on one where it closes a loop.
    """

    lines: tuple[Points, ...]


def thin(mask: Mask) -> Mask:
    """One-pixel skeleton."""
    return np.asarray(skeletonize(mask), np.bool_)  # type: ignore[no-untyped-call]


def networks(skeleton: Mask, *, shortest_branch_px: float) -> list[Paths]:
    """Order every connected piece of a skeleton."""
    places, graph = _graph(skeleton)
    if len(places) == 0:
        return []
    count, label = connected_components(graph, directed=False)
    found = []
    for k in range(count):
        members = np.flatnonzero(label == k)
        if len(members) >= 3:
            part = csr_matrix(graph[members][:, members])
            found.append(_ordered(places[members], part, shortest_branch_px))
    return found


def _graph(skeleton: Mask) -> tuple[Points, csr_matrix]:
    rows, columns = np.nonzero(skeleton)
    index = np.full(np.array(skeleton.shape) + 2, -1, np.intp)
    index[rows + 1, columns + 1] = np.arange(len(rows))
    start, end, weight = [], [], []
    for dy, dx in ((0, 1), (1, 0), (1, 1), (1, -1)):
        other = index[rows + 1 + dy, columns + 1 + dx]
        both = other >= 0
        start.append(np.flatnonzero(both))
        end.append(other[both])
        weight.append(np.full(int(both.sum()), np.hypot(dx, dy)))
    a, b, w = (np.concatenate(x) for x in (start, end, weight))
    size = len(rows)
    graph = coo_matrix((np.tile(w, 2), (np.r_[a, b], np.r_[b, a])), shape=(size, size)).tocsr()
    return np.column_stack([columns, rows]).astype(np.float64), graph


def _ordered(places: Points, graph: csr_matrix, shortest_branch_px: float) -> Paths:
    # Two sweeps find the ends of the longest shortest path of a tree-like graph.
    first = int(np.argmax(dijkstra(graph, indices=0)))
    reach, came = dijkstra(graph, indices=first, return_predecessors=True)
    main = _back(came, int(np.argmax(reach)))
    lines, taken = [places[main]], list(main)
    while True:
        reach, came, _ = dijkstra(graph, indices=taken, return_predecessors=True, min_only=True)
        far = int(np.argmax(reach))
        if reach[far] < LOOP_SHARE * shortest_branch_px / 2:
            return Paths(lines=tuple(lines))
        branch = _back(came, far)[::-1]
        way_on = _way_on(graph, came, branch)
        if reach[far] >= shortest_branch_px or _closes(way_on, reach, shortest_branch_px):
            lines.append(places[np.concatenate([branch, way_on])])
        taken.extend(int(i) for i in (*branch, *way_on))


def _closes(way_on: Indices, reach: Points, shortest_branch_px: float) -> bool:
    """Whether a loop's two halves are together long enough to be more than a pinhole."""
    return bool(len(way_on) and 2 * reach[way_on[0]] >= LOOP_SHARE * shortest_branch_px)


def _back(came: NDArray[np.int32], last: int) -> Indices:
    path = [last]
    while came[path[-1]] >= 0:
        path.append(int(came[path[-1]]))
    return np.array(path, dtype=np.intp)


def _way_on(graph: csr_matrix, came: NDArray[np.int32], branch: Indices) -> Indices:
    """The other half of a loop whose farthest place ends a branch; empty at a tip.

    Two ways from the paths before meet there: the branch goes on along the other.
    """
    far = branch[-1]
    beside = graph.indices[graph.indptr[far] : graph.indptr[far + 1]]
    ways = [_back(came, int(k)) for k in beside if k not in branch]
    apart = [w for w in ways if not np.isin(w[:-1], branch).any()]
    return max(apart, key=len, default=branch[:0])


@dataclass(frozen=True, slots=True, kw_only=True)
class Tip:
    """A loose end of a skeleton piece: its place and outward direction."""

    piece: int
    place: Points
    outward: Points


def link(
    skeleton: Mask,
    support: Image,
    *,
    reach_px: float,
    least: float,
    darkness: Image | None = None,
) -> Mask:
    """Join pieces of a skeleton across gaps where the way ahead is dark enough.

    A tip is joined to the nearest point of another piece inside its forward cone
    (45 degrees to each side) and within reach, when the median of `support` along
    the straight link is at least `least`. Where `darkness` is given, two long pieces
    of which one is far paler (`PALE`) are two cracks and stay apart.
    """
    count, marked = cv2.connectedComponents(skeleton.astype(np.uint8), connectivity=8)
    label = np.asarray(marked, np.intp)
    joined = skeleton.astype(np.uint8)
    rows, columns = np.nonzero(skeleton)
    places = np.column_stack([columns, rows]).astype(np.float64)
    piece_of = label[rows, columns]
    if count <= 2:
        return skeleton
    root = np.arange(count)
    level, size = _levels(label, count, darkness)
    for _, tip, target, other in _reachable(_tips(skeleton, label), places, piece_of, reach_px):
        # Two pieces are joined once, at their nearest ends: a second link would make a loop.
        if root[tip.piece] == root[other] or _median_along(support, tip.place, target) < least:
            continue
        if _two_cracks(level[[tip.piece, other]], size[[tip.piece, other]], 2 * reach_px):
            continue
        a, b = ([int(c) for c in p] for p in (tip.place, target))
        cv2.line(joined, a, b, 1)
        root[root == root[other]] = root[tip.piece]
    return thin(joined.astype(bool))


def _levels(
    label: Indices, count: int, darkness: Image | None
) -> tuple[NDArray[np.float64], NDArray[np.intp]]:
    """Median darkness (1 where none is given) and number of places of every piece."""
    size = np.bincount(label.ravel(), minlength=count)
    level = np.ones(count)
    if darkness is not None:
        on = label > 0
        level[1:] = labeled_comprehension(
            darkness[on], label[on], np.arange(1, count), np.median, float, 0.0
        )
    return level, size


def _two_cracks(level: NDArray[np.float64], size: NDArray[np.intp], least_px: float) -> bool:
    return bool(size.min() >= least_px and level.min() < PALE * level.max())


def crossings(skeleton: Mask, darkness: Image, *, least_px: float) -> Mask:
    """Long pale stretches that meet a far darker crack: they are another one.

    One crack is about as dark all along, but for its tips. A stretch between two
    meeting points that is longer than `least_px`, and over three quarters of it paler than
    `PALER` times the darkest long stretch of its network, belongs to another crack; so do
    the points where only such stretches meet. Of 200 branches of 0.8 mm and more in scenes
    none was as pale, and all five stretches of crossing cracks.
    """
    near = cv2.filter2D(
        skeleton.astype(np.uint8), -1, np.ones((3, 3)), borderType=cv2.BORDER_CONSTANT
    )
    meeting = (skeleton & (near > 3)).astype(np.uint8)
    other = np.zeros(skeleton.shape, bool)
    if not meeting.any():
        return other
    zone = skeleton & (cv2.dilate(meeting, np.ones((3, 3), np.uint8)) > 0)
    count, part = cv2.connectedComponents((skeleton & ~zone).astype(np.uint8), connectivity=8)
    _, whole = cv2.connectedComponents(skeleton.astype(np.uint8), connectivity=8)
    stretches = [np.flatnonzero(part.ravel() == k) for k in range(1, count)]
    long = [x for x in stretches if len(x) >= least_px]
    home = [int(whole.ravel()[x[0]]) for x in long]
    usual = [float(np.median(darkness.ravel()[x])) for x in long]
    dark = [float(np.quantile(darkness.ravel()[x], 0.75)) for x in long]
    for k, place in enumerate(long):
        darkest = max(u for u, h in zip(usual, home, strict=True) if h == home[k])
        if dark[k] < PALER * darkest:
            other.ravel()[place] = True
    return _with_own_meetings(other, skeleton, zone) if other.any() else other


def _with_own_meetings(other: Mask, skeleton: Mask, zone: Mask) -> Mask:
    """The pale stretches with the places where nothing but such stretches meet."""
    count, label = cv2.connectedComponents(zone.astype(np.uint8), connectivity=8)
    ring = cv2.dilate((skeleton & ~zone & ~other).astype(np.uint8), np.ones((3, 3), np.uint8))
    met = np.unique(label[zone & (ring > 0)])
    own = ~np.isin(np.arange(count), met)
    own[0] = False
    return np.asarray(other | own[label])


def _reachable(
    tips: list[Tip], places: Points, piece_of: Indices, reach_px: float
) -> list[tuple[float, Tip, Points, int]]:
    """Possible links (distance, tip, place, piece), nearest first."""
    found = []
    for tip in tips:
        target = _ahead(tip, places, piece_of, reach_px)
        if target is not None:
            distance = float(np.hypot(*(places[target] - tip.place)))
            found.append((distance, tip, places[target], int(piece_of[target])))
    return sorted(found, key=lambda link: link[0])


def _tips(skeleton: Mask, label: Indices) -> list[Tip]:
    around = cv2.filter2D(
        skeleton.astype(np.uint8), -1, np.ones((3, 3)), borderType=cv2.BORDER_CONSTANT
    )
    ends = np.argwhere(skeleton & (around == 2))
    tips = []
    for row, column in ends:
        top, left = max(0, row - 12), max(0, column - 12)
        near = label[top : row + 13, left : column + 13] == label[row, column]
        centre = np.argwhere(near).mean(axis=0) + np.array([top, left])
        outward = np.array([column, row]) - centre[::-1]
        size = float(np.hypot(*outward))
        if size > 1:
            place = np.array([column, row], dtype=np.float64)
            tips.append(Tip(piece=int(label[row, column]), place=place, outward=outward / size))
    return tips


def _ahead(tip: Tip, places: Points, piece_of: Indices, reach_px: float) -> int | None:
    away = places - tip.place
    distance = np.hypot(*away.T)
    forward = away @ tip.outward
    fit = (piece_of != tip.piece) & (distance <= reach_px) & (forward >= 0.7 * distance)
    if not fit.any():
        return None
    return int(np.argmin(np.where(fit, distance, np.inf)))


def _median_along(image: Image, start: Points, end: Points) -> float:
    count = int(np.hypot(*(end - start))) + 2
    at = np.round(np.linspace(start, end, count)).astype(int)
    return float(np.median(image[at[:, 1], at[:, 0]]))
