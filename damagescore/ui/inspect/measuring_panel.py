"""The photos that wait, are being measured or failed, each with what is going on."""

from html import escape

import streamlit as st

from damagescore.quantity import count_words
from damagescore.ui.background import Progress
from damagescore.ui.session import desk, store

EVERY_SECONDS = 0.5


def measuring_panel(inspection_id: str, *, locked: bool, whole: bool = True) -> None:
    """Show how far the photos of an inspection have come; draws itself anew while they do.

    Parameters
    ----------
    inspection_id : str
    locked : bool
        True where nobody may cancel.
    whole : bool
        False shows one line only.
    """
    progress = desk().progress(inspection_id)
    if not progress:
        return
    going = any(not p.photo.fault for p in progress)
    panel = st.fragment(_panel, run_every=EVERY_SECONDS if going else None)
    panel(inspection_id, store().revision(inspection_id), locked, whole)


def window_opened(opened: bool) -> None:
    """Keep whether a window lies over the page; each run of the page begins without one."""
    st.session_state["window-open"] = opened


def _panel(inspection_id: str, revision: int, locked: bool, whole: bool) -> None:
    progress = desk().progress(inspection_id)
    going = [p for p in progress if not p.photo.fault]
    failed = [p for p in progress if p.photo.fault]
    landed = store().revision(inspection_id) != revision or not progress
    # Drawing the page anew would close a window that somebody is filling in.
    if landed and not st.session_state.get("window-open"):
        st.rerun()
    if not whole:
        if going:
            st.caption(f":material/hourglass_top: {_count(going)} being measured.")
        return
    with st.container(border=True):
        if going:
            st.markdown(f"**Measuring: {_count(going)} to go**")
            st.caption(
                "You can go on with the photos that are done, reload the page or close it."
            )
            st.html(_rows(going))
        if failed:
            st.markdown("**Not measured**")
            st.html(_rows(failed))
        if not locked:
            _buttons(going, failed)


def _buttons(going: list[Progress], failed: list[Progress]) -> None:
    with st.container(horizontal=True):
        if going:
            st.button(
                "Cancel the rest", key="cancel-measuring", icon=":material/close:",
                on_click=desk().drop, args=([p.photo.id for p in going],),
            )  # fmt: skip
        if failed:
            st.button(
                "Understood", key="forget-failed", icon=":material/check:",
                on_click=desk().drop, args=([p.photo.id for p in failed],),
            )  # fmt: skip


def _count(progress: list[Progress]) -> str:
    return count_words(len(progress), "photo")


def _rows(progress: list[Progress]) -> str:
    return f'<ul class="ds-queue" role="list">{"".join(_row(p) for p in progress)}</ul>'


def _row(progress: Progress) -> str:
    state = "failed" if progress.photo.fault else ("active" if progress.step else "waiting")
    sign = {"failed": "✕", "active": "◔", "waiting": "·"}[state]
    return (
        f'<li class="ds-{state}"><span aria-hidden="true">{sign}</span>'
        f"<b>{escape(progress.photo.name)}</b><span>{escape(progress.words)}</span></li>"
    )
