"""Lens profiles kept as JSON files in a folder, one each."""

import re
import uuid
from dataclasses import replace
from pathlib import Path
from urllib.parse import quote

from damagescore.errors import UsageError
from damagescore.scale.lens import Lens, lens_text, read_lens

NAME = re.compile(r"[\w ()+,.&-]{1,60}")


class LensStore:
    """The lens profiles of one folder, by name.

    Parameters
    ----------
    folder : Path
        Made when the first profile is saved.
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder

    def names(self) -> tuple[str, ...]:
        """Names of all profiles, in order."""
        return tuple(lens.name for lens in self.all())

    def all(self) -> tuple[Lens, ...]:
        """All profiles by name; files that are none are left out."""
        found = []
        for path in self.folder.glob("*.json"):
            try:
                found.append(read_lens(path))
            except UsageError:
                continue  # a stray file must not hide the others
        return tuple(sorted(found, key=lambda lens: lens.name.casefold()))

    def save(self, lens: Lens, *, name: str) -> Lens:
        """Keep a profile under a name of its own.

        Raises
        ------
        UsageError
            When the name cannot be one, or is taken.
        """
        name = name.strip()
        if not NAME.fullmatch(name):
            raise UsageError(
                f"{name!r} cannot be the name of a lens profile.",
                remedy="Use 1 to 60 letters, digits, spaces and ( ) + , . & - _.",
            )
        path = self._path(name)
        if path.exists():
            raise UsageError(
                f"There is a lens profile {name!r} already.",
                remedy="Choose another name, or delete the old one first.",
            )
        named = replace(lens, name=name)
        self.folder.mkdir(parents=True, exist_ok=True)
        draft = path.with_suffix(f".{uuid.uuid4().hex}.part")
        draft.write_text(lens_text(named), encoding="utf-8")
        draft.replace(path)  # readers see a whole file or none
        return named

    def delete(self, name: str) -> None:
        """Remove a profile; photos measured with it keep it in their record.

        Raises
        ------
        UsageError
            When there is none of that name.
        """
        try:
            self._path(name).unlink()
        except FileNotFoundError:
            raise UsageError(
                f"There is no lens profile {name!r}.", remedy="Choose one from the list."
            ) from None

    def _path(self, name: str) -> Path:
        return self.folder / f"{quote(name.casefold(), safe='')}.json"
