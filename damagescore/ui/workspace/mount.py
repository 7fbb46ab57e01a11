"""Mount the workspace, and take the edits that it queued.

The browser numbers each edit and keeps it until Python names that number as done.
A run may see an edit twice or several at once; each is applied once, in order.
"""

from collections.abc import Callable, Mapping
from functools import cache
from pathlib import Path
from typing import Any

import streamlit as st

from damagescore.errors import DamageScoreError
from damagescore.ui.parts import unsent

Op = Mapping[str, Any]

_FOLDER = Path(__file__).parent
_SCRIPTS = (
    "geometry.js", "parts.js", "look.js", "view.js", "panel.js", "paint.js", "draft.js",
    "shape.js", "layers.js", "hints.js", "input.js", "workspace.js",
)  # fmt: skip


@cache
def _renderer() -> Any:
    return st.components.v2.component(
        "damagescore_workspace",
        html=(_FOLDER / "workspace.html").read_text(encoding="utf-8"),
        css=(_FOLDER / "workspace.css").read_text(encoding="utf-8"),
        js="\n".join((_FOLDER / name).read_text(encoding="utf-8") for name in _SCRIPTS),
    )


def key_of(inspection_id: str, sha256: str) -> str:
    """Key of the workspace of one photo of one inspection."""
    return f"workspace-{inspection_id}-{sha256[:16]}"


def take_ops(key: str, apply: Callable[[Op], DamageScoreError | None]) -> int:
    """Apply the queued edits that were not applied yet; give their number.

    An edit that is refused counts as done: its error is shown in the workspace, and
    the edits after it still apply.
    """
    before = acknowledged(key)
    queued = (st.session_state.get(key) or {}).get("ops") or ()
    for op in sorted(queued, key=lambda x: int(x["n"])):
        number = int(op["n"])
        if number <= acknowledged(key):
            continue
        fault = apply(op)
        st.session_state[f"{key}-ack"] = number
        if fault is not None:
            st.session_state[f"{key}-fault"] = {"n": number, "text": str(fault)}
    return acknowledged(key) - before


def acknowledged(key: str) -> int:
    """Number of the last edit that was applied or refused."""
    return int(st.session_state.get(f"{key}-ack", 0))


def mount(key: str, feed: Mapping[str, Any]) -> None:
    """Draw the workspace; call `take_ops` first.

    Parts of the feed that were sent before are named by their hash only.
    """
    state = {"ack": acknowledged(key), "fault": st.session_state.get(f"{key}-fault")}
    data = {**feed, **state, "parts": unsent(key, feed["parts"])}
    _renderer()(key=key, data=data, on_ops_change=_nothing, on_lost_change=_nothing)


def _nothing() -> None:
    """What changed is read from the state in the run that the change starts."""
