"""A file to take away: for those who may, and noted in the audit log."""

from collections.abc import Callable
from typing import Any

import streamlit as st

from damagescore.ui.access import allowed
from damagescore.ui.data import store
from damagescore.ui.session import inspector


def offer(
    label: str,
    data: str | bytes | Callable[[], str | bytes],
    *,
    file_name: str,
    mime: str,
    key: str,
    **look: Any,
) -> None:
    """Draw a button that gives a file; nothing for who may not take any.

    Parameters
    ----------
    label : str
    data : str, bytes or callable
        The file, or what makes it when it is asked for.
    file_name, mime, key : str
    **look
        As `st.download_button` takes it.
    """
    if not allowed("export"):
        return
    kept, by = store(), inspector()

    def given() -> str | bytes:
        # Runs when the file is asked for, outside of any page's run.
        kept.note("export", by=by, target=file_name)
        return data() if callable(data) else data

    st.download_button(
        label, given, file_name=file_name, mime=mime, key=key, on_click="ignore", **look
    )
