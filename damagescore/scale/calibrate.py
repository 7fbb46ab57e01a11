"""Calibrating a camera by photos of the printed board."""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from damagescore.errors import CalibrationError
from damagescore.photo.record import CameraFacts, Photo
from damagescore.quantity import count_words
from damagescore.scale.board import SQUARE_MM, board_of
from damagescore.scale.lens import Lens
from damagescore.scale.lens_map import Points

FLAGS = cv2.CALIB_FIX_ASPECT_RATIO | cv2.CALIB_FIX_K3
"""Square pixels, one focal length; k3 stays 0: with k1 and k2 free it only takes up noise."""

FIELDS = (8, 6)
"""Into how many fields the photo is divided to see where corners lie."""

LEAST_CORNERS = 12
"""Of 54: a photo that shows fewer of the board is not used."""

OUTLIER = 3.0
"""Times the median photo's misfit from which a photo is left out (blurred, board bent)."""

DETECT_WIDTH_PX = 2000

LEAST_NOISE_PX = 0.15
"""Corners of one photo share errors of blur and print that their misfit does not show: drawn
boards that fit to 0.06 px gave the focal length 0.06 % wrong, 4 times what that promises."""


@dataclass(frozen=True, slots=True, kw_only=True)
class BoardView:
    """The board in one photo.

    `corners_px` has shape (N, 2), places in the photo as the camera stored it; `board_mm`
    the same corners on the board. `size_px` is the stored width and height.
    """

    name: str
    corners_px: Points
    board_mm: Points
    size_px: tuple[int, int]
    camera: CameraFacts


@dataclass(frozen=True, slots=True, kw_only=True)
class ViewResult:
    """How one photo fits: misfit in px, board's tilt and distance; None where not used."""

    name: str
    corners: int
    used: bool
    rms_px: float | None = None
    tilt_deg: float | None = None
    distance_mm: float | None = None

    def to_dict(self) -> dict[str, Any]:
        return {
            "name": self.name, "corners": self.corners, "used": self.used,
            "rms_px": self.rms_px, "tilt_deg": self.tilt_deg,
            "distance_mm": self.distance_mm,
        }  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class Calibration:
    """A lens profile with the photos behind it.

    `u_log_focal` is the relative uncertainty of the focal length at this focus,
    `tilt_range_deg` the largest angle between two boards, `fields` how many corners lie in
    each field of the photo, shape `FIELDS` reversed (rows, columns).
    """

    lens: Lens
    views: tuple[ViewResult, ...]
    tilt_range_deg: float
    fields: NDArray[np.int64]


def view_of(photo: Photo, *, square_mm: float = SQUARE_MM) -> BoardView:
    """Find the board's corners; none are found where the board is not seen.

    Raises
    ------
    CalibrationError
        When the photo is stored mirrored.
    """
    back = _UNTURNED.get(photo.camera.orientation)
    if back is None:
        raise CalibrationError(
            f"{photo.name} is stored mirrored (orientation {photo.camera.orientation}).",
            remedy="Use the photos as the camera wrote them.",
        )
    board = board_of(square_mm)
    grey = np.clip(photo.grey, 0, 255).astype(np.uint8)
    corners, ids = _detected(grey, board)
    size = (photo.width, photo.height)
    upright = photo.camera.orientation in (1, 3)
    return BoardView(
        name=photo.name, corners_px=back(corners, size),
        board_mm=np.asarray(board.getChessboardCorners(), np.float64)[ids, :2],
        size_px=size if upright else size[::-1], camera=photo.camera,
    )  # fmt: skip


def _detected(
    grey: NDArray[np.uint8], board: cv2.aruco.CharucoBoard
) -> tuple[Points, NDArray[np.intp]]:
    """Corners (N, 2) at full resolution, and their numbers on the board."""
    factor = min(1.0, DETECT_WIDTH_PX / max(grey.shape))
    size = (round(grey.shape[1] * factor), round(grey.shape[0] * factor))
    small = cv2.resize(grey, size, interpolation=cv2.INTER_AREA)
    corners, ids, _, _ = cv2.aruco.CharucoDetector(board).detectBoard(small)
    if ids is None or len(ids) == 0:
        return np.empty((0, 2)), np.empty(0, np.intp)
    full = (np.asarray(corners, np.float64).reshape(-1, 2) + 0.5) / factor - 0.5
    reach = max(3, round(_spacing(full) / 6))
    criteria = (cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_COUNT, 50, 0.001)
    fine = cv2.cornerSubPix(
        grey, full.astype(np.float32).reshape(-1, 1, 2), (reach, reach), (-1, -1), criteria
    )
    return np.asarray(fine, np.float64).reshape(-1, 2), ids.ravel().astype(np.intp)


def _spacing(corners: Points) -> float:
    """Least distance between two corners of the board, px."""
    if len(corners) < 2:
        return 30.0
    apart = np.hypot(*(corners[:, None] - corners[None]).transpose(2, 0, 1))
    return float(np.min(apart[apart > 0]))


def calibrate(
    views: Sequence[BoardView], *, name: str = "", made: str | None = None
) -> Calibration:
    """Fit focal length, principal point and distortion to the boards.

    Parameters
    ----------
    views : sequence of BoardView
    name : str
        What the profile shall be called.
    made : str, optional
        Date, ISO 8601; today by default.

    Raises
    ------
    CalibrationError
        When the photos are of different sizes, cameras or zooms, or too few show the board.

    Notes
    -----
    The standard uncertainties come from the normal equations at the solution and the
    misfit, as OpenCV's `stdDeviationsIntrinsics` do, with a misfit of `LEAST_NOISE_PX` at
    least; they hold for corners that err independently. A print that is longer one way than
    the other by a share e moves the focal length by up to e.
    """
    seen = [v for v in views if len(v.corners_px) >= LEAST_CORNERS]
    _refuse_mixed(seen)
    if len(seen) < 3:
        raise CalibrationError(
            f"The board was found in {len(seen)} of {count_words(len(views), 'photo')}, and 3 "
            "is the least.",
            remedy="Show at least a quarter of the board, sharp and evenly lit, in 8 to 15 "
            "photos.",
        )
    fit = _fitted(seen)
    limit = OUTLIER * float(np.median(fit.rms_px))
    kept = [v for v, r in zip(seen, fit.rms_px, strict=True) if r <= limit]
    if 3 <= len(kept) < len(seen):
        seen, fit = kept, _fitted(kept)
    return _calibration(views, seen, fit, name=name, made=made)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Fit:
    """Camera matrix, k1 k2 p1 p2, poses, misfit, and covariance of f, cx, cy and those four."""

    matrix: Points
    distortion: Points
    turns: list[Points]
    places: list[Points]
    rms_px: NDArray[np.float64]
    covariance: NDArray[np.float64]


def _fitted(views: Sequence[BoardView]) -> _Fit:
    flat = [np.column_stack([v.board_mm, np.zeros(len(v.board_mm))]) for v in views]
    boards = [b.astype(np.float32).reshape(-1, 1, 3) for b in flat]
    corners = [v.corners_px.astype(np.float32).reshape(-1, 1, 2) for v in views]
    try:
        _, *found = cv2.calibrateCamera(
            boards, corners, views[0].size_px, np.eye(3), np.zeros(5), flags=FLAGS
        )
    except cv2.error:
        raise CalibrationError(
            "No camera fits the boards in these photos.",
            remedy="Take them with the board flat, whole and tilted in turn to every side.",
        ) from None
    matrix, distortion = (np.asarray(x, np.float64) for x in found[:2])
    turns, places = ([np.ravel(np.asarray(p, np.float64)) for p in x] for x in found[2:])
    rms, normal, squares, count = [], np.zeros((7, 7)), 0.0, 0
    for view, turn, place in zip(views, turns, places, strict=True):
        misfit, own = _normal_part(view, turn, place, matrix, distortion)
        rms.append(math.sqrt(float(np.mean(np.sum(misfit**2, axis=1)))))
        normal += own
        squares += float(np.sum(misfit**2))
        count += misfit.size
    variance = max(LEAST_NOISE_PX**2, squares / max(1, count - 7 - 6 * len(views)))
    return _Fit(
        matrix=matrix, distortion=distortion.ravel()[:4], turns=turns, places=places,
        rms_px=np.array(rms), covariance=np.asarray(variance * np.linalg.inv(normal)),
    )  # fmt: skip


def _normal_part(
    view: BoardView, turn: Points, place: Points, matrix: Points, distortion: Points
) -> tuple[Points, NDArray[np.float64]]:
    """Misfit (N, 2) of one photo, and what it adds to the camera's normal equations (7, 7).

    The pose of each board is eliminated (Schur complement).
    """
    board = np.column_stack([view.board_mm, np.zeros(len(view.board_mm))])
    projected, slopes = cv2.projectPoints(board, turn, place, matrix, distortion)
    misfit = view.corners_px - np.asarray(projected, np.float64).reshape(-1, 2)
    pose = np.asarray(slopes[:, :6], np.float64)
    # columns of OpenCV: turn 3, place 3, focal 2, centre 2, distortion; one focal length
    focal = (slopes[:, 6] + slopes[:, 7])[:, None]
    camera = np.hstack([focal, slopes[:, 8:14]])
    shared = camera.T @ pose
    rest = camera.T @ camera - shared @ np.linalg.solve(pose.T @ pose, shared.T)
    return misfit, np.asarray(rest)


def _calibration(
    views: Sequence[BoardView], used: Sequence[BoardView], fit: _Fit, *, name: str,
    made: str | None,
) -> Calibration:  # fmt: skip
    size, facts = used[0].size_px, used[0].camera
    normals = np.array([cv2.Rodrigues(t)[0][:, 2] for t in fit.turns])
    away = [float(p[2]) for p in fit.places]
    fields = _fields(np.vstack([v.corners_px for v in used]), size)
    u = np.sqrt(np.diag(fit.covariance))
    focal = float(fit.matrix[0, 0])
    k1, k2, p1, p2 = (float(x) for x in fit.distortion)
    lens = Lens(
        name=name, maker=facts.maker, model=facts.model, focal_mm=facts.focal_mm,
        size_px=size, focal_px=focal, u_focal_px=float(u[0]),
        centre_px=(float(fit.matrix[0, 2]), float(fit.matrix[1, 2])),
        u_centre_px=(float(u[1]), float(u[2])), distortion=(k1, k2, p1, p2),
        u_distortion=(float(u[3]), float(u[4]), float(u[5]), float(u[6])),
        u_bend=_u_bend(fit.covariance[3:5, 3:5], math.hypot(*size) / 2 / focal),
        rms_px=math.sqrt(float(np.mean(fit.rms_px**2))), photos=len(used),
        corners=sum(len(v.corners_px) for v in used),
        coverage_percent=100 * float(np.mean(fields > 0)),
        distance_mm=(min(away), max(away)),
        made=made or datetime.now(UTC).date().isoformat(),
    )  # fmt: skip
    results = {
        id(v): ViewResult(
            name=v.name, corners=len(v.corners_px), used=True, rms_px=float(r),
            tilt_deg=math.degrees(math.acos(min(1.0, abs(float(n[2]))))), distance_mm=z,
        )
        for v, r, n, z in zip(used, fit.rms_px, normals, away, strict=True)
    }  # fmt: skip
    unused = [ViewResult(name=v.name, corners=len(v.corners_px), used=False) for v in views]
    cosines = np.clip(np.abs(normals @ normals.T), 0.0, 1.0)
    return Calibration(
        lens=lens, tilt_range_deg=math.degrees(math.acos(float(cosines.min()))), fields=fields,
        views=tuple(results.get(id(v), u) for v, u in zip(views, unused, strict=True)),
    )  # fmt: skip


def _u_bend(covariance: NDArray[np.float64], corner: float) -> float:
    """Standard uncertainty of k1 r² + k2 r⁴ at the photo's corner."""
    slope = np.array([corner**2, corner**4])
    return math.sqrt(float(slope @ covariance @ slope))


def _fields(corners: Points, size_px: tuple[int, int]) -> NDArray[np.int64]:
    across, down = FIELDS if size_px[0] >= size_px[1] else FIELDS[::-1]
    width, height = size_px
    counts, _, _ = np.histogram2d(
        corners[:, 1], corners[:, 0], bins=(down, across),
        range=((-0.5, height - 0.5), (-0.5, width - 0.5)),
    )  # fmt: skip
    return counts.astype(np.int64)


def _refuse_mixed(views: Sequence[BoardView]) -> None:
    """Refuse photos of more than one size, camera or zoom."""
    kinds: tuple[tuple[str, Callable[[BoardView], object]], ...] = (
        ("sizes", lambda v: f"{v.size_px[0]} x {v.size_px[1]} px"),
        ("cameras", lambda v: v.camera.model or "camera not named"),
        ("focal lengths", lambda v: f"{v.camera.focal_mm or 0:g} mm"),
    )
    for what, kind in kinds:
        found = sorted({str(kind(v)) for v in views})
        if len(found) > 1:
            raise CalibrationError(
                f"The photos have different {what}: {', '.join(found)}.",
                remedy="Calibrate one camera at one size and one zoom setting at a time.",
            )


# From the upright photo back to the photo as stored, by EXIF orientation.
_UNTURNED: dict[int, Callable[[Points, tuple[int, int]], Points]] = {
    1: lambda p, _: p,
    3: lambda p, s: np.array(s, float) - 1 - p,
    6: lambda p, s: np.column_stack([p[:, 1], s[0] - 1 - p[:, 0]]),
    8: lambda p, s: np.column_stack([s[1] - 1 - p[:, 1], p[:, 0]]),
}
