"""What stands around the part: wall, bench, small turned pieces and their soft shadows."""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from damagescore.errors import UsageError
from damagescore.scenes.camera import Camera
from damagescore.scenes.finish import Finish, bench_finishes, pick_finish
from damagescore.scenes.noise import Field, fractal_noise, smooth_noise, wide_blur
from damagescore.scenes.shading import colour_of, lamp_direction
from damagescore.scenes.spec import LightSpec, SceneSpec

Points = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Piece:
    """A small upright turned piece on the bench: place (x, z), radius and height in mm."""

    x_mm: float
    z_mm: float
    radius_mm: float
    height_mm: float


def scatter_pieces(
    rng: np.random.Generator,
    *,
    width_mm: float,
    count: int,
    clear_mm: tuple[float, float] | None,
    climb: float,
) -> tuple[Piece, ...]:
    """Pieces spread over the bench in front of the part, apart from each other.

    None may hide the card between the x of `clear_mm`: a piece at distance z hides what lies
    lower than its height less z `climb`, and 1 mm of a card's margin is blank.
    """
    pieces: list[Piece] = []
    for _ in range(12 * count):
        piece = Piece(
            x_mm=rng.uniform(-0.55, 0.55) * width_mm,
            z_mm=rng.uniform(6, 18),
            radius_mm=rng.uniform(1.2, 3.0),
            height_mm=rng.uniform(1.8, 3.6),
        )
        if len(pieces) < count and _has_room(piece, pieces, clear_mm, climb):
            pieces.append(piece)
    return tuple(pieces)


def _has_room(
    piece: Piece, others: list[Piece], clear_mm: tuple[float, float] | None, climb: float
) -> bool:
    for other in others:
        apart = np.hypot(piece.x_mm - other.x_mm, piece.z_mm - other.z_mm)
        if apart < piece.radius_mm + other.radius_mm + 0.8:
            return False
    if clear_mm is None:
        return True
    beside = (
        piece.x_mm + piece.radius_mm < clear_mm[0] or piece.x_mm - piece.radius_mm > clear_mm[1]
    )
    return beside or piece.height_mm - piece.z_mm * climb < 1.0


def _racks(rng: np.random.Generator, small: tuple[int, int]) -> Field:
    """Upright bars and boards of a store room, a little out of focus."""
    tone = np.full(small, 0.6, np.float32)
    for _ in range(int(rng.integers(6, 14))):
        x, wide = int(rng.integers(small[1])), int(rng.integers(2, max(3, small[1] // 10)))
        tone[:, x : x + wide] = rng.uniform(0.1, 2.6)
    for _ in range(int(rng.integers(1, 4))):
        y, high = int(rng.integers(small[0])), int(rng.integers(2, max(3, small[0] // 14)))
        tone[y : y + high] = rng.uniform(0.2, 2.0)
    return wide_blur(tone, small[0] / 40)


def _lamps(rng: np.random.Generator, small: tuple[int, int]) -> Field:
    """Far lamps as bright discs in the dark."""
    y, x = np.mgrid[: small[0], : small[1]]
    tone = np.full(small, 0.5, np.float32)
    for _ in range(int(rng.integers(4, 12))):
        across = np.hypot(x - rng.uniform(0, small[1]), y - rng.uniform(0, small[0]))
        tone += rng.uniform(4, 25) * (across < rng.uniform(0.3, 1.0) * small[0] / 12)
    return wide_blur(tone, small[0] / 50)


def _panels(rng: np.random.Generator, small: tuple[int, int]) -> Field:
    """Two even tones that meet in a slanted line behind the part."""
    y, x = np.mgrid[: small[0], : small[1]]
    turn = rng.uniform(0, np.pi)
    along = np.cos(turn) * (x - small[1] / 2) + np.sin(turn) * (y - small[0] / 2)
    step = along > rng.uniform(-0.25, 0.25) * small[0]
    return wide_blur(np.where(step, 2.2, 0.35).astype(np.float32), small[0] / 60)


def _slope(rng: np.random.Generator, small: tuple[int, int]) -> Field:
    """From nearly dark on one side to bright on the other."""
    across = np.linspace(0.08, 2.4, small[1], dtype=np.float32)[None, :]
    return np.repeat(across if rng.random() < 0.5 else across[:, ::-1], small[0], axis=0)


BACKDROP_LEVELS = {
    "wall": 0.28,
    "bright": 0.95,
    "dark": 0.015,
    "shelves": 0.12,
    "night": 0.035,
    "dusk": 0.075,
    "metal_grey": 0.19,
    "racks": 0.16,
    "lamps": 0.04,
    "panels": 0.2,
    "slope": 0.25,
}
"""Mean reflectance behind the part."""

_PATTERNS = {"racks": _racks, "lamps": _lamps, "panels": _panels, "slope": _slope}


def backdrop(
    kind: str, shape: tuple[int, int], light: LightSpec, rng: np.random.Generator
) -> Field:
    """Far background, out of focus; its kinds are the keys of `BACKDROP_LEVELS`."""
    if kind not in BACKDROP_LEVELS:
        raise UsageError(
            f'There is no backdrop "{kind}".',
            remedy=f"Use one of: {', '.join(BACKDROP_LEVELS)}.",
        )
    level = BACKDROP_LEVELS[kind]
    small = (max(8, shape[0] // 12), max(8, shape[1] // 12))
    tone = 1 + 0.12 * smooth_noise(rng, small, scale_px=small[0] / 2)
    if kind in _PATTERNS:
        tone = tone * _PATTERNS[kind](rng, small)
    if kind == "shelves":
        blocks = smooth_noise(rng, small, scale_px=small[0] / 3, stretch=0.4)
        tone += 0.7 * np.sign(blocks)
        tone = wide_blur(np.clip(tone, 0.1, 3).astype(np.float32), small[0] / 14)
    rise = np.linspace(1.1, 0.85, small[0], dtype=np.float32)[:, None]
    field = cv2.resize(level * tone * rise, (shape[1], shape[0]), interpolation=cv2.INTER_CUBIC)
    tint = colour_of(light.room_kelvin).astype(np.float32)
    # Cubic interpolation swings below zero beside a bright lamp.
    return np.asarray(np.maximum(field, 0)[..., None] * tint, np.float32)


def _bench_tone(
    finish: Finish, shape: tuple[int, int], p: float, rng: np.random.Generator
) -> Field:
    tone = 1 + finish.mottle * fractal_noise(rng, shape, scale_px=14 / p, octaves=5)
    tone += finish.grain * smooth_noise(rng, shape, scale_px=max(1.3, 0.12 / p))
    if finish.streaks:
        tone += (
            0.5
            * finish.streaks
            * fractal_noise(rng, shape, scale_px=1.6 / p, octaves=5, gain=0.75, stretch=22)
        )
        pores = smooth_noise(rng, shape, scale_px=max(1.2, 0.14 / p), stretch=18)
        tone -= 0.5 * finish.streaks * np.clip(pores - 1.3, 0, 1.5)
    return np.asarray(np.clip(tone, 0.1, 3), np.float32)


def bench_radiance(
    name: str,
    place: tuple[Points, Points, Field],
    light: LightSpec,
    pieces: tuple[Piece, ...],
    rng: np.random.Generator,
) -> Field:
    """Light from the bench top on a grid.

    `place` holds the x and z samples (mm) and, at each grid point, the distance to the foot
    of the part, which shades the bench near it. Shape (len(z), len(x), 3).
    """
    x, z, gap = place
    finish = pick_finish(bench_finishes(), name)
    shape = (len(z), len(x))
    pitch = float(x[1] - x[0])
    lamp = lamp_direction(light)
    direct = light.direct * (0.25 + 0.75 * max(lamp[1], 0.0))
    room = (1 - light.direct) * (1 - 0.55 * np.exp(-gap / 5.0))
    shade = np.zeros(shape, np.float32)
    for piece in pieces:
        shade = np.maximum(shade, _piece_shadow(piece, x, z, lamp))
    direct_field = direct * (1 - 0.75 * wide_blur(shade, max(1.0, 0.5 / pitch)))
    direct_field *= 1 - 0.75 * np.exp(-gap / 1.2)
    tone = _bench_tone(finish, shape, pitch, rng)
    lamp_rgb, room_rgb = colour_of(light.kelvin), colour_of(light.room_kelvin)
    out = np.empty((*shape, 3), np.float32)
    for i in range(3):
        lit = direct_field * lamp_rgb[i] + room * room_rgb[i]
        out[..., i] = finish.colour[i] * tone * lit
    return out


def _piece_shadow(piece: Piece, x: Points, z: Points, lamp: Points) -> Field:
    """Dark blob under and behind a piece, away from the lamp."""
    drop = piece.height_mm / max(lamp[1], 0.35)
    away = -np.array([lamp[0], lamp[2]]) * drop
    shade = np.zeros((len(z), len(x)), np.float32)
    for share in np.linspace(0, 1, 6):
        cx, cz = piece.x_mm + share * away[0], piece.z_mm + share * away[1]
        d = np.hypot(x[None, :] - cx, z[:, None] - cz)
        blob = np.clip((piece.radius_mm * 1.08 - d) / 0.8 + 0.5, 0, 1)
        shade = np.maximum(shade, blob.astype(np.float32))
    return shade


def draw_piece(
    photo: Field, camera: Camera, piece: Piece, spec: SceneSpec, rng: np.random.Generator
) -> None:
    """Trace one turned piece, standing under the lower plate, onto the photo (in place)."""
    bench_v_mm, light = -spec.stack.plate_below_mm, spec.light
    box = np.array(
        [
            [
                piece.x_mm + i * piece.radius_mm,
                bench_v_mm + j * piece.height_mm,
                piece.z_mm + k * piece.radius_mm,
            ]
            for i in (-1, 1)
            for j in (0, 1)
            for k in (-1, 1)
        ]
    )
    px = camera.project(box)
    x0, y0 = np.maximum(np.floor(px.min(axis=0)).astype(int) - 2, 0)
    x1 = min(photo.shape[1], int(px[:, 0].max()) + 3)
    y1 = min(photo.shape[0], int(px[:, 1].max()) + 3)
    if x1 <= x0 or y1 <= y0:
        return
    colour, cover = _trace_piece(camera, piece, bench_v_mm, (x0, y0, x1, y1), light, rng)
    part = photo[y0:y1, x0:x1]
    part += cover[..., None] * (colour - part)


def _trace_piece(
    camera: Camera,
    piece: Piece,
    bench_v_mm: float,
    box: tuple[int, int, int, int],
    light: LightSpec,
    rng: np.random.Generator,
) -> tuple[Field, Field]:
    x0, y0, x1, y1 = box
    fine = 2
    xs = (np.arange((x1 - x0) * fine) + 0.5) / fine - 0.5 + x0
    ys = (np.arange((y1 - y0) * fine) + 0.5) / fine - 0.5 + y0
    inverse = camera.r.T @ np.linalg.inv(camera.k)
    d = np.stack([r[0] * xs[None, :] + r[1] * ys[:, None] + r[2] for r in inverse])
    c = camera.centre_mm
    ox, oz = c[0] - piece.x_mm, c[2] - piece.z_mm
    a = d[0] ** 2 + d[2] ** 2
    b = ox * d[0] + oz * d[2]
    disc = b * b - a * (ox * ox + oz * oz - piece.radius_mm**2)
    near = (-b - np.sqrt(np.maximum(disc, 0))) / a
    y = c[1] + near * d[1]
    top_v = bench_v_mm + piece.height_mm
    lid = (top_v - c[1]) / d[1]
    on_lid = np.hypot(ox + lid * d[0], oz + lid * d[2]) <= piece.radius_mm
    on_side = (disc > 0) & (y <= top_v) & (y >= bench_v_mm)
    nx, nz = (ox + near * d[0]) / piece.radius_mm, (oz + near * d[2]) / piece.radius_mm
    lamp = lamp_direction(light)
    facing = np.clip(nx * lamp[0] + nz * lamp[2], 0, 1)
    brush = smooth_noise(rng, on_lid.shape, scale_px=3.0, stretch=0.5)
    side = 0.07 + 0.18 * facing + 0.22 * facing**8 + 0.1 * (1 - np.abs(nx)) ** 2
    side *= np.clip((y - bench_v_mm) / piece.height_mm + 0.45, 0.3, 1)
    tone = np.where(on_lid, 0.26 + 0.03 * brush, side * (1 + 0.06 * brush))
    cover = (on_lid | on_side).astype(np.float32)
    size = (x1 - x0, y1 - y0)
    grey = cv2.resize((tone * cover).astype(np.float32), size, interpolation=cv2.INTER_AREA)
    share = cv2.resize(cover, size, interpolation=cv2.INTER_AREA)
    tint = 0.5 * (colour_of(light.kelvin) + colour_of(light.room_kelvin))
    body = grey / np.maximum(share, 1e-3)
    return np.asarray(body[..., None] * tint, np.float32), np.asarray(share, np.float32)
