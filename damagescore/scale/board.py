"""The printed board by which a camera is calibrated: a chessboard with numbered squares."""

import cv2
import numpy as np
from numpy.typing import NDArray

from damagescore.scale.squares import FAMILIES

FAMILY = "aruco_4x4_50"

COLUMNS, ROWS = 10, 7
SQUARE_MM = 14.0
MARKER_MM = 10.5

FACTS = (
    f"ChArUco board, {COLUMNS} x {ROWS} squares of {SQUARE_MM:g} mm,",
    f"markers of {MARKER_MM:g} mm, ArUco 4x4_50 numbers 0 to {COLUMNS * ROWS // 2 - 1}",
)
"""What tells the board to any other program that reads such boards."""


def board_of(square_mm: float = SQUARE_MM) -> cv2.aruco.CharucoBoard:
    """The board in OpenCV's own form, with squares of the side that was measured."""
    dictionary = cv2.aruco.getPredefinedDictionary(FAMILIES[FAMILY])
    marker_mm = square_mm * MARKER_MM / SQUARE_MM
    return cv2.aruco.CharucoBoard((COLUMNS, ROWS), square_mm, marker_mm, dictionary)


def black_cells() -> tuple[NDArray[np.bool_], float]:
    """The board in its finest cells, True where black, and the side of a cell in mm.

    A marker has 6 cells over 10.5 mm, a square 8 of the same size: markers and chessboard
    share one grid.
    """
    per_square = 8
    size = (COLUMNS * per_square, ROWS * per_square)
    image = board_of().generateImage(size, marginSize=0, borderBits=1)
    return np.asarray(image) < 128, SQUARE_MM / per_square
