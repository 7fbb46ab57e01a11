"""Layers put right by an inspector: a boundary moved, a shim added, a layer removed.

All are pure: they return another edge, numbered from the bottom anew. What the inspector
keeps from being judged stays, and layers whose boundaries did not move keep their thickness
with its budget. `Edge.by_hand` says which boundaries a person put.
"""

import math
from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from damagescore.edge.build import edge_from_curves, thickness_of
from damagescore.edge.record import Edge, Layer
from damagescore.errors import EdgeError
from damagescore.quantity import Measured
from damagescore.scale.record import Scale

Points = NDArray[np.float64]

HAND_NOISE_PX = 1.0
"""How well a hand lays a boundary, k = 1: about a click. Common practice, no source."""

FOUND_NOISE_PX = 0.3
"""The same of a boundary that the program found."""


def boundaries_of(edge: Edge) -> list[Points]:
    """Boundaries (N, 2) of the stack from the lowest up; layer k lies between k and k + 1."""
    return [edge.layers[0].lower_px, *(x.upper_px for x in edge.layers)]


def correct_layer(
    edge: Edge,
    scale: Scale,
    index: int,
    *,
    upper_px: Points | None = None,
    lower_px: Points | None = None,
) -> Edge:
    """Replace a wrong boundary of one layer; its neighbour follows.

    Parameters
    ----------
    edge : Edge
    scale : Scale
    index : int
        Layer whose boundary is replaced.
    upper_px, lower_px : ndarray, shape (N, 2), or None
        The new boundary, in any order; None keeps the old one.

    Raises
    ------
    EdgeError
        For an unknown layer, a line with fewer than two points, or one that leaves the
        layer or its neighbour no thickness.
    """
    place = _place(edge, index)
    curves, hand = boundaries_of(edge), _by_hand(edge)
    for at, line in ((place, lower_px), (place + 1, upper_px)):
        if line is not None:
            curves[at], hand[at] = _ordered(line, edge), True
    return _rebuilt(edge, scale, curves, hand)


def add_shim(
    edge: Edge,
    scale: Scale,
    *,
    upper_px: Points,
    lower_px: Points,
    outer_px: Points | None = None,
) -> Edge:
    """Add a shim that was not found: it parts the rubber layer in which it lies.

    Parameters
    ----------
    edge : Edge
    scale : Scale
    upper_px, lower_px : ndarray, shape (N, 2)
        The two sides of the shim, in any order.
    outer_px : ndarray, shape (N, 2), or None
        Where the shim lies beyond the stack: the far side of the rubber behind it.

    Raises
    ------
    EdgeError
        Where the shim crosses a boundary, lies in another shim, or lies beyond the stack
        and no `outer_px` is given.
    """
    upper, lower = (_ordered(x, edge) for x in (upper_px, lower_px))
    if _height(upper, edge) > _height(lower, edge):
        upper, lower = lower, upper
    curves, hand = boundaries_of(edge), _by_hand(edge)
    middle = (_height(upper, edge) + _height(lower, edge)) / 2
    below = sum(_height(c, edge) > middle for c in curves)
    if 0 < below < len(curves):
        return _rebuilt(
            edge, scale, [*curves[:below], lower, upper, *curves[below:]],
            [*hand[:below], True, True, *hand[below:]],
        )  # fmt: skip
    if outer_px is None:
        raise EdgeError(
            "The shim lies beyond the stack.",
            remedy="Draw the far side of the rubber layer behind it as well.",
        )
    # The stack's end was the near side of this shim: the drawn one takes its place.
    outer = _ordered(outer_px, edge)
    drawn = [True, True, True]
    if below:
        return _rebuilt(edge, scale, [*curves[:-1], lower, upper, outer], [*hand[:-1], *drawn])
    return _rebuilt(edge, scale, [outer, lower, upper, *curves[1:]], [*drawn, *hand[1:]])


def remove_layer(edge: Edge, scale: Scale, index: int) -> Edge:
    """Remove a layer that is none.

    A shim's two neighbours become one rubber layer. With an outermost rubber layer goes the
    shim beside it: the stack then ends with the next rubber layer.

    Raises
    ------
    EdgeError
        For an unknown layer, a rubber layer between two shims, or where too little is left.
    """
    place, last = _place(edge, index), len(edge.layers) - 1
    curves, hand = boundaries_of(edge), _by_hand(edge)
    if edge.layers[place].kind == "shim" and 0 < place < last:
        return _rebuilt(
            edge, scale, [*curves[:place], *curves[place + 2 :]],
            [*hand[:place], *hand[place + 2 :]],
        )  # fmt: skip
    if place not in (0, last):
        raise EdgeError(
            f"Layer {index} is rubber between two shims, so it cannot go alone.",
            remedy="Remove the shim above or below it: its neighbours become one layer.",
        )
    if len(edge.layers) < 4:
        raise EdgeError(
            f"Without layer {index} too little of the stack is left.",
            remedy="Draw the layers anew.",
        )
    if place == 0:
        return _rebuilt(edge, scale, curves[2:], hand[2:])
    return _rebuilt(edge, scale, curves[:-2], hand[:-2])


def on_scale(edge: Edge, scale: Scale, *, before: Scale) -> Edge:
    """The same boundaries on another scale of the photo: only the thicknesses change.

    Parameters
    ----------
    edge : Edge
        Its thicknesses are measured anew, each boundary known as well as before.
    scale, before : Scale
        The new scale, and the one on which the layers were measured.
    """

    def again(layer: Layer) -> Layer:
        noise_px = _noise_px(layer, before)
        return replace(
            layer,
            thickness=thickness_of(
                layer.upper_px, layer.lower_px, scale, noise_px=(noise_px, 0.0)
            ),
        )

    return replace(edge, layers=tuple(again(x) for x in edge.layers))


def _noise_px(layer: Layer, scale: Scale) -> float:
    """Noise of both boundaries together, from the budget of the thickness."""
    mm_per_px = scale.surface.mm_per_px_at(layer.upper_px[len(layer.upper_px) // 2])
    budget = layer.thickness.budget if isinstance(layer.thickness, Measured) else ()
    known = [c.u / mm_per_px for c in budget if c.source == "boundary noise"]
    return known[0] if known else math.hypot(FOUND_NOISE_PX, FOUND_NOISE_PX)


def _by_hand(edge: Edge) -> list[bool]:
    """For each boundary, lowest first, whether a person put it."""
    return [k in (edge.by_hand or ()) for k in range(len(edge.layers) + 1)]


def _place(edge: Edge, index: int) -> int:
    position = {x.index: k for k, x in enumerate(edge.layers)}
    if index not in position:
        raise EdgeError(
            f"There is no layer {index}; this photo has layers "
            f"{edge.layers[0].index} to {edge.layers[-1].index}.",
            remedy="Name one of these.",
        )
    return position[index]


def _ordered(line_px: Points, edge: Edge) -> Points:
    line = np.asarray(line_px, dtype=np.float64).reshape(-1, 2)
    if len(line) < 2:
        raise EdgeError(
            f"A boundary needs at least two points, {len(line)} given.",
            remedy="Click along the whole boundary.",
        )
    return line[np.argsort(line @ edge.frame[0], kind="stable")]


def _height(curve: Points, edge: Edge) -> float:
    """Mean position of a curve across the layers, down the photo."""
    return float((curve @ edge.frame[1]).mean())


def _rebuilt(edge: Edge, scale: Scale, curves: Sequence[Points], hand: Sequence[bool]) -> Edge:
    """The edge with other boundaries; layers between two old ones keep what was measured."""
    _check_order(edge, curves)
    made = edge_from_curves(
        curves, scale, shape=edge.shape, direction_deg=edge.direction_deg,
        first_kind=edge.layers[0].kind,
        noise_px=[HAND_NOISE_PX if h else FOUND_NOISE_PX for h in hand],
    )  # fmt: skip
    layers = tuple(_kept(x, edge) for x in made.layers)
    drawn = tuple(k for k, h in enumerate(hand) if h)
    # A person has looked at them, so there is no doubt left.
    return replace(edge, layers=layers, doubt="", by_hand=drawn)


def _kept(layer: Layer, edge: Edge) -> Layer:
    """The old layer between the same two curves where there is one, under the new index."""
    for old in edge.layers:
        same = np.array_equal(old.upper_px, layer.upper_px)
        same = same and np.array_equal(old.lower_px, layer.lower_px)
        if same and old.kind == layer.kind:
            return old if old.index == layer.index else replace(old, index=layer.index)
    return layer


def _check_order(edge: Edge, curves: Sequence[Points]) -> None:
    """Raise EdgeError where a changed boundary does not lie above the one before it.

    Two that crossed before are no fault of this correction; they may be its next one.
    """
    old = {(id(a), id(b)) for a, b in pairwise(boundaries_of(edge))}
    frame = np.column_stack(edge.frame)
    for k, pair in enumerate(pairwise(curves)):
        if (id(pair[0]), id(pair[1])) in old:
            continue
        lower, upper = (c @ frame for c in pair)
        at = np.linspace(max(lower[0, 0], upper[0, 0]), min(lower[-1, 0], upper[-1, 0]), 50)
        gap = np.interp(at, *lower.T) - np.interp(at, *upper.T)
        if float(np.median(gap)) <= 0:
            raise EdgeError(
                f"The boundaries above and below layer {k} would cross.",
                remedy="Draw the boundary between its two neighbours.",
            )
