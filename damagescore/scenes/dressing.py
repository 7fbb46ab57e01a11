"""Things on the edge that are no damage: dust, fibres, scratches, chalk, bloom, mould lines."""

import cv2
import numpy as np
from numpy.typing import NDArray

from damagescore.scenes.laminate import Grid, Laminate
from damagescore.scenes.noise import Field, fractal_noise, line_noise, smooth_noise
from damagescore.scenes.spec import SceneSpec
from damagescore.scenes.surface import Surface

Points = NDArray[np.float64]
Notes = list[dict[str, object]]


def dress_surface(
    surface: Surface, laminate: Laminate, spec: SceneSpec, rng: np.random.Generator
) -> Notes:
    """Paint the spec's distractors on the surface (in place) and say what was painted."""
    notes: Notes = []
    add_dust(surface, spec, rng)
    things = spec.distractors
    for _ in range(things.flash_ridges):
        notes.append(_flash_ridge(surface, laminate, rng))
    for _ in range(things.scratches):
        notes.append(_scratch(surface, laminate, rng))
    for _ in range(things.chalk):
        notes.append(_chalk(surface, laminate, rng))
    for number in range(things.fibres + things.dark_hairs):
        notes.append(_fibre(surface, laminate, rng, dark=number >= things.fibres))
    notes.append({"kind": "dust_specks"})
    return notes


def _blend(surface: Surface, share: Field, colour: tuple[float, float, float]) -> None:
    for channel in range(3):
        plane = surface.colour[..., channel]
        plane += share * (np.float32(colour[channel]) - plane)
    np.multiply(surface.gloss, 1 - share, out=surface.gloss)


def add_dust(surface: Surface, spec: SceneSpec, rng: np.random.Generator) -> None:
    """Clouds of fine dust, a bloom film on the rubber, and single specks."""
    grid = surface.grid
    p = grid.pitch_mm
    cloud = fractal_noise(rng, grid.shape, scale_px=7.0 / p, octaves=6, gain=0.68)
    # settled dust is grainy: fine motes within the clouds, not fog
    motes = smooth_noise(rng, grid.shape, scale_px=max(1.3, 0.06 / p))
    motes = np.clip(
        0.75 + 0.55 * motes + 0.5 * smooth_noise(rng, grid.shape, scale_px=0.2 / p), 0, 3
    )
    haze = np.clip(0.042 * spec.stack.dust * (cloud - 0.2), 0, 0.14) * motes
    film = smooth_noise(rng, grid.shape, scale_px=14.0 / p, stretch=2)
    film = np.clip(0.06 * spec.distractors.bloom * (film + 0.6 * cloud), 0, 0.2)
    film *= np.clip(surface.rubber, 0, 1)
    open_face = 1 - np.clip(surface.crack, 0, 1)
    _blend(surface, (haze + film).astype(np.float32) * open_face, (0.36, 0.35, 0.33))
    specks = _specks(grid, rng, density_per_mm2=0.28 * spec.distractors.specks)
    specks *= open_face * (1 - 0.7 * surface.crumbled)
    _blend(surface, specks, (0.42, 0.41, 0.38))
    surface.height_mm[...] += np.float32(0.02) * specks


def _specks(grid: Grid, rng: np.random.Generator, *, density_per_mm2: float) -> Field:
    area = grid.shape[0] * grid.shape[1] * grid.pitch_mm**2
    count = rng.poisson(area * density_per_mm2)
    canvas = np.zeros(grid.shape, np.uint8)
    x = rng.uniform(0, grid.shape[1], count)
    y = rng.uniform(0, grid.shape[0], count)
    radius = rng.lognormal(np.log(0.032), 0.45, count) / grid.pitch_mm
    strength = rng.uniform(35, 190, count)
    for i in range(count):
        axes = (int(16 * radius[i]), int(16 * radius[i] * rng.uniform(0.5, 1.0)))
        centre = (int(16 * x[i]), int(16 * y[i]))
        angle = float(rng.uniform(0, 180))
        outline = cv2.ellipse2Poly(centre, axes, int(angle), 0, 360, 45)
        cv2.fillPoly(canvas, [np.asarray(outline, np.int32)], int(strength[i]), cv2.LINE_AA, 4)
    soft = cv2.GaussianBlur(canvas, (0, 0), 0.8)
    return np.asarray(soft, np.float32) / np.float32(255)


def _place(
    surface: Surface, laminate: Laminate, rng: np.random.Generator, *, margin: float = 0.05
) -> Points:
    """A random place on the stack, (s, v) mm."""
    s = surface.grid.s_mm
    span = s[-1] - s[0]
    at_s = rng.uniform(s[0] + margin * span, s[-1] - margin * span)
    return np.array([at_s, rng.uniform(0, laminate.height_mm)])


def _stroke(
    grid: Grid, path_mm: Points, width_mm: float, *, fine: int = 3
) -> tuple[tuple[slice, slice], Field] | None:
    """Share of each texel under a stroke of even width, within its window."""
    pad = width_mm + 0.3
    found = grid.window(path_mm.min(axis=0) - pad, path_mm.max(axis=0) + pad)
    if not found:
        return None
    window, part = found
    canvas = np.zeros((part.shape[0] * fine, part.shape[1] * fine), np.uint8)
    x = (part.column(path_mm[:, 0]) + 0.5) * fine - 0.5
    y = (part.row(path_mm[:, 1]) + 0.5) * fine - 0.5
    points = np.round(np.stack([x, y], axis=1) * 16).astype(np.int32)
    thick = max(1, round(width_mm / part.pitch_mm * fine))
    cv2.polylines(canvas, [points], False, 255, thick, cv2.LINE_AA, 4)
    size = (part.shape[1], part.shape[0])
    share = cv2.resize(canvas, size, interpolation=cv2.INTER_AREA)
    return window, share.astype(np.float32) / np.float32(255)


def _blend_window(
    surface: Surface,
    window: tuple[slice, slice],
    share: Field,
    colour: tuple[float, float, float],
) -> None:
    for channel in range(3):
        plane = surface.colour[window][..., channel]
        plane += share * (np.float32(colour[channel]) - plane)


def _curl(rng: np.random.Generator, start: Points, length_mm: float, bend: float) -> Points:
    steps = 140
    heading = rng.uniform(0, 2 * np.pi) + np.cumsum(
        bend * line_noise(rng, steps, scale=50) + 0.4 * bend * rng.standard_normal()
    )
    step = length_mm / steps
    moves = step * np.stack([np.cos(heading), np.sin(heading)], axis=1)
    return np.asarray(start + np.vstack([np.zeros(2), np.cumsum(moves, axis=0)]))


def _fibre(
    surface: Surface, laminate: Laminate, rng: np.random.Generator, *, dark: bool
) -> dict[str, object]:
    """A lint fibre, pale or dark, lying on the edge across layer lines."""
    width = rng.uniform(0.018, 0.04) * (1.3 if dark else 1.0)
    path = _curl(rng, _place(surface, laminate, rng), rng.uniform(2, 7), 0.035)
    painted = _stroke(surface.grid, path, width)
    if painted:
        window, share = painted
        share = share * np.float32(rng.uniform(0.45, 0.8))
        colour = (0.012, 0.011, 0.010) if dark else (0.45, 0.43, 0.39)
        _blend_window(surface, window, share, colour)
        surface.height_mm[window] += np.float32(0.8 * width) * share
        surface.hole[window] *= 1 - share
    kind = "dark_hair" if dark else "lint_fibre"
    return {"kind": kind, "polyline_mm": path[::10].round(3).tolist(), "diameter_mm": width}


def _scratch(
    surface: Surface, laminate: Laminate, rng: np.random.Generator
) -> dict[str, object]:
    """A shallow scuff: paler, with broken contact along its length."""
    start = _place(surface, laminate, rng)
    heading = rng.uniform(-0.5, 0.5) if rng.random() < 0.6 else rng.uniform(0.9, 2.2)
    length = rng.uniform(2, 9)
    t = np.linspace(0, 1, 40)
    bow = 0.05 * length * np.sin(np.pi * t) * rng.standard_normal()
    along = np.array([np.cos(heading), np.sin(heading)])
    across = np.array([-along[1], along[0]])
    path = start + length * t[:, None] * along + bow[:, None] * across
    painted = _stroke(surface.grid, path, rng.uniform(0.02, 0.06))
    if painted:
        window, share = painted
        broken = smooth_noise(rng, share.shape, scale_px=0.25 / surface.grid.pitch_mm)
        share = share * np.clip(0.45 + 0.5 * broken, 0, 1).astype(np.float32)
        _blend_window(surface, window, share * np.float32(0.35), (0.30, 0.30, 0.29))
        surface.height_mm[window] -= np.float32(0.012) * share
    return {"kind": "shallow_scratch", "polyline_mm": path[::8].round(3).tolist()}


def _chalk(surface: Surface, laminate: Laminate, rng: np.random.Generator) -> dict[str, object]:
    start = _place(surface, laminate, rng, margin=0.15)
    length = rng.uniform(4, 9)
    t = np.linspace(0, 1, 50)
    rise = rng.uniform(-1.5, 1.5) * t + 0.4 * np.sin(2.5 * t * np.pi) * rng.standard_normal()
    path = start + np.stack([length * t, rise], axis=1)
    painted = _stroke(surface.grid, path, rng.uniform(0.6, 1.1), fine=1)
    if painted:
        window, share = painted
        soft = cv2.GaussianBlur(share, (0, 0), 0.14 / surface.grid.pitch_mm)
        share = np.asarray(soft, np.float32)
        rough = fractal_noise(rng, share.shape, scale_px=0.3 / surface.grid.pitch_mm, octaves=4)
        worn = np.clip(share * 1.3 + 0.8 * rough - 0.75, 0, 1).astype(np.float32) * share
        _blend_window(surface, window, worn * np.float32(0.85), (0.72, 0.71, 0.68))
        surface.hole[window] *= 1 - worn
    middle = path.mean(axis=0)
    return {"kind": "chalk_mark", "center_mm": middle.round(2).tolist(), "size_mm": length}


def _flash_ridge(
    surface: Surface, laminate: Laminate, rng: np.random.Generator
) -> dict[str, object]:
    """A moulded ridge along a rubber layer, where the mould halves met."""
    layer = 2 * int(rng.integers(0, (laminate.count + 1) // 2))
    s = surface.grid.s_mm[::8]
    low, high = laminate.bounds_mm(layer, s)
    place = rng.uniform(0.25, 0.75)
    v = low + (high - low) * place + 0.02 * line_noise(rng, len(s), scale=60)
    first = int(rng.uniform(0, 0.45) * len(s)) if rng.random() < 0.6 else 0
    path = np.stack([s, v], axis=1)[first:]
    painted = _stroke(surface.grid, path, 0.09)
    height = rng.uniform(0.04, 0.11)
    if painted:
        window, share = painted
        soft = cv2.GaussianBlur(share, (0, 0), max(0.8, 0.03 / surface.grid.pitch_mm))
        surface.height_mm[window] += np.float32(height) * soft * (1 - surface.crack[window])
    return {
        "kind": "mould_flash_line",
        "layer": layer,
        "height_mm": height,
        "s_mm": [float(path[0, 0]), float(path[-1, 0])],
        "v_mm": float(v.mean()),
    }
