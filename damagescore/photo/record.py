"""The photo as read: pixels, grey levels, hash and camera facts."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True, slots=True, kw_only=True)
class CameraFacts:
    """What the file's EXIF says of the camera; None where it is silent.

    `focal_px` is the focal length in pixels of the upright full-resolution photo, `focal_mm`
    as the lens has it engraved, `orientation` how the file stores the photo (Exif tag 0x0112).
    """

    maker: str | None = None
    model: str | None = None
    taken: str | None = None
    focal_px: float | None = None
    focal_mm: float | None = None
    orientation: int = 1


@dataclass(frozen=True, slots=True, kw_only=True)
class Photo:
    """An upright photo. Pixel centres lie at integers, x right, y down.

    Parameters
    ----------
    name : str
        File name without folders.
    sha256 : str
        Hash of the file's bytes, lower-case hexadecimal.
    rgb : ndarray of uint8, shape (H, W, 3)
        For showing.
    grey : ndarray of float32, shape (H, W)
        Luma on a 0 to 255 scale; keeps 16-bit steps. For measuring.
    bit_depth : int
        8 or 16, as stored.
    camera : CameraFacts
    """

    name: str
    sha256: str
    rgb: NDArray[np.uint8]
    grey: NDArray[np.float32]
    bit_depth: int
    camera: CameraFacts

    @property
    def width(self) -> int:
        return int(self.grey.shape[1])

    @property
    def height(self) -> int:
        return int(self.grey.shape[0])
