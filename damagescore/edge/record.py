"""The laminated edge as found: layers as curves and the mask that may be judged."""

import math
from dataclasses import dataclass
from functools import cached_property
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from damagescore.photo.outline import fill_outline, inside_outline
from damagescore.quantity import Quantity, quantity_from_dict

LayerKind = Literal["rubber", "shim"]
Points = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Layer:
    """One layer between two curves.

    Parameters
    ----------
    index : int
        Counted from the bottom of the photo, 0 first; in a stack that starts and
        ends with rubber the even ones are rubber.
    kind : "rubber" or "shim"
    upper_px, lower_px : ndarray, shape (N, 2)
        Bounding curves, left to right, in photo pixels.
    thickness : Measured or NotMeasured
        Mean thickness over the visible length, mm.
    """

    index: int
    kind: LayerKind
    upper_px: Points
    lower_px: Points
    thickness: Quantity

    @property
    def polygon_px(self) -> Points:
        """Closed outline, shape (N, 2): upper left to right, lower back."""
        return np.vstack([self.upper_px, self.lower_px[::-1]])

    def to_dict(self) -> dict[str, Any]:
        thickness = self.thickness.to_dict()
        return {
            "index": self.index,
            "kind": self.kind,
            "polygon_px": np.round(self.polygon_px, 2).tolist(),
            "thickness_mm": thickness["value"],
            "thickness": thickness,
            "upper_points": len(self.upper_px),
        }

    @classmethod
    def from_dict(cls, plain: dict[str, Any]) -> "Layer":
        polygon = np.array(plain["polygon_px"], dtype=np.float64).reshape(-1, 2)
        n_upper = plain["upper_points"]
        return cls(
            index=plain["index"],
            kind=plain["kind"],
            upper_px=polygon[:n_upper],
            lower_px=polygon[n_upper:][::-1],
            thickness=quantity_from_dict(plain["thickness"]),
        )


@dataclass(frozen=True, kw_only=True)
class Edge:
    """All layers of the exposed edge in one photo.

    Parameters
    ----------
    layers : tuple of Layer
        Ordered by index (bottom first).
    shape : tuple of int
        Photo height and width.
    keep_out_px : tuple of ndarray, shape (N, 2)
        Polygons that must not be judged, as the program found them (scale card, plate).
    direction_deg : float
        Direction of the layers from the photo's x axis, degrees, positive
        clockwise (y down).
    outline_px : ndarray, shape (N, 2), or None
        The part's outline against the background along the stack, in a profile
        view; None in a face view.
    region_px : ndarray, shape (N, 2), or None
        The inspector's region: nothing outside it is judged. None judges everywhere.
    drawn_keep_out_px : tuple of ndarray, shape (N, 2)
        Polygons that the inspector keeps from being judged.
    doubt : str
        Why the number of layers is not sure; empty where it is, or was told.
    by_hand : tuple of int, or None
        Boundaries that a person put, counted from the lowest, 0 first; may be empty, where
        layers were only taken out. None where the layers are as they were found.
    """

    layers: tuple[Layer, ...]
    shape: tuple[int, int]
    keep_out_px: tuple[Points, ...] = ()
    direction_deg: float = 0.0
    outline_px: Points | None = None
    region_px: Points | None = None
    drawn_keep_out_px: tuple[Points, ...] = ()
    doubt: str = ""
    by_hand: tuple[int, ...] | None = None

    @property
    def rubber(self) -> tuple[Layer, ...]:
        return tuple(x for x in self.layers if x.kind == "rubber")

    @property
    def shims(self) -> tuple[Layer, ...]:
        return tuple(x for x in self.layers if x.kind == "shim")

    @property
    def frame(self) -> tuple[Points, Points]:
        """Unit vectors of the photo along the layers (left to right) and across, downwards."""
        turn = math.radians(self.direction_deg)
        along = np.array([math.cos(turn), math.sin(turn)])
        return along, np.array([-along[1], along[0]])

    @cached_property
    def layer_map(self) -> NDArray[np.int16]:
        """Layer index at each pixel, -1 outside; shape (H, W)."""
        found = np.full(self.shape, -1, dtype=np.int16)
        for layer in self.layers:
            fill_outline(found, layer.polygon_px, layer.index)
        return found

    @cached_property
    def judged(self) -> NDArray[np.bool_]:
        """True on rubber that may be judged; shape (H, W)."""
        kept = np.zeros(self.shape, dtype=np.uint8)
        for layer in self.layers:  # in the order of `layer_map`: the later one has the border
            fill_outline(kept, layer.polygon_px, int(layer.kind == "rubber"))
        for polygon in (*self.keep_out_px, *self.drawn_keep_out_px):
            fill_outline(kept, polygon, 0)
        if self.region_px is not None:
            region = np.zeros(self.shape, dtype=np.uint8)
            fill_outline(region, self.region_px, 1)
            kept *= region
        return kept.view(np.bool_)

    def allows(self, points_px: Points) -> NDArray[np.bool_]:
        """Whether places (N, 2) lie in the region and in no area kept out, shape (N,)."""
        points = np.asarray(points_px, dtype=np.float64)
        free = np.ones(len(points), dtype=bool)
        if self.region_px is not None:
            free &= inside_outline(points, self.region_px)
        for polygon in (*self.keep_out_px, *self.drawn_keep_out_px):
            free &= ~inside_outline(points, polygon)
        return free

    def to_dict(self) -> dict[str, Any]:
        return {
            "layers": [x.to_dict() for x in self.layers],
            "shape": list(self.shape),
            "keep_out_px": [np.round(p, 2).tolist() for p in self.keep_out_px],
            "direction_deg": self.direction_deg,
            "outline_px": (
                None if self.outline_px is None else np.round(self.outline_px, 3).tolist()
            ),
            "region_px": (
                None if self.region_px is None else np.round(self.region_px, 2).tolist()
            ),
            "doubt": self.doubt,
            "drawn_keep_out_px": [np.round(p, 2).tolist() for p in self.drawn_keep_out_px],
            "by_hand": None if self.by_hand is None else list(self.by_hand),
        }

    @classmethod
    def from_dict(cls, plain: dict[str, Any]) -> "Edge":
        outline, region = plain.get("outline_px"), plain.get("region_px")
        by_hand = plain.get("by_hand")
        return cls(
            layers=tuple(Layer.from_dict(x) for x in plain["layers"]),
            shape=(plain["shape"][0], plain["shape"][1]),
            keep_out_px=tuple(np.array(p, dtype=np.float64) for p in plain["keep_out_px"]),
            direction_deg=plain["direction_deg"],
            outline_px=None if outline is None else np.array(outline, dtype=np.float64),
            region_px=None if region is None else np.array(region, dtype=np.float64),
            drawn_keep_out_px=tuple(
                np.array(p, dtype=np.float64) for p in plain.get("drawn_keep_out_px", ())
            ),
            doubt=plain.get("doubt", ""),
            by_hand=None if by_hand is None else tuple(by_hand),
        )
