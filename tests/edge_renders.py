"""Closed-form photos of layered edges: straight steps blurred by a gaussian.

A step blurred by a gaussian is the normal distribution function of the distance
to the line, so the boundaries are known exactly and nothing is resampled.
"""

import math
from dataclasses import dataclass, field

import numpy as np
from scipy.ndimage import gaussian_filter
from scipy.special import ndtr

from damagescore.photo.record import CameraFacts, Photo
from damagescore.scale.record import Scale, SurfaceMap

BLUR_PX = 0.9
POWER = 2.2
"""Stored value to light: a lens blurs light."""


def to_light(stored):
    return (np.asarray(stored, dtype=float) / 255.0) ** POWER


def to_stored(light):
    return 255.0 * np.clip(light, 0.0, None) ** (1 / POWER)


@dataclass(frozen=True, kw_only=True)
class Stack:
    """A stack to draw: thicknesses in mm from the top, and three colours."""

    rubber_mm: tuple[float, ...] = (3.0, 3.1, 2.9, 3.0)
    shim_mm: float = 0.6
    rubber: tuple[float, float, float] = (58, 58, 60)
    shim: tuple[float, float, float] = (170, 165, 155)
    plate: tuple[float, float, float] = (120, 118, 112)

    @property
    def boundaries_mm(self) -> np.ndarray:
        """From the top down, centred on 0."""
        steps = []
        for i, rubber in enumerate(self.rubber_mm):
            steps += [rubber, self.shim_mm] if i < len(self.rubber_mm) - 1 else [rubber]
        found = np.concatenate([[0.0], np.cumsum(steps)])
        return found - found[-1] / 2


def photo_of(rgb: np.ndarray) -> Photo:
    clipped = np.clip(np.round(rgb), 0, 255).astype(np.uint8)
    grey = (clipped.astype(np.float32) @ np.array([0.299, 0.587, 0.114], np.float32)).astype(
        np.float32
    )
    return Photo(
        name="render.png", sha256="0" * 64, rgb=clipped, grey=grey, bit_depth=8,
        camera=CameraFacts(),
    )  # fmt: skip


def scale_of(mm_per_px: float, *, shape: tuple[int, int], u_relative: float = 0.001) -> Scale:
    return Scale(
        method="two_points",
        surface=SurfaceMap(px_to_mm=np.diag([mm_per_px, mm_per_px, 1.0])),
        centre_px=(shape[1] / 2, shape[0] / 2),
        u_relative=u_relative,
        tilt_deg=0.0,
        marks=(),
    )


@dataclass(frozen=True, kw_only=True)
class FaceRender:
    photo: Photo
    scale: Scale
    centre_px: np.ndarray
    normal: np.ndarray
    boundaries_px: np.ndarray = field(repr=False)
    wave_px: tuple[float, float] = (0.0, 1.0)

    def misfit_px(self, line_px: np.ndarray, k: int) -> np.ndarray:
        """Distances (N,) of a found line from boundary k, counted from the top."""
        off = line_px - self.centre_px
        along = off @ np.array([self.normal[1], -self.normal[0]])
        return off @ self.normal - wave_at(along, self.wave_px) - self.boundaries_px[k]


def wave_at(along_px: np.ndarray, wave_px: tuple[float, float]) -> np.ndarray:
    """A sine of some amplitude and length, px."""
    amplitude, length = wave_px
    return amplitude * np.sin(2 * np.pi * along_px / length)


def render_face(
    stack: Stack | None = None,
    *,
    angle_deg: float = 0.0,
    offset_px: float = 0.0,
    mm_per_px: float = 0.04,
    shape: tuple[int, int] = (560, 760),
    noise: float = 1.5,
    texture: float = 6.0,
    light: float = 0.0,
    gain: float = 1.0,
    wave_px: tuple[float, float] = (0.0, 1.0),
    seed: int = 1,
) -> FaceRender:
    """Layers at any angle, with grain, noise and a light that falls off.

    They are straight, or share a wave of an amplitude and a length.
    """
    stack = stack or Stack()
    height, width = shape
    rng = np.random.default_rng(seed)
    y, x = np.mgrid[0:height, 0:width].astype(float)
    turn = math.radians(angle_deg)
    normal = np.array([-math.sin(turn), math.cos(turn)])
    centre = np.array([(width - 1) / 2, (height - 1) / 2])
    level = (x - centre[0]) * normal[0] + (y - centre[1]) * normal[1]
    along = (x - centre[0]) * normal[1] - (y - centre[1]) * normal[0]
    level = level - wave_at(along, wave_px)
    boundaries = stack.boundaries_mm / mm_per_px + offset_px
    rgb = np.broadcast_to(to_light(stack.plate), (height, width, 3)).copy()
    before = to_light(stack.plate)
    for k, at in enumerate(boundaries):
        last = k == len(boundaries) - 1
        after = to_light(stack.plate if last else (stack.rubber, stack.shim)[k % 2])
        rgb += ndtr((level - at) / BLUR_PX)[..., None] * (after - before)
        before = after
    rgb = to_stored(rgb)
    grain = gaussian_filter(rng.normal(size=shape), 3.0)
    rgb += texture * (grain / grain.std())[..., None]
    rgb *= (1.0 + light * (x / width - 0.5))[..., None] * gain
    rgb += noise * rng.normal(size=rgb.shape)
    return FaceRender(
        photo=photo_of(rgb),
        scale=scale_of(mm_per_px, shape=shape),
        centre_px=centre,
        normal=normal,
        boundaries_px=boundaries,
        wave_px=wave_px,
    )


def boundary_lines(edge) -> list[np.ndarray]:
    """Found boundaries from the top down."""
    return [x.upper_px for x in reversed(edge.layers)] + [edge.layers[0].lower_px]


@dataclass(frozen=True, kw_only=True)
class ProfileRender:
    photo: Photo
    scale: Scale
    peaks_mm: tuple[float, ...]


def render_profile(
    peaks_mm: tuple[float, ...] = (0.0, 0.8, 0.0, 0.0),
    *,
    stack: Stack | None = None,
    mm_per_px: float = 0.04,
    shape: tuple[int, int] = (640, 760),
    tilt: float = 0.02,
    outward: str = "right",
    background: float = 225.0,
    bench: tuple[float, float] | None = None,
    behind: np.ndarray | None = None,
    turn: tuple[float, float] = (0.0, 0.0),
    noise: float = 1.0,
    seed: int = 2,
) -> ProfileRender:
    """A part at the left against a plain background; parabolic bulges.

    `behind` (H, W) are grey levels of the background instead of `background`. `turn` is by
    how much layers lie lower 1 mm inside the outline than at it, mm, at the middle of the
    stack and the change of that per mm down: a ring's layers run in with the root of the
    depth.

    `bench` is the level, mm below the middle, from which the background has another grey.

    `peaks_mm` from the top; the shims' ends lie on a line of slope `tilt`; the
    plates stand back by 0.6 mm.
    """
    stack = stack or Stack()
    height, width = shape
    rng = np.random.default_rng(seed)
    y, x = np.mgrid[0:height, 0:width].astype(float)
    level = (y - (height - 1) / 2) * mm_per_px
    bounds = stack.boundaries_mm
    lean = math.hypot(1.0, tilt)
    out = np.where((level < bounds[0]) | (level > bounds[-1]), -0.6, 0.0)
    for i, peak in enumerate(peaks_mm):
        top, bottom = bounds[2 * i], bounds[2 * i + 1]
        place = (2 * level - top - bottom) / (bottom - top)
        out += np.where(np.abs(place) < 1, peak * (1 - place**2), 0.0)
    # `out` is the distance from the leaning line: along x it is longer by `lean`.
    edge = 0.45 * width + (tilt * level + lean * out) / mm_per_px
    part = np.broadcast_to(to_light(stack.plate), (height, width, 3)).copy()
    before = to_light(stack.plate)
    line = 0.45 * width + tilt * level / mm_per_px
    depth_mm = np.maximum(line - x, 0.0) * mm_per_px
    for k, at in enumerate(bounds):
        last = k == len(bounds) - 1
        after = to_light(stack.plate if last else (stack.rubber, stack.shim)[k % 2])
        lower = (turn[0] + turn[1] * at) * np.sqrt(depth_mm)
        part += ndtr((level - at - lower) / mm_per_px / BLUR_PX)[..., None] * (after - before)
        before = after
    part = to_stored(part)
    grain = gaussian_filter(rng.normal(size=shape), 2.0)
    part += 4.0 * (grain / grain.std())[..., None]
    slope = np.gradient(edge, axis=0)
    inside = ndtr((edge - x) / np.hypot(1.0, slope) / BLUR_PX)[..., None]
    back = np.full((height, width, 1), background) if behind is None else behind[..., None]
    if bench is not None:
        back[level > bench[0]] = bench[1]
    part = to_light(np.clip(part, 0.0, 255.0))
    rgb = to_stored(inside * part + (1 - inside) * to_light(back))
    rgb = rgb + noise * rng.normal(size=part.shape)
    if outward == "left":
        rgb = rgb[:, ::-1]
    elif outward == "down":
        rgb = rgb.swapaxes(0, 1)
    return ProfileRender(
        photo=photo_of(rgb), scale=scale_of(mm_per_px, shape=rgb.shape[:2]), peaks_mm=peaks_mm
    )
