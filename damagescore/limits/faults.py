"""The error of one field, before the line it stands on is known."""

import difflib
from collections.abc import Iterable

from damagescore.errors import LimitError


class FieldError(LimitError):
    """A field of a limit set that cannot be used.

    Parameters
    ----------
    message, remedy : str
    field : str
        Name of the key, so that a reader of a file can find its line.
    """

    def __init__(self, message: str, *, remedy: str, field: str) -> None:
        super().__init__(message, remedy=remedy)
        self.field = field


def listed(names: Iterable[str]) -> str:
    """Names in quotes, separated by commas."""
    return ", ".join(f'"{name}"' for name in names)


def choice_error(field: str, seen: object, allowed: Iterable[str]) -> FieldError:
    """Name the value seen, the allowed ones, and the nearest of them."""
    names = tuple(allowed)
    near = difflib.get_close_matches(str(seen), names, n=1)
    hint = f'Did you mean "{near[0]}"? ' if near else ""
    return FieldError(
        f"{field} is {shown(seen)}, which is not known.",
        remedy=f"{hint}Allowed: {listed(names)}.",
        field=field,
    )


def shown(value: object) -> str:
    """Show a value as a file would, shortened."""
    text = f'"{value}"' if isinstance(value, str) else repr(value)
    return text if len(text) <= 80 else f"{text[:77]}..."
