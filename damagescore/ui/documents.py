"""The documents of this server's store, and a number for a new one."""

import uuid

from damagescore.records.documents import DocumentShelf
from damagescore.ui.session import store


def documents() -> DocumentShelf:
    """Give the documents of the store."""
    return DocumentShelf(store())


def new_id(kind: str) -> str:
    """Give an id that no other document has."""
    return f"{kind}-{uuid.uuid4().hex[:12]}"
