"""Two black discs on a light card: sub-pixel outlines, centres and foreshortening."""

import math
from dataclasses import dataclass
from itertools import combinations

import cv2
import numpy as np
from numpy.typing import NDArray

from damagescore.errors import ScaleError
from damagescore.quantity import count_words
from damagescore.scale.camera import Camera
from damagescore.scale.dots_pose import pose_of_dots
from damagescore.scale.pose import Pose
from damagescore.scale.profile import edge_offsets, even_steps, linear_light, sample
from damagescore.scale.spread import Spread

Points = NDArray[np.float64]

SMALLEST_RADIUS_PX = 8.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Disc:
    """An ellipse in the photo: centre, half axes (long, short), direction of the long one.

    `outline_px` has shape (N, 2), points around it.
    """

    centre_px: Points
    long_px: float
    short_px: float
    angle_rad: float
    misfit_px: float
    contrast: float
    outline_px: Points

    @property
    def radius_px(self) -> float:
        return math.sqrt(self.long_px * self.short_px)


@dataclass(frozen=True, slots=True, kw_only=True)
class DotsFit:
    """The plane of the card, its uncertainty, and the two discs."""

    pose: Pose
    discs: tuple[Disc, Disc]
    spread: Spread


def find_dots(
    grey: NDArray[np.float32],
    *,
    distance_mm: float,
    camera: Camera,
    view: str = "face",
) -> DotsFit:
    """Find the pair of discs and the map of their plane.

    Raises
    ------
    ScaleError
        When no two like discs on one light surface are seen.
    """
    discs = _discs(grey)
    pairs = [(p, _likeness(grey, *p)) for p in combinations(discs, 2)]
    pairs = [x for x in pairs if x[1] > 0]
    if not pairs:
        raise ScaleError(
            "Two like black dots on a light card were not found "
            f"({count_words(len(discs), 'dot')} seen).",
            remedy="Show both dots whole, sharp and evenly lit, or use another mark.",
        )
    first, second = max(pairs, key=lambda x: x[1])[0]
    if first.centre_px[0] > second.centre_px[0]:
        first, second = second, first
    fit = pose_of_dots(
        (camera.ideal(first.outline_px), camera.ideal(second.outline_px)),
        distance_mm=distance_mm, camera=camera, view=view,
    )  # fmt: skip
    return DotsFit(pose=fit.pose, discs=(first, second), spread=fit.spread)


def _discs(grey: NDArray[np.float32]) -> list[Disc]:
    factor = min(1.0, 1800 / max(grey.shape))
    size = (round(grey.shape[1] * factor), round(grey.shape[0] * factor))
    small = np.clip(cv2.resize(grey, size, interpolation=cv2.INTER_AREA), 0, 255).astype(
        np.uint8
    )
    light = linear_light(grey)
    found: list[Disc] = []
    for block in (51, 151, 401):
        binary = cv2.adaptiveThreshold(
            small, 255, cv2.ADAPTIVE_THRESH_MEAN_C, cv2.THRESH_BINARY_INV, block, 12
        )
        contours, _ = cv2.findContours(binary, cv2.RETR_LIST, cv2.CHAIN_APPROX_NONE)
        for contour in contours:
            rough = _round(contour.reshape(-1, 2).astype(np.float64), factor)
            disc = _refined(light, rough) if rough is not None else None
            if disc is not None and not any(_same(disc, d) for d in found):
                found.append(disc)
    return found


def _same(one: Disc, other: Disc) -> bool:
    return float(np.hypot(*(one.centre_px - other.centre_px))) < one.radius_px


def _round(contour: Points, factor: float) -> Disc | None:
    if len(contour) < 20:
        return None
    (x, y), (d1, d2), angle = cv2.fitEllipseDirect(contour.astype(np.float32))
    long, short = max(d1, d2) / 2, min(d1, d2) / 2
    area = cv2.contourArea(contour.astype(np.float32))
    if not (SMALLEST_RADIUS_PX * factor < short and 0.75 * long < short):
        return None
    if abs(area / (math.pi * long * short) - 1) > 0.12:
        return None
    turn = math.radians(angle) + (0 if d1 >= d2 else math.pi / 2)
    centre = (np.array([x, y]) + 0.5) / factor - 0.5
    return Disc(
        centre_px=centre, long_px=long / factor, short_px=short / factor,
        angle_rad=turn, misfit_px=1.0, contrast=0.0, outline_px=np.empty((0, 2)),
    )  # fmt: skip


def _refined(light: NDArray[np.float32], disc: Disc) -> Disc | None:
    """Edge points along rays across the outline, dark inside; then an ellipse through them."""
    for _ in range(2):
        rays = np.linspace(0, 2 * math.pi, 180, endpoint=False)
        axes = np.array([[math.cos(disc.angle_rad), math.sin(disc.angle_rad)],
                         [-math.sin(disc.angle_rad), math.cos(disc.angle_rad)]])  # fmt: skip
        rim = (
            np.column_stack([disc.long_px * np.cos(rays), disc.short_px * np.sin(rays)]) @ axes
        )
        outwards = rim / np.hypot(*rim.T)[:, None]
        reach = float(np.clip(0.3 * disc.radius_px, 3, 10))
        steps = even_steps(reach, step_px=0.25)
        points = disc.centre_px + rim
        values = sample(light, points[:, None, :] + steps[None, :, None] * outwards[:, None, :])
        inner, outer = np.median(values[:, :4], axis=1), np.median(values[:, -4:], axis=1)
        contrast = float(np.median(outer - inner))
        # a printed disc is darker than its card all round
        if contrast < 0.05 or np.mean(outer > 1.6 * inner) < 0.95:
            return None
        offsets = edge_offsets(values, step_px=0.25)
        seen = np.isfinite(offsets)
        if seen.mean() < 0.9:
            return None
        edge = (points + np.nan_to_num(offsets)[:, None] * outwards)[seen]
        disc = _ellipse(edge, contrast)
    return disc if disc.misfit_px < max(0.35, 0.012 * disc.radius_px) else None


def _ellipse(edge: Points, contrast: float) -> Disc:
    """Least-squares conic through points, about their mean for numerical health."""
    middle, size = edge.mean(axis=0), float(np.ptp(edge[:, 0])) / 2
    x, y = ((edge - middle) / size).T
    design = np.column_stack([x * x, x * y, y * y, x, y])
    a, b, c, d, e = np.linalg.lstsq(design, np.ones(len(x)), rcond=None)[0]
    quadratic = np.array([[a, b / 2], [b / 2, c]])
    centre = np.linalg.solve(quadratic, [-d / 2, -e / 2])
    level = 1 + centre @ quadratic @ centre
    values, vectors = np.linalg.eigh(quadratic / level)
    long, short = 1 / np.sqrt(values)
    local = (edge - middle) / size - centre
    radial = np.sqrt(np.einsum("ij,jk,ik->i", local, quadratic / level, local))
    misfit = size * float(np.median(np.abs(radial - 1))) * 1.4826 * math.sqrt(long * short)
    # a speck on the rim must not bend the circle: four times the common spread is out
    sound = max(4 * 1.4826 * float(np.median(np.abs(radial - 1))), 1e-3)
    return Disc(
        centre_px=middle + size * centre,
        long_px=size * float(long), short_px=size * float(short),
        angle_rad=math.atan2(vectors[1, 0], vectors[0, 0]), misfit_px=misfit,
        contrast=contrast, outline_px=edge[np.abs(radial - 1) < sound][::2],
    )  # fmt: skip


def _likeness(grey: NDArray[np.float32], one: Disc, other: Disc) -> float:
    """How well two discs pair: equal size and shape, with light card between; 0 for no pair."""
    ratio = min(one.radius_px, other.radius_px) / max(one.radius_px, other.radius_px)
    apart = float(np.hypot(*(one.centre_px - other.centre_px)))
    if ratio < 0.8 or apart < 2.5 * one.radius_px:
        return 0.0
    darker = min(one.contrast, other.contrast) / max(one.contrast, other.contrast)
    unit = (other.centre_px - one.centre_px) / apart
    side = np.array([-unit[1], unit[0]])
    on_line = np.linspace(1.35 * one.radius_px, apart - 1.35 * other.radius_px, 60)
    light = [
        sample(grey, one.centre_px + on_line[:, None] * unit + h * one.radius_px * side)
        for h in (-0.6, 0.0, 0.6)
    ]
    dark = float(sample(grey, one.centre_px[None])[0])
    share = float(np.mean(np.array(light) > dark + 25))
    smooth = 1 / (1 + one.misfit_px + other.misfit_px)
    return ratio * darker * share**2 * smooth if share > 0.7 else 0.0
