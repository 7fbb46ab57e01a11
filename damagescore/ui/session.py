"""What one browser session knows: the store, who works, the unit, the open inspection.

The store is the truth; the session holds ids and unsaved input only.
"""

import gc
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import cache
from pathlib import Path
from typing import Any

import streamlit as st

from damagescore.errors import DamageScoreError, RecordError
from damagescore.inspection import clash_of, edits_of_others, words_of_news
from damagescore.inspection.record import Inspection
from damagescore.photo import read_photo
from damagescore.photo.record import Photo
from damagescore.quantity import Length
from damagescore.ui.access import require, visitor
from damagescore.ui.background import Desk
from damagescore.ui.data import data_folder as data_folder  # noqa: PLC0414 - given on
from damagescore.ui.data import store as store  # noqa: PLC0414 - given on
from damagescore.ui.data import store_at
from damagescore.ui.tiles import Pyramid

ROOT = Path(__file__).resolve().parents[2]


@cache
def _desk_at(folder: Path) -> Desk:
    return Desk(store_at(folder))


def desk() -> Desk:
    """Give the desk at which this server has photos measured; all sessions share it."""
    return _desk_at(data_folder())


@cache
def _recent(_folder: Path) -> dict[str, tuple[int, Inspection]]:
    """Records of a folder that were read or saved last, each with its revision."""
    return {}


def load(inspection_id: str) -> Inspection:
    """Give a stored inspection; it is read anew only where it was saved since.

    Reading a record with a long list of edits takes longer than making one.
    """
    return _loaded(inspection_id)[1]


def _loaded(inspection_id: str) -> tuple[int, Inspection]:
    """The revision of a stored inspection, and the inspection."""
    kept = store()
    revision, known = _recent(kept.folder).get(inspection_id, (0, None))
    now = kept.revision(inspection_id)
    if known is not None and revision == now:
        return now, known
    found = kept.load(inspection_id)
    _remember(found, now)
    return now, found


def _remember(inspection: Inspection, revision: int) -> None:
    recent = _recent(store().folder)
    recent.pop(inspection.id, None)
    recent[inspection.id] = (revision, inspection)
    for oldest in list(recent)[:-8]:  # as many people as work at once
        recent.pop(oldest, None)


@cache
def settle() -> None:
    """Spare what is loaded for good from garbage collection; once for each server.

    With all packages loaded a full collection takes 110 ms, longer than an edit itself.
    `.streamlit/config.toml` has none made after each run: Python makes one when a quarter
    more has come to live long, of what was made since.
    """
    gc.collect()
    gc.freeze()


def pyramid() -> Pyramid:
    """Give the tiles of the photos in the store."""
    kept = store()
    return Pyramid(folder=kept.folder / "tiles", photo_bytes=kept.photo_bytes)


def unit() -> Length:
    """Unit in which lengths are shown."""
    return "in" if st.session_state.get("unit") == "in" else "mm"


def inspector() -> str:
    """Name of the person who works: that of the account, or as typed; empty until given."""
    now = visitor()
    if not now.open:
        return "" if now.account is None else now.account.name
    return str(st.session_state.get("inspector_name", "")).strip()


def open_inspection(inspection_id: str | None) -> None:
    """Make an inspection the open one; its id goes into the address."""
    st.session_state["inspection_id"] = inspection_id
    if inspection_id is None:
        st.query_params.pop("inspection", None)
    else:
        st.query_params["inspection"] = inspection_id


def current_inspection() -> Inspection | None:
    """Load the open inspection: the address names it, else the session does."""
    named = st.query_params.get("inspection") or st.session_state.get("inspection_id")
    if not named:
        return None
    found = load(named)
    open_inspection(found.id)
    show_edits(found)
    return found


def show_edits(inspection: Inspection) -> None:
    """Keep how many edits of a record this session has now been shown."""
    st.session_state[f"shown-{inspection.id}"] = len(inspection.edits)


def news_of(inspection: Inspection, sha256: str) -> dict[str, Any] | None:
    """What others changed on a photo since this session was last shown the record.

    Returns
    -------
    dict or None
        "n", the number of the last such edit, and "text"; the last news stay until others
        change something again.
    """
    name = f"news-{inspection.id}-{sha256}"
    # Counted by itself: the page may have shown the record before the workspace is drawn.
    fresh = edits_of_others(
        inspection, photo=sha256, seen=st.session_state.get(f"{name}-told"),
        own=st.session_state.get(f"own-{inspection.id}", ()),
    )  # fmt: skip
    st.session_state[f"{name}-told"] = len(inspection.edits)
    if fresh:
        st.session_state[name] = {"n": fresh[-1].number, "text": words_of_news(fresh)}
    news: dict[str, Any] | None = st.session_state.get(name)
    return news


@st.cache_resource(max_entries=3, show_spinner=False)
def photo_of(sha256: str, name: str) -> Photo:
    """Read a photo of the store; the last few stay decoded for the next edit."""
    return read_photo(store().photo_bytes(sha256), name=name)


@contextmanager
def told() -> Iterator[None]:
    """Show an error of the program as one sentence; anything else is a fault and rises."""
    try:
        yield
    except DamageScoreError as fault:
        st.error(str(fault), icon=":material/error:")


def change(
    inspection_id: str,
    edit: Callable[[Inspection], Inspection],
    *,
    seen: int | None = None,
) -> DamageScoreError | None:
    """Apply one edit to the stored inspection and save it at once.

    A change to what somebody else changed since this session was shown the record is
    not made: it is told who changed what, and the new state is shown.

    Parameters
    ----------
    inspection_id : str
    edit : callable
    seen : int, optional
        Number of edits that the change was decided on; what was shown last by default.

    Returns
    -------
    DamageScoreError or None
        Why it was not done; None when it is saved.
    """
    try:
        require("edit")
        revision, before = _loaded(inspection_id)
        after = edit(before)
        _refuse_clash(before, after, seen=seen)
        _remember(after, store().save(after, expected_revision=revision))
    except DamageScoreError as fault:
        return fault
    own = st.session_state.setdefault(f"own-{inspection_id}", set())
    own |= {e.number for e in after.edits[len(before.edits) :]}
    return None


def _refuse_clash(before: Inspection, after: Inspection, *, seen: int | None) -> None:
    if seen is None:
        seen = st.session_state.get(f"shown-{before.id}", len(before.edits))
    clash = clash_of(before, after, seen=seen, own=st.session_state.get(f"own-{before.id}", ()))
    if clash is not None:
        raise RecordError(
            f"{clash.text} Your change was not made.",
            remedy="Look at what is shown now, then repeat your change if it still holds.",
        )


def flash(text: str, *, bad: bool = False) -> None:
    """Keep a sentence for the next run, since the change that it tells of redraws the page."""
    st.session_state.setdefault("flash", []).append((text, bad))


def show_flashes() -> None:
    """Show and forget the sentences kept by `flash`."""
    for text, bad in st.session_state.pop("flash", []):
        if bad:
            st.error(text, icon=":material/error:")
        else:
            st.success(text, icon=":material/check:")
