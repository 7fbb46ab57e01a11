"""Page: limit sets."""

from pathlib import Path
from typing import Any

import streamlit as st

from damagescore.errors import DamageScoreError
from damagescore.limits import LimitSet, limit_set_to_toml, parse_limit_set
from damagescore.ui.limit_choice import Choice, choices, load_choice
from damagescore.ui.limit_form import blank_rows, editor, new_set
from damagescore.ui.offer import offer
from damagescore.ui.session import flash, inspector, show_flashes, store, told
from damagescore.ui.words import invented_badge


def limit_sets_page() -> None:
    """Draw the page."""
    st.title("Limit sets")
    st.write(
        "A limit set holds the removal limits of one document, as that document words them. "
        "This program ships no limits of real parts: type them in from your approved "
        "maintenance data, and let a second person check them."
    )
    show_flashes()
    with told():
        if not store().limit_sets():
            st.info(
                "No limit set is kept yet. Import a TOML file, start a new set, or open the "
                "invented one to see how it is written."
            )
        _import()
        _open()


def _import() -> None:
    with st.expander("Import a TOML file", icon=":material/upload_file:"):
        round_number = st.session_state.get("limits-round", 0)
        file = st.file_uploader("TOML file", type=["toml"], key=f"limits-file-{round_number}")
        if file is None:
            return
        try:
            limit_set = read(file.getvalue(), name=file.name)
            store().save_limit_set(limit_set, by=inspector())
        except DamageScoreError as fault:
            st.error(str(fault), icon=":material/error:")
            return
        flash(f"Kept: {limit_set.title}, {len(limit_set.criteria)} criteria.")
        st.session_state["limits-round"] = round_number + 1
        st.session_state["limits-open"] = (limit_set.title, limit_set.revision)
        st.rerun()


def read(data: bytes, *, name: str) -> LimitSet:
    """Read the bytes of a TOML file.

    Raises
    ------
    LimitError
        Naming the line, when it is not a limit set.
    """
    return parse_limit_set(data.decode("utf-8", errors="replace"), name=Path(name).name)


def _open() -> None:
    options: list[Choice | None] = [*choices(), None]
    wanted = st.session_state.pop("limits-open", None)
    if wanted is not None:
        st.session_state["limits-choice"] = next(
            c for c in options if c is not None and (c.title, c.revision) == wanted
        )
    chosen = st.selectbox(
        "Limit set", options, format_func=lambda c: "New limit set" if c is None else c.label,
        key="limits-choice",
    )  # fmt: skip
    if chosen is None:
        _edit(new_set(), key="new", stored=False, rows=blank_rows())
        return
    limit_set = load_choice(chosen)
    if limit_set.invented:
        invented_badge()
    _edit(limit_set, key=f"{chosen.title}-{chosen.revision}", stored=chosen.stored)
    offer(
        "Download as TOML", limit_set_to_toml(limit_set), file_name="limit_set.toml",
        mime="application/toml", key="limits-download", icon=":material/download:",
    )  # fmt: skip


def _edit(
    limit_set: LimitSet,
    *,
    key: str,
    stored: bool,
    rows: list[dict[str, Any]] | None = None,
) -> None:
    try:
        changed = editor(limit_set, key=key, rows=rows)
    except DamageScoreError as fault:
        st.error(str(fault), icon=":material/error:")
        return
    if changed is None:
        return
    version = store().save_limit_set(changed, by=inspector())
    verb = "Kept" if stored else "Kept as a new set"
    flash(f"{verb}: {changed.title}, version {version} of revision {changed.revision or '–'}.")
    st.session_state["limits-open"] = (changed.title, changed.revision)
    st.rerun()
