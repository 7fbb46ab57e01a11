"""Claimed uncertainty of tilt, scale and arcs against real errors, without any photo.

The truth is drawn from what the program holds to be usual (tilt, focal length, lens), the
marks are projected and blurred by noise; then the errors over the claim must have a root
mean square of about 1. 16 draws tell that to 18 % (1 / sqrt(2 n)); the bounds leave room for
tails that are not normal, since a tilt near 0 is a length of a vector.
"""

import math

import numpy as np
import pytest

from damagescore.photo.record import CameraFacts
from damagescore.scale.camera import U_CORNER_BEND, Camera, camera_of
from damagescore.scale.dots_pose import pose_of_dots
from damagescore.scale.plane import plane_of_squares
from damagescore.scale.pose import TILT_PRIOR, Pose
from damagescore.scale.rule_ends import EndLine
from damagescore.scale.rule_pose import U_SQUARE_DEG, pose_of_rule
from damagescore.scale.squares import Square
from damagescore.scale.surface import SurfaceMap

SIZE_PX = (2200, 1650)
DRAWS = 16
NOISE_PX = 0.05


def drawn(rng, *, exif: bool) -> tuple[Pose, Camera, Camera]:
    """The true pose, what is known of its camera, and the lens that nobody knows of."""
    usual, _ = camera_of(CameraFacts(), SIZE_PX)
    known = Camera(size_px=SIZE_PX, focal_px=6000.0, u_log_focal=0.05) if exif else usual
    # no lens is longer or shorter than two standard deviations of what is usual
    focal = known.focal_px * math.exp(known.u_log_focal * np.clip(rng.normal(), -2, 2))
    tilts = TILT_PRIOR["face"] * rng.standard_normal(2)
    pose = Pose(
        mm_per_px=0.025, tilt_x=tilts[0], tilt_y=tilts[1], focal_px=focal, size_px=SIZE_PX
    )
    unknown = Camera(
        size_px=SIZE_PX, focal_px=focal, u_log_focal=0.0,
        u_bend=U_CORNER_BEND * rng.standard_normal(),
    )  # fmt: skip
    return pose, known, unknown


def seen(pose: Pose, lens: Camera, points_mm: np.ndarray, rng) -> np.ndarray:
    px = SurfaceMap(px_to_mm=pose.px_to_mm).to_px(points_mm)
    return lens.bent(px) + NOISE_PX * rng.standard_normal(px.shape)


def by_squares(pose, known, lens, rng):
    corners = np.array([[-5, -5], [5, -5], [5, 5], [-5, 5]], float)
    squares = [
        Square(
            family="aruco_4x4_50", id=i, u_corner_px=NOISE_PX,
            corners_px=seen(pose, lens, corners + np.array([x, 13.0]), rng),
        )
        for i, x in enumerate((-16.0, 14.0))
    ]  # fmt: skip
    plane = plane_of_squares(squares, sides_mm=[10.0, 10.0], camera=known)
    return plane.pose, plane.spread


def by_rule(pose, known, lens, rng):
    along = np.arange(-18.0, 19.0)
    points = np.array([[a, 11.0 + h] for a in along for h in np.linspace(0, 3, 3)])
    square = math.tan(math.radians(U_SQUARE_DEG) * rng.standard_normal())
    ends = seen(pose, lens, np.array([[-18.0, 11.0], [18.0, 11.0 + 36.0 * square]]), rng)
    fit = pose_of_rule(
        seen(pose, lens, points, rng), points[:, 0] + 18.0, camera=known,
        end_line=EndLine(points_px=ends, u_turn_rad=1e-4),
    )  # fmt: skip
    return fit.pose, fit.spread


def by_dots(pose, known, lens, rng):
    turn = np.linspace(0, 2 * np.pi, 36, endpoint=False)
    rim = 2.5 * np.column_stack([np.cos(turn), np.sin(turn)])
    outlines = tuple(seen(pose, lens, rim + np.array([x, 12.0]), rng) for x in (-12.0, 12.0))
    fit = pose_of_dots(outlines, distance_mm=24.0, camera=known)
    return fit.pose, fit.spread


WAYS = {"squares": by_squares, "rule": by_rule, "dots": by_dots}


def short_lines(lens: Camera) -> tuple[np.ndarray, np.ndarray]:
    """Ends of short lines in the photo as seen, and as a lens without distortion has them."""
    places = np.array([[x, y] for x in (600, 1100, 1600) for y in (500, 990)], float)
    steps = np.array([[20, 0], [0, 20], [14, 14]], float)
    ideal = np.array([[p - s, p + s] for p in places for s in steps])
    return lens.bent(ideal), ideal


def scores(way, *, exif: bool) -> tuple[np.ndarray, np.ndarray]:
    """Errors of the tilt and of lengths in units of the claimed u."""
    rng = np.random.default_rng(11)
    tilts, lengths = [], []
    for _ in range(DRAWS):
        pose, known, lens = drawn(rng, exif=exif)
        found, spread = WAYS[way](pose, known, lens, rng)
        tilts.append((found.tilt_deg - pose.tilt_deg) / spread.u_tilt_deg)
        bent, ideal = short_lines(lens)
        read, true = SurfaceMap(px_to_mm=found.px_to_mm), SurfaceMap(px_to_mm=pose.px_to_mm)
        u = math.hypot(*(c.u for c in spread.lines("noise")))
        errors = [
            read.length_mm(b) / true.length_mm(i) - 1 for b, i in zip(bent, ideal, strict=True)
        ]
        lengths.append(math.sqrt(np.mean(np.square(errors))) / u)
    return np.array(tilts), np.array(lengths)


@pytest.mark.parametrize("exif", [True, False], ids=["focal known", "focal usual"])
@pytest.mark.parametrize("way", WAYS)
def test_tilt_and_lengths_err_as_claimed(way, exif):
    tilts, lengths = scores(way, exif=exif)
    print(
        way,
        exif,
        np.sqrt(np.mean(tilts**2)),
        np.sqrt(np.mean(lengths**2)),
        np.abs(tilts).max(),
        lengths.max(),
    )
    for errors in (tilts, lengths):
        assert 0.45 < np.sqrt(np.mean(errors**2)) < 1.55
        assert np.mean(np.abs(errors) < 2) > 0.85
