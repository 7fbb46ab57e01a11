"""Mount the edge map beside the photo workspace."""

from collections.abc import Mapping
from functools import cache
from pathlib import Path
from typing import Any

import streamlit as st

_FOLDER = Path(__file__).parent


@cache
def _renderer() -> Any:
    return st.components.v2.component(
        "damagescore_edge_map",
        html='<div class="map"></div>',
        css=(_FOLDER / "edge_map.css").read_text(encoding="utf-8"),
        js=(_FOLDER / "edge_map.js").read_text(encoding="utf-8"),
    )


def mount_map(key: str, plan: Mapping[str, Any]) -> None:
    """Draw the map; a click selects the finding in the workspace of the same photo.

    Both live in the browser, so selecting needs no run of the page.
    """
    _renderer()(key=key, data=dict(plan))
