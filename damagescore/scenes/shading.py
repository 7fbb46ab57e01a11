"""Light on the relief: lamp with cast shadows, room light with occlusion, brushed gloss."""

import cv2
import numpy as np
from numpy.typing import NDArray

from damagescore.scenes.camera import Camera
from damagescore.scenes.laminate import Grid
from damagescore.scenes.noise import Field, smooth_noise, wide_blur
from damagescore.scenes.spec import LightSpec
from damagescore.scenes.surface import Surface

Vector = NDArray[np.float64]


def colour_of(kelvin: float) -> Vector:
    """Approximate linear colour of a lamp relative to 5500 K, green = 1.

    A first-order fit through daylight and incandescent white, from memory; only a look.
    """
    tilt = (kelvin - 5500.0) / 5500.0
    return np.array(
        [np.clip(1 - 0.55 * tilt, 0.5, 1.9), 1.0, np.clip(1 + 0.75 * tilt, 0.25, 1.7)]
    )


def lamp_direction(light: LightSpec) -> Vector:
    """Unit vector towards the lamp in world axes."""
    azimuth, elevation = np.deg2rad(light.azimuth_deg), np.deg2rad(light.elevation_deg)
    level = np.cos(elevation)
    return np.array([level * np.cos(azimuth), level * np.sin(azimuth), np.sin(elevation)])


def _local(
    vector: Vector, grid: Grid, radius_mm: float | None, facing: float
) -> tuple[Field, Field, Field]:
    """A world vector in the axes (s, v, outward) of each column, arrays of shape (1, M).

    On a cylinder the place s = 0 looks `facing` radians from the camera towards +x.
    """
    turn = np.zeros(grid.shape[1]) if radius_mm is None else grid.s_mm / radius_mm + facing
    c, s = np.cos(turn)[None, :], np.sin(turn)[None, :]
    along = vector[0] * c - vector[2] * s
    out = vector[0] * s + vector[2] * c
    up = np.full_like(along, vector[1])
    return along.astype(np.float32), up.astype(np.float32), out.astype(np.float32)


def _slopes(height_mm: Field, pitch_mm: float) -> tuple[Field, Field]:
    kernel = np.array([-0.5, 0.0, 0.5], np.float32) / np.float32(pitch_mm)
    one = np.ones(1, np.float32)
    along = cv2.sepFilter2D(height_mm, -1, kernel, one)
    up = -cv2.sepFilter2D(height_mm, -1, one, kernel)
    return np.asarray(along, np.float32), np.asarray(up, np.float32)


def cast_shadow(height_mm: Field, pitch_mm: float, light: LightSpec) -> Field:
    """Share of the lamp that the relief lets through, by looking along the light.

    Eight looks at growing distance up to 1.6 mm; the penumbra grows with distance and
    `light.spread`. Known limit: relief farther than 1.6 mm casts no shadow.
    """
    azimuth = np.deg2rad(light.azimuth_deg)
    climb = np.tan(np.deg2rad(max(light.elevation_deg, 5.0)))
    rows, cols = height_mm.shape
    lit = np.ones((rows, cols), np.float32)
    for reach in np.geomspace(1.3 * pitch_mm, 1.6, 8):
        shift = reach / pitch_mm
        move = np.array([[1, 0, shift * np.cos(azimuth)], [0, 1, -shift * np.sin(azimuth)]])
        ahead = cv2.warpAffine(
            height_mm,
            move,
            (cols, rows),
            flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP,
            borderMode=cv2.BORDER_REPLICATE,
        )
        over = ahead - height_mm - np.float32(reach * climb)
        soft = np.float32(0.012 + light.spread * reach)
        np.minimum(lit, np.clip(0.5 - over / soft, 0, 1), out=lit)
    return lit


def occlusion(height_mm: Field, pitch_mm: float) -> Field:
    """Share of the room that a texel sees: low where it lies below its neighbourhood."""
    shade = np.zeros(height_mm.shape, np.float32)
    for reach in (0.12, 0.45):
        mean = wide_blur(height_mm, reach / pitch_mm)
        shade += np.clip((mean - height_mm) / np.float32(reach), -0.2, 2.0)
    return np.asarray(1 / (1 + np.clip(1.6 * shade, -0.15, 6)), np.float32)


def fall_off(grid: Grid, light: LightSpec, rng: np.random.Generator) -> Field:
    """Uneven lighting: inverse square from the lamp's place, and slow reflections."""
    rows, cols = grid.shape
    small = (max(4, rows // 16), max(4, cols // 16))
    s = np.linspace(grid.s_mm[0], grid.s_mm[-1], small[1])[None, :]
    v = np.linspace(grid.v_mm[0], grid.v_mm[-1], small[0])[:, None]
    lamp = light.lamp_distance_mm * lamp_direction(light)
    middle = (s.mean(), v.mean())
    d2 = (s - middle[0] - lamp[0]) ** 2 + (v - middle[1] - lamp[1]) ** 2 + lamp[2] ** 2
    even = light.lamp_distance_mm**2 / np.maximum(d2, 1.0)
    slow = 1 + 0.05 * smooth_noise(rng, small, scale_px=small[0] / 3, stretch=1.5)
    field = (even * slow).astype(np.float32)
    return np.asarray(
        cv2.resize(field, (cols, rows), interpolation=cv2.INTER_CUBIC), np.float32
    )


def _gloss(
    surface: Surface,
    slopes: tuple[Field, Field],
    towards: tuple[Field, Field, Field],
    eye: tuple[Field, Field, Field],
    rng: np.random.Generator,
) -> Field:
    """Anisotropic highlight: gaussian in the slopes that would mirror the lamp to the eye."""
    half = [a + b for a, b in zip(towards, eye, strict=True)]
    out = np.maximum(half[2], 1e-3)
    shape = surface.grid.shape
    micro = 0.7 * smooth_noise(rng, shape, scale_px=1.4, stretch=45.0)
    micro += 0.5 * smooth_noise(rng, shape, scale_px=1.3, stretch=8.0)
    speckle = smooth_noise(rng, shape, scale_px=1.3, stretch=1.6)
    # few facets flash, most only shimmer
    speckle = 0.25 * speckle + 0.9 * np.clip(speckle - 1.7, 0, 2)
    along = half[0] / out + slopes[0]
    up = half[1] / out + slopes[1] + 0.5 * surface.width_across * micro
    exponent = (along / surface.width_along.clip(0.05)) ** 2
    exponent += (up / surface.width_across.clip(0.05)) ** 2
    lobe = np.exp(-np.minimum(exponent, 20.0))
    return np.asarray(surface.gloss * lobe * np.clip(1 + speckle, 0, 4), np.float32)


def _eye(
    grid: Grid, camera: Camera, radius_mm: float | None, facing: float
) -> tuple[Field, Field, Field]:
    """Direction to the camera in local axes, varying over the photo."""
    centre = camera.centre_mm
    base = _local(centre / np.linalg.norm(centre), grid, radius_mm, facing)
    reach = np.float32(np.linalg.norm(centre))
    shift_s = (0.0 if radius_mm is not None else 1.0) * grid.s_mm[None, :] / reach
    shift_v = (grid.v_mm[:, None] / reach).astype(np.float32)
    return base[0] - shift_s.astype(np.float32), base[1] - shift_v, base[2]


def shade_surface(
    surface: Surface,
    light: LightSpec,
    camera: Camera,
    shape: tuple[float | None, float],
    rng: np.random.Generator,
) -> Field:
    """Radiance of every texel, shape (rows, columns, 3), linear, arbitrary scale.

    `shape` is the radius (None for flat) and the turn of the place s = 0, see `_local`.
    """
    grid = surface.grid
    radius_mm, facing_rad = shape
    slopes = _slopes(surface.height_mm, grid.pitch_mm)
    towards = _local(lamp_direction(light), grid, radius_mm, facing_rad)
    inverse = 1 / np.sqrt(1 + slopes[0] ** 2 + slopes[1] ** 2)
    facing = (towards[2] - slopes[0] * towards[0] - slopes[1] * towards[1]) * inverse
    lamp = np.maximum(facing, 0) * cast_shadow(surface.height_mm, grid.pitch_mm, light)
    lamp *= fall_off(grid, light, rng) * np.float32(light.direct)
    open_sky = occlusion(surface.height_mm, grid.pitch_mm) * (1 - 0.98 * surface.hole)
    lamp *= (1 - 0.97 * surface.hole) * np.clip(0.4 + 0.6 * open_sky, 0, 1)
    # the room is brighter above than below
    sky = open_sky * np.float32(1 - light.direct) * (0.85 + 0.25 * slopes[1] * -1 * inverse)
    shine = _gloss(surface, slopes, towards, _eye(grid, camera, radius_mm, facing_rad), rng)
    shine *= np.clip(lamp / max(light.direct, 0.05), 0, 2) * np.float32(light.direct)
    # brushed metal also mirrors the room, drawn out into bands across the brushing
    band = smooth_noise(rng, grid.shape, scale_px=60 / grid.pitch_mm, stretch=0.3)
    band = band + 0.5 * smooth_noise(rng, grid.shape, scale_px=12 / grid.pitch_mm, stretch=0.5)
    shine += surface.gloss * sky * np.clip(0.5 + 0.3 * band, 0.05, 2)
    lamp_rgb, room_rgb = colour_of(light.kelvin), colour_of(light.room_kelvin)
    radiance = np.empty_like(surface.colour)
    for i in range(3):
        lit = lamp * np.float32(lamp_rgb[i]) + sky * np.float32(room_rgb[i])
        radiance[..., i] = surface.colour[..., i] * lit
        radiance[..., i] += shine * np.float32(0.5 * (lamp_rgb[i] + room_rgb[i]))
    return radiance
