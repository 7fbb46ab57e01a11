"""Reading photos: pixels, grey levels, orientation, hash and camera facts."""

from damagescore.photo.reader import camera_of, check_header, read_photo
from damagescore.photo.record import CameraFacts, Photo

__all__ = ["CameraFacts", "Photo", "camera_of", "check_header", "read_photo"]
