"""Photos of the printed check target through a known camera, for tests."""

import subprocess
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory

import cv2
import numpy as np
from numpy.typing import NDArray

from damagescore.capability.sheet import HEIGHT, WIDTH, write_target
from damagescore.photo.record import CameraFacts, Photo

PAGE_PX_PER_MM = 40.0
LEFT_MM, TOP_MM = 30.0, 297.0 - 228.0
"""Where the target's upper left corner is on the page."""


@cache
def printed() -> NDArray[np.uint8]:
    """The target as poppler rasterises the page we write, grey, 40 px/mm."""
    with TemporaryDirectory() as folder:
        page = write_target(Path(folder))
        dpi = str(PAGE_PX_PER_MM * 25.4)
        subprocess.run(
            [
                "pdftoppm",
                "-gray",
                "-png",
                "-r",
                dpi,
                "-singlefile",
                str(page),
                f"{folder}/page",
            ],
            check=True,
        )
        grey = cv2.imread(f"{folder}/page.png", cv2.IMREAD_GRAYSCALE)
    assert grey is not None
    x, y = round(LEFT_MM * PAGE_PX_PER_MM), round(TOP_MM * PAGE_PX_PER_MM)
    width, height = round(WIDTH * PAGE_PX_PER_MM), round(HEIGHT * PAGE_PX_PER_MM)
    return np.asarray(grey[y : y + height, x : x + width], np.uint8)


def encoded(light: NDArray[np.float32]) -> NDArray[np.float32]:
    """Linear light, 0 to 1, as a camera stores it (IEC 61966-2-1, sRGB)."""
    low = light <= 0.0031308
    return np.where(low, 12.92 * light, 1.055 * np.maximum(light, 1e-6) ** (1 / 2.4) - 0.055)


def photo_of(
    print_: NDArray[np.uint8], *, px_per_mm: float = 28.0, tilt_deg: float = 6.0,
    blur_px: float = 1.0, noise: float = 2.0, seed: int = 0,
) -> Photo:  # fmt: skip
    """Photograph a print with a pinhole camera 35 cm away, tilted about both axes."""
    width, height = int(WIDTH * px_per_mm * 1.1), int(HEIGHT * px_per_mm * 1.15)
    distance = 350.0
    focal = px_per_mm * distance
    turn, _ = cv2.Rodrigues(np.radians([tilt_deg, 0.6 * tilt_deg, 2.0]))
    camera = np.array([[focal, 0, width / 2], [0, focal, height / 2], [0, 0, 1]])
    shift = np.array([0.0, 0.0, distance]) - turn @ np.array([WIDTH / 2, HEIGHT / 2, 0.0])
    to_photo = camera @ np.column_stack([turn[:, 0], turn[:, 1], shift])
    # Pixel centres lie half a pixel inside: page pixel (i, j) shows ((i + 0.5) / 40, ...) mm.
    to_mm = np.array([[1, 0, 0.5], [0, 1, 0.5], [0, 0, PAGE_PX_PER_MM]]) / PAGE_PX_PER_MM
    # Light adds up where it is linear: paper sends back 60 %, ink 3 %.
    grey = print_.astype(np.float32) / 255 * 0.57 + 0.03
    # Twice as fine and then averaged, so that no border is stepped.
    double = np.array([[2, 0, 0.5], [0, 2, 0.5], [0, 0, 1.0]])
    big = cv2.warpPerspective(
        grey, double @ to_photo @ to_mm, (2 * width, 2 * height), borderValue=0.15,
        flags=cv2.INTER_LINEAR,
    )  # fmt: skip
    small = cv2.GaussianBlur(
        cv2.resize(big, (width, height), interpolation=cv2.INTER_AREA), (0, 0), blur_px
    )
    small = 255 * encoded(small) + np.random.default_rng(seed).normal(0, noise, small.shape)
    shown = np.clip(np.round(small), 0, 255).astype(np.uint8)
    return Photo(
        name="target.png", sha256="0" * 64, rgb=np.dstack([shown] * 3),
        grey=shown.astype(np.float32), bit_depth=8, camera=CameraFacts(),
    )  # fmt: skip
