"""Parts of what a component is told, each sent once and then named by its hash."""

import hashlib
import json
from collections.abc import Iterable, Mapping
from typing import Any

import streamlit as st

Part = tuple[str, dict[str, Any]]
"""What a browser is told of a finding or of the layers, after the hash that it is known by."""

_MOST_PARTS = 4000
_kept: dict[str, dict[str, Any]] = {}


def keep_parts(parts: Mapping[str, dict[str, Any]]) -> None:
    """Remember parts by their hash, for a browser that has lost them."""
    _kept.update(parts)
    for oldest in list(_kept)[:-_MOST_PARTS]:
        _kept.pop(oldest, None)


def kept_parts(hashes: Iterable[str]) -> dict[str, dict[str, Any]]:
    """Parts of these hashes, as far as they are remembered."""
    return {name: _kept[name] for name in hashes if name in _kept}


def hashed(value: dict[str, Any]) -> Part:
    """Give a part with the hash of its JSON text."""
    text = json.dumps(value, separators=(",", ":"), ensure_ascii=False)
    return hashlib.sha256(text.encode()).hexdigest()[:20], value


def unsent(key: str, parts: Mapping[str, dict[str, Any]]) -> dict[str, dict[str, Any]]:
    """Parts that the component of a key was not sent in the run before.

    A browser that has lost the others asks a route for them by their hashes; where that
    does not have them either the browser sets the state "lost", and all are sent again.
    """
    keep_parts(parts)
    lost = int((st.session_state.get(key) or {}).get("lost") or 0)
    told = st.session_state.get(f"{key}-sent")
    known = told[1] if told is not None and told[0] == lost else frozenset()
    st.session_state[f"{key}-sent"] = (lost, frozenset(parts))
    return {name: part for name, part in parts.items() if name not in known}
