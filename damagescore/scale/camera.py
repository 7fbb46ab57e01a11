"""What is known of the camera behind a photo: focal length, lens, and how well."""

from dataclasses import dataclass
from typing import Any

import numpy as np

from damagescore.photo.record import CameraFacts
from damagescore.scale.lens import Lens
from damagescore.scale.lens_map import LensMap, Points

FOCAL_IN_WIDTHS = 3.0
U_LOG_FOCAL = 0.7
"""Where EXIF is silent, two standard deviations reach from a phone's main camera (0.75 photo
widths, 27 mm full-frame equivalent) to a long macro lens on a small sensor, or a photo cut to
its middle (12 widths)."""
U_LOG_FOCAL_EXIF = 0.05

U_CORNER_BEND = 0.005
"""Standard uncertainty of the radial shift in the corner of the photo, over the corner's
distance from the middle, of a lens that nobody calibrated. Small study: of 85 macro lenses
from 45 mm (full frame) on in the open lensfun data (read through lensfunpy 1.18.0, 2026),
half bend the corner by more than 0.8 %, a quarter by less than 0.3 %, before any correction;
most cameras correct the larger part in the JPEG (common practice, no source)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Camera:
    """The camera behind one upright photo.

    Parameters
    ----------
    size_px : tuple of int
        Width and height of the photo.
    focal_px, u_log_focal : float
        Focal length, and the standard uncertainty of its logarithm.
    u_bend : float
        Standard uncertainty of the radial shift in the photo's corner over the corner's
        distance from the middle.
    lens : LensMap or None
        None where the lens is not known.
    """

    size_px: tuple[int, int]
    focal_px: float
    u_log_focal: float
    u_bend: float = U_CORNER_BEND
    lens: LensMap | None = None

    @property
    def middle_px(self) -> Points:
        return (np.array(self.size_px, dtype=np.float64) - 1) / 2

    def ideal(self, points_px: Points) -> Points:
        """Places as a lens without distortion gives them, shape (N, 2)."""
        return points_px if self.lens is None else self.lens.to_ideal(points_px)

    def seen(self, points_px: Points) -> Points:
        """Ideal places as the photo shows them, shape (N, 2)."""
        return points_px if self.lens is None else self.lens.to_seen(points_px)

    def bent(self, points_px: Points) -> Points:
        """Where points would lie if the lens bent by one `u_bend` more, shape (N, 2).

        The shift goes with the third power of the distance from the middle (the leading
        term of every radial distortion).
        """
        aside = (points_px - self.middle_px) / (np.hypot(*self.size_px) / 2)
        r2 = np.sum(aside**2, axis=-1, keepdims=True)
        return np.asarray(points_px + self.u_bend * r2 * (points_px - self.middle_px))


@dataclass(frozen=True, slots=True, kw_only=True)
class LensUse:
    """Which lens profile a scale was asked to use, whether it did, and what to mind."""

    name: str
    camera: str
    used: bool
    note: str = ""

    def to_dict(self) -> dict[str, Any]:
        return {
            "name": self.name, "camera": self.camera, "used": self.used, "note": self.note,
        }  # fmt: skip


def focal_prior(focal_px: float | None, size_px: tuple[int, int]) -> tuple[float, float]:
    """Focal length, px, from EXIF or as usual, and the u of its logarithm.

    EXIF gives whole millimetres of the 35 mm equivalent and knows nothing of the focus.
    """
    if focal_px:
        return focal_px, U_LOG_FOCAL_EXIF
    return FOCAL_IN_WIDTHS * max(size_px), U_LOG_FOCAL


def camera_of(
    facts: CameraFacts, size_px: tuple[int, int], lens: Lens | None = None
) -> tuple[Camera, LensUse | None]:
    """The camera of an upright photo: by the lens profile, by EXIF, or as is usual.

    A profile of another camera, size or zoom is not used, and the answer says so.
    """
    focal, u_focal = focal_prior(facts.focal_px, size_px)
    known = Camera(size_px=size_px, focal_px=focal, u_log_focal=u_focal)
    if lens is None:
        return known, None
    misfit = lens.misfit(facts, size_px)
    if misfit:
        return known, LensUse(name=lens.name, camera=lens.camera, used=False, note=misfit)
    calibrated = Camera(
        size_px=size_px, focal_px=lens.focal_px, u_log_focal=lens.u_log_focal,
        u_bend=lens.u_corner_bend, lens=lens.map_for(facts.orientation),
    )  # fmt: skip
    note = lens.unproven(facts)
    return calibrated, LensUse(name=lens.name, camera=lens.camera, used=True, note=note)
