"""The data folder of this server, and the store in it."""

import os
from functools import cache
from pathlib import Path

from damagescore.records import Store, open_store


def data_folder() -> Path:
    """Folder of records and photos: `DAMAGESCORE_DATA`, or beside the current folder."""
    return Path(os.environ.get("DAMAGESCORE_DATA") or "damagescore-data").resolve()


@cache
def store_at(folder: Path) -> Store:
    """Give the store of a folder; all of this server share it."""
    return open_store(folder)


def store() -> Store:
    """Give the store of this server; sessions and the routes share it."""
    return store_at(data_folder())
