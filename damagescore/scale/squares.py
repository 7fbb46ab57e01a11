"""Square fiducials: detection, and corners from straight lines fitted to the sides."""

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from damagescore.scale.lens_map import LensMap
from damagescore.scale.profile import edge_areas, edge_offsets, even_steps, linear_light, sample

Points = NDArray[np.float64]

FAMILIES = {
    "aruco_4x4_50": cv2.aruco.DICT_4X4_50,
    "apriltag_36h11": cv2.aruco.DICT_APRILTAG_36h11,
}
# Quiet cells on each side: the outer black border is one cell of six or of eight.
CELLS = {"aruco_4x4_50": 6, "apriltag_36h11": 8}

SMALLEST_SIDE_PX = 20

MOST_REACH_PX = 12.0
"""Light is looked at so far beside a side."""

FULL_REACH_PX = 5.0
"""From this clear stretch beside a side on, the light across it can be summed."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Square:
    """One square in the photo.

    `corners_px` has shape (4, 2), in the order of the fiducial's own corners;
    `u_corner_px` is the standard uncertainty of one corner coordinate.
    """

    family: str
    id: int
    corners_px: Points
    u_corner_px: float

    @property
    def side_px(self) -> float:
        return float(np.mean(np.hypot(*(self.corners_px - np.roll(self.corners_px, 1, 0)).T)))

    @property
    def tilt_deg(self) -> float:
        """Tilt from this square's own foreshortening; crude below about 5 degrees.

        Seen from afar, a tilted square is a parallelogram whose map has singular values in
        the ratio of the cosine of the tilt.
        """
        first, second, third, fourth = self.corners_px
        sides = np.column_stack(
            [second - first + third - fourth, fourth - first + third - second]
        )
        large, small = np.linalg.svd(sides, compute_uv=False)
        return math.degrees(math.acos(min(1.0, float(small / large))))


def find_squares(grey: NDArray[np.float32], lens: LensMap | None = None) -> tuple[Square, ...]:
    """All squares of both families, refined at full resolution.

    Parameters
    ----------
    grey : ndarray, shape (H, W)
    lens : LensMap, optional
        Sides are then straight where the lens would not bend them; the corners are given
        as the photo shows them all the same.
    """
    found: list[Square] = []
    for width in (1600, 3200):
        if found or (width > 1600 and grey.shape[1] <= 1600):
            break
        found = [
            _refined(_light_around(grey, c), family, i, c, lens=lens)
            for family, i, c in _detected(grey, width)
        ]
    return tuple(_without_duplicates(found))


def _detected(grey: NDArray[np.float32], width: int) -> list[tuple[str, int, Points]]:
    factor = min(1.0, width / max(grey.shape))
    size = (round(grey.shape[1] * factor), round(grey.shape[0] * factor))
    small = cv2.resize(grey, size, interpolation=cv2.INTER_AREA)
    image = np.clip(small, 0, 255).astype(np.uint8)
    ratio = np.array([grey.shape[1] / size[0], grey.shape[0] / size[1]])
    dictionaries = [cv2.aruco.getPredefinedDictionary(x) for x in FAMILIES.values()]
    detector = cv2.aruco.ArucoDetector(dictionaries, _parameters())
    corners, ids, _, which = detector.detectMarkersMultiDict(image)
    if not corners:  # then there are no ids either
        return []
    full = (np.asarray(corners, np.float64).reshape(-1, 4, 2) + 0.5) * ratio - 0.5
    families = [list(FAMILIES)[int(k)] for k in np.ravel(which)]
    return [
        (family, int(number), quad)
        for family, number, quad in zip(families, np.ravel(ids), full, strict=True)
        if _shortest_side(quad) >= SMALLEST_SIDE_PX
    ]


def _light_around(grey: NDArray[np.float32], corners: Points) -> NDArray[np.float32]:
    """Light as far from a square as its refined sides may move; black elsewhere.

    Before they are read for the last time they may move twice by a fifth of a side.
    """
    reach = MOST_REACH_PX + np.ptp(corners, axis=0).max() / 2
    x0, y0 = (max(0, int(c - reach)) for c in corners.min(axis=0))
    x1, y1 = (int(c + reach) + 2 for c in corners.max(axis=0))
    light = np.zeros(grey.shape, np.float32)  # costs nothing where it is not filled
    light[y0:y1, x0:x1] = linear_light(grey[y0:y1, x0:x1])
    return light


def _parameters() -> cv2.aruco.DetectorParameters:
    parameters = cv2.aruco.DetectorParameters()
    parameters.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_NONE
    parameters.adaptiveThreshWinSizeMin = 5
    parameters.adaptiveThreshWinSizeMax = 65
    parameters.adaptiveThreshWinSizeStep = 12
    parameters.minMarkerPerimeterRate = 0.02
    parameters.errorCorrectionRate = 0.4
    return parameters


def _shortest_side(corners: Points) -> float:
    return float(np.min(np.hypot(*(corners - np.roll(corners, 1, axis=0)).T)))


def _without_duplicates(found: list[Square]) -> list[Square]:
    kept: list[Square] = []
    for square in sorted(found, key=lambda s: -s.side_px):
        centre = square.corners_px.mean(axis=0)
        apart = [np.hypot(*(centre - k.corners_px.mean(axis=0))) > k.side_px / 2 for k in kept]
        if all(apart):
            kept.append(square)
    return sorted(kept, key=lambda s: (s.corners_px[:, 0].mean(), s.id))


def _refined(
    light: NDArray[np.float32], family: str, number: int, corners: Points, *,
    lens: LensMap | None,
) -> Square:  # fmt: skip
    u = 0.5
    # the sampling lines follow the corners: two rounds settle them, the third is exact
    for exact in (False, False, True):
        fitted = [
            _fit_side(
                light, corners[i], corners[(i + 1) % 4], cells=CELLS[family], exact=exact,
                lens=lens,
            )
            for i in range(4)
        ]  # fmt: skip
        if any(f is None for f in fitted):
            break
        lines = [f for f in fitted if f is not None]
        moved = np.array([_meet(lines[i - 1][0], lines[i][0]) for i in range(4)])
        moved = moved if lens is None else lens.to_seen(moved)
        if np.max(np.abs(moved - corners)) > 0.2 * _shortest_side(corners):
            break
        corners, u = moved, max(x[1] for x in lines)
    return Square(family=family, id=number, corners_px=corners, u_corner_px=u)


def _fit_side(
    light: NDArray[np.float32], start: Points, end: Points, *, cells: int, exact: bool,
    lens: LensMap | None,
) -> tuple[tuple[Points, Points], float] | None:  # fmt: skip
    """Straight line through the sub-pixel edge points of one side, and a corner's u."""
    along = end - start
    side = float(np.hypot(*along))
    along = along / side
    outwards = np.array([along[1], -along[0]])  # corners run clockwise in the photo
    reach = float(np.clip(0.7 * side / cells, 3.0, MOST_REACH_PX))
    stations = np.linspace(0.08, 0.92, int(np.clip(side / 2, 16, 160))) * side
    step = 0.25
    across = even_steps(reach, step_px=step)
    feet = start + stations[:, None] * along
    profiles = sample(light, feet[:, None, :] + across[None, :, None] * outwards)
    offsets = edge_offsets(profiles, step_px=step)
    if exact and reach >= FULL_REACH_PX:
        offsets = edge_areas(profiles, offsets, step_px=step)
    seen = np.isfinite(offsets)
    if seen.sum() < 8:
        return None
    points = (feet + np.nan_to_num(offsets)[:, None] * outwards)[seen]
    points = points if lens is None else lens.to_ideal(points)
    line = _robust_line(points)
    residual = (points - line[0]) @ np.array([-line[1][1], line[1][0]])
    spread = 1.4826 * float(np.median(np.abs(residual)))
    # Neighbouring stations share pixels: about one independent edge point a pixel or two.
    independent = max(4.0, min(seen.sum(), side / 2))
    return line, max(0.01, 2 * spread / math.sqrt(independent))


def _robust_line(points: Points) -> tuple[Points, Points]:
    vx, vy, x0, y0 = cv2.fitLine(
        points.astype(np.float32), cv2.DIST_HUBER, 0, 0.01, 0.001
    ).ravel()
    centre, direction = np.array([x0, y0], np.float64), np.array([vx, vy], np.float64)
    # fitLine works in single precision; one least-squares pass on the inliers restores it
    residual = np.abs((points - centre) @ np.array([-direction[1], direction[0]]))
    inside = points[residual <= max(0.15, 3 * float(np.median(residual)))]
    centre = inside.mean(axis=0)
    direction = np.linalg.eigh(np.cov((inside - centre).T))[1][:, 1]
    return centre, direction


def _meet(first: tuple[Points, Points], second: tuple[Points, Points]) -> Points:
    (p, d), (q, e) = first, second
    t = np.linalg.solve(np.column_stack([d, -e]), q - p)[0]
    return np.asarray(p + t * d)
