"""Small pictures of photos in the vault."""

import cv2
import numpy as np
import streamlit as st

from damagescore.photo import read_photo
from damagescore.ui.session import store

SIDE_PX = 360
LARGE_PX = 1400


@st.cache_data(max_entries=200, show_spinner=False)
def thumbnail(sha256: str, *, name: str | None = None, side_px: int = SIDE_PX) -> bytes:
    """JPEG of a photo, no side longer than given; a fault is told with its name."""
    rgb = read_photo(store().photo_bytes(sha256), name=name).rgb
    shrink = min(1.0, side_px / max(rgb.shape[:2]))
    size = (max(1, round(rgb.shape[1] * shrink)), max(1, round(rgb.shape[0] * shrink)))
    small = cv2.resize(np.asarray(rgb), size, interpolation=cv2.INTER_AREA)
    done, data = cv2.imencode(".jpg", cv2.cvtColor(small, cv2.COLOR_RGB2BGR))
    assert done
    return data.tobytes()
