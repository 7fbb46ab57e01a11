"""One demo photo with cracks, read and measured once for all tests that look at it."""

from pathlib import Path

import pytest

from damagescore.measure import Measurement, MeasureOptions, measure_photo
from damagescore.photo import read_photo
from damagescore.photo.record import Photo

CRACKS = Path(__file__).parents[2] / "demo_images" / "hv2210-01-cracks.jpg"


@pytest.fixture(scope="session")
def photo() -> Photo:
    return read_photo(CRACKS)


@pytest.fixture(scope="session")
def measured(photo: Photo) -> Measurement:
    return measure_photo(photo, MeasureOptions())
