"""Photos of the calibration board, computed: corners by OpenCV's `projectPoints`, or drawn."""

import cv2
import numpy as np

from damagescore.photo.record import CameraFacts, Photo
from damagescore.scale.board import COLUMNS, ROWS, SQUARE_MM, board_of
from damagescore.scale.calibrate import BoardView
from damagescore.scale.lens_map import LensMap

SIZE_PX = (2000, 1500)
FOCAL_PX = 2900.0
CENTRE_PX = (1012.0, 741.0)
DISTORTION = (-0.09, 0.06, 0.0006, -0.0004)
MATRIX = np.array([[FOCAL_PX, 0, CENTRE_PX[0]], [0, FOCAL_PX, CENTRE_PX[1]], [0, 0, 1.0]])
CAMERA = CameraFacts(maker="Sample", model="Sample A", focal_mm=5.0)


def lens_map(**other) -> LensMap:
    plain = {
        "focal_px": FOCAL_PX, "centre_px": CENTRE_PX, "distortion": DISTORTION,
        "middle_px": ((SIZE_PX[0] - 1) / 2, (SIZE_PX[1] - 1) / 2),
    }  # fmt: skip
    return LensMap(**(plain | other))


def poses(count, rng, *, tilt_deg=35.0, away_mm=220.0):
    """Boards before the camera: tilted to every side, in every part of the photo."""
    found = []
    for i in range(count):
        turn = 2 * np.pi * i / count + rng.uniform(0, 0.5)
        tilt = np.radians(tilt_deg) * rng.uniform(0.6, 1.0)
        axis = tilt * np.array([np.cos(turn), np.sin(turn), 0]) + [0, 0, rng.uniform(-0.2, 0.2)]
        middle = np.array([COLUMNS, ROWS, 0]) * SQUARE_MM / 2
        aside = np.array([30 * np.cos(3 * turn), 22 * np.sin(3 * turn), 0])
        away = np.array([0, 0, away_mm * rng.uniform(0.9, 1.15)])
        found.append((axis, aside + away - cv2.Rodrigues(axis)[0] @ middle))
    return found


def seen_px(points_mm, axis, place):
    """Where the camera sees points of the board, by OpenCV."""
    found = cv2.projectPoints(points_mm, axis, place, MATRIX, np.array(DISTORTION))[0]
    return found.reshape(-1, 2)


def views(rng, *, count=12, noise_px=0.2, camera=CAMERA, size_px=SIZE_PX, **pose):
    """Views of the board with noise; corners that lie outside the photo are left out."""
    board = np.asarray(board_of().getChessboardCorners(), np.float64)
    found = []
    for number, (axis, place) in enumerate(poses(count, rng, **pose)):
        px = cv2.projectPoints(board, axis, place, MATRIX, np.array(DISTORTION))[0].reshape(
            -1, 2
        )
        inside = ((px > 5) & (px < np.array(SIZE_PX) - 6)).all(axis=1)
        noisy = px + noise_px * rng.standard_normal(px.shape)
        found.append(
            BoardView(
                name=f"board-{number:02d}", corners_px=noisy[inside],
                board_mm=board[inside, :2], size_px=size_px, camera=camera,
            )
        )  # fmt: skip
    return found


def drawn_photo(axis, place, *, camera=CAMERA, blur_px=1.2, noise_dn=2.0, seed=0) -> Photo:
    """The board photographed through the bending lens; the blur is wider than a pixel."""
    margin, print_px = 1.0, 8
    board = board_of().generateImage(
        (COLUMNS * 8 * print_px, ROWS * 8 * print_px), marginSize=0, borderBits=1
    )
    per_mm = 8 * print_px / SQUARE_MM
    border = round(margin * SQUARE_MM * per_mm)
    paper = cv2.copyMakeBorder(board, *[border] * 4, cv2.BORDER_CONSTANT, value=255)
    width, height = SIZE_PX
    x, y = np.meshgrid(np.arange(width), np.arange(height))
    seen = np.column_stack([x.ravel(), y.ravel()]).astype(np.float64)
    ideal = cv2.undistortPoints(
        seen.reshape(-1, 1, 2), MATRIX, np.array(DISTORTION)
    ).reshape(-1, 2)  # fmt: skip
    turn = cv2.Rodrigues(np.asarray(axis))[0]
    flat = np.linalg.inv(np.column_stack([turn[:, :2], place]))
    mm = cv2.perspectiveTransform(ideal.reshape(-1, 1, 2), flat).reshape(-1, 2)
    at = ((mm * per_mm) + border - 0.5).astype(np.float32)
    shape = (height, width)
    light = cv2.remap(
        paper, at[:, 0].reshape(shape), at[:, 1].reshape(shape), cv2.INTER_LINEAR,
        borderMode=cv2.BORDER_CONSTANT, borderValue=90,
    ).astype(np.float64) / 255  # fmt: skip
    light = cv2.GaussianBlur(0.05 + 0.7 * light, (0, 0), blur_px)
    noise = noise_dn * np.random.default_rng(seed).standard_normal(light.shape)
    level = np.clip(np.round(255 * light ** (1 / 2.2) + noise), 0, 255).astype(np.uint8)
    return Photo(
        name=f"board-{seed:02d}.png", sha256=f"{seed:064d}", rgb=np.dstack([level] * 3),
        grey=level.astype(np.float32), bit_depth=8, camera=camera,
    )  # fmt: skip
