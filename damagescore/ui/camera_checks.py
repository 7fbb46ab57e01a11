"""Whether the cameras of an inspection had a valid check of the target."""

import streamlit as st

from damagescore.capability.standing import Standing
from damagescore.capability.target import UNKNOWN
from damagescore.inspection.record import Inspection
from damagescore.photo import camera_of
from damagescore.ui.check_target import standing_of
from damagescore.ui.documents import documents
from damagescore.ui.session import store


@st.cache_data(max_entries=500, show_spinner=False)
def _camera(sha256: str) -> str:
    return camera_of(store().photo_bytes(sha256)) or UNKNOWN


def camera_standings(inspection: Inspection) -> dict[str, Standing]:
    """Give the standing of each camera that took a photo of the inspection."""
    checks = documents().versions("target_check")
    cameras = dict.fromkeys(_camera(photo.sha256) for photo in inspection.photos)
    return {camera: standing_of(checks, camera) for camera in cameras}


def camera_words(inspection: Inspection) -> str:
    """Say it for the record, a sentence a camera; empty where there is no photo."""
    return " ".join(
        f"{camera}: {found.words}" for camera, found in camera_standings(inspection).items()
    )
