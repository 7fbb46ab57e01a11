"""A lens profile of a camera that bends the corners of its photos."""

from damagescore.photo.record import CameraFacts
from damagescore.scale import Lens

SIZE_PX = (900, 640)
FOCAL_PX = 1500.0
CENTRE_PX = (456.0, 316.0)
DISTORTION = (-0.06, 0.02, 0.0004, -0.0003)
CAMERA = CameraFacts(model="Sample A", focal_mm=5.0)
LENS = Lens(
    name="sample", model="Sample A", focal_mm=5.0, size_px=SIZE_PX, focal_px=FOCAL_PX,
    u_focal_px=1.0, centre_px=CENTRE_PX, u_centre_px=(1.0, 1.0), distortion=DISTORTION,
    u_distortion=(0.001, 0.005, 1e-4, 1e-4), u_bend=1e-4, rms_px=0.2, photos=12, corners=600,
    coverage_percent=90.0, distance_mm=(60.0, 110.0), made="2026-01-01",
)  # fmt: skip
