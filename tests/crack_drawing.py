"""Draw rubber with known cracks on it, for the tests of lines."""

import math
from collections.abc import Sequence

import cv2
import numpy as np

from damagescore.edge.record import Edge, Layer
from damagescore.photo.record import CameraFacts, Photo
from damagescore.quantity import Measured
from damagescore.scale.record import Scale, SurfaceMap

MM_PER_PX = 0.04
RUBBER_LIGHT = 0.06  # linear reflectance times light: about 70 of 255 in code
FINE = 4


def scale_of(mm_per_px=MM_PER_PX, *, u_relative=0.002, centre_px=(300.0, 150.0)):
    """A flat scale, square on."""
    surface = SurfaceMap(px_to_mm=np.diag([mm_per_px, mm_per_px, 1.0]))
    return Scale(
        method="squares", surface=surface, centre_px=centre_px, u_relative=u_relative,
        tilt_deg=0.0, marks=(),
    )  # fmt: skip


def edge_of(shape, *, top=20.0, bottom=None, shims=True):
    """One rubber layer between two shims (or none), straight across the photo."""
    height, width = shape
    bottom = height - 20.0 if bottom is None else bottom
    known = Measured(value=1.0, u=0.01, unit="mm")
    levels = [("shim", top - 15, top), ("rubber", top, bottom), ("shim", bottom, bottom + 15)]
    layers = tuple(
        Layer(
            index=2 - k, kind=kind, thickness=known,
            upper_px=np.array([[0.0, a], [width - 1.0, a]]),
            lower_px=np.array([[0.0, b], [width - 1.0, b]]),
        )
        for k, (kind, a, b) in enumerate(levels)
        if shims or kind == "rubber"
    )  # fmt: skip
    return Edge(layers=tuple(sorted(layers, key=lambda x: x.index)), shape=shape)


def photo_of(grey):
    """Wrap grey levels as a photo."""
    grey = np.asarray(grey, np.float32)
    shown = np.clip(np.round(grey), 0, 255).astype(np.uint8)
    return Photo(
        name="drawn.png", sha256="0" * 64, rgb=np.dstack([shown] * 3), grey=grey, bit_depth=8,
        camera=CameraFacts(),
    )  # fmt: skip


def code_of(light):
    """Linear light 0 to 1 to code values 0 to 255 (sRGB, IEC 61966-2-1)."""
    light = np.clip(light, 0, 1)
    high = 1.055 * np.power(light, 1 / 2.4) - 0.055
    return 255 * np.where(light <= 0.0031308, 12.92 * light, high)


def coverage(shape, line_px, widths_px):
    """Share of every pixel that a ribbon of given widths covers; shape (H, W)."""
    height, width = shape
    canvas = np.zeros((height * FINE, width * FINE), np.uint8)
    line = np.asarray(line_px, np.float64)
    half = np.broadcast_to(np.asarray(widths_px, np.float64) / 2, len(line))
    tangent = np.gradient(line, axis=0)
    tangent /= np.hypot(*tangent.T)[:, None]
    across = np.column_stack([-tangent[:, 1], tangent[:, 0]]) * half[:, None]
    left, right = ((p + 0.5) * FINE - 0.5 for p in (line + across, line - across))
    for i in range(len(line) - 1):
        quad = np.stack([left[i], left[i + 1], right[i + 1], right[i]])
        cv2.fillConvexPoly(canvas, np.round(quad * 16).astype(np.int32), 255, cv2.LINE_8, 4)
    return cv2.resize(canvas, (width, height), interpolation=cv2.INTER_AREA) / 255.0


def draw(
    lines: Sequence, *, shape=(300, 600), blur_px=0.8, noise=1.5, grain=0.0, seed=0,
    edge=None, darkness=0.97, light=None,
):  # fmt: skip
    """Photo of rubber with dark ribbons `(line_px, widths_px)` on it."""
    rng = np.random.default_rng(seed)
    field = np.full(shape, RUBBER_LIGHT) if light is None else np.array(light, np.float64)
    if grain:
        rough = cv2.GaussianBlur(rng.normal(size=shape), (0, 0), 1.0)
        field *= 1 + grain * rough / rough.std()
    for line, widths in lines:
        field *= 1 - darkness * coverage(shape, line, widths)
    if edge is not None:
        field[np.isin(edge.layer_map, [x.index for x in edge.shims])] = 0.4
    field = cv2.GaussianBlur(field, (0, 0), blur_px) if blur_px else field
    return photo_of(np.clip(code_of(field) + rng.normal(0, noise, shape), 0, 255))


def straight(centre, angle_deg, length_px, *, points=60):
    """Evenly spaced points of a straight line."""
    t = np.linspace(-0.5, 0.5, points)[:, None] * length_px
    angle = math.radians(angle_deg)
    return np.asarray(centre) + t * np.array([math.cos(angle), math.sin(angle)])


def tapered(count, peak_px, *, tip_px=1.25):
    """Widths that swell from a fine tip to a peak and back."""
    return tip_px + (peak_px - tip_px) * np.sin(np.pi * np.linspace(0, 1, count)) ** 0.6


def wandering(rng, *, start, length_px, wander=0.5, count=None):
    """A crack-like path from `start` to the right; its length is exact."""
    count = count or max(20, int(length_px / 3))
    knots = rng.normal(0, wander, max(4, count // 12))
    heading = np.interp(np.linspace(0, 1, count), np.linspace(0, 1, len(knots)), knots)
    heading -= heading.mean()
    steps = (length_px / count) * np.column_stack([np.cos(heading), np.sin(heading)])
    return np.asarray(start, float) + np.vstack([[0, 0], np.cumsum(steps, axis=0)])


def length_of(line):
    """Length of a polyline."""
    return float(np.hypot(*np.diff(np.asarray(line), axis=0).T).sum())
