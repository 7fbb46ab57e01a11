"""The documents of this server's store, and a number for a new one."""

import uuid
from functools import cache

from damagescore.records.documents import DocumentShelf
from damagescore.ui.session import store


@cache
def _shelf_at(url: str) -> DocumentShelf:
    return DocumentShelf(url)


def documents() -> DocumentShelf:
    """Give the documents of the store; sessions share it."""
    return _shelf_at(store().url)


def new_id(kind: str) -> str:
    """Give an id that no other document has."""
    return f"{kind}-{uuid.uuid4().hex[:12]}"
