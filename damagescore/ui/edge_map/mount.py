"""Mount the edge map beside the photo workspace."""

from collections.abc import Mapping
from functools import cache
from pathlib import Path
from typing import Any

import streamlit as st

from damagescore.ui.known import Known
from damagescore.ui.parts import Part, hashed, unsent
from damagescore.ui.questions import PREFIX

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

    Both live in the browser, so selecting needs no run of the page. Findings that were
    sent before are named by their hash only.
    """
    found = [_parts.of(f) for f in plan["findings"]]
    data = {
        **plan,
        "findings": [name for name, _ in found],
        "parts": unsent(key, dict(found)),
        "ask": f"{PREFIX}/map/{plan['photo']}",
    }
    _renderer()(key=key, data=data, on_lost_change=_nothing)


_parts: Known[Part] = Known(hashed)


def _nothing() -> None:
    """What was lost is read from the state in the run that the change starts."""
