"""Mount the picture of two photos."""

import base64
from functools import cache
from pathlib import Path
from typing import Any

import streamlit as st

from damagescore.history.overlay import TwoViews, jpeg

_FOLDER = Path(__file__).parent


@cache
def _renderer() -> Any:
    return st.components.v2.component(
        "damagescore_two_photos",
        html=(_FOLDER / "two_photos.html").read_text(encoding="utf-8"),
        css=(_FOLDER / "two_photos.css").read_text(encoding="utf-8"),
        js=(_FOLDER / "two_photos.js").read_text(encoding="utf-8"),
    )


def mount_two(key: str, views: TwoViews, *, first: str, second: str) -> None:
    """Draw both photos in one frame; `first` and `second` name them."""
    data = {
        "earlier": _address(jpeg(views.earlier)), "later": _address(jpeg(views.later)),
        "first": first, "second": second,
    }  # fmt: skip
    _renderer()(key=key, data=data)


def _address(data: bytes) -> str:
    return f"data:image/jpeg;base64,{base64.b64encode(data).decode('ascii')}"
