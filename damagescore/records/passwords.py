"""Passwords: hashed by argon2id (RFC 9106), and the same time for whoever is not known."""

import secrets
import unicodedata
from functools import cache
from threading import Lock

from argon2 import PasswordHasher
from argon2.exceptions import InvalidHashError, VerificationError

from damagescore.errors import RecordError
from damagescore.inspection.seal import SHORTEST_PASSPHRASE

SHORTEST_PASSWORD = SHORTEST_PASSPHRASE
LONGEST_PASSWORD = 256
"""Characters; NIST SP 800-63B asks that 64 or more may be used (from memory)."""

# The second of the two settings that RFC 9106, section 4, recommends: 64 MiB a password.
_HASHER = PasswordHasher(time_cost=3, memory_cost=65536, parallelism=4)

# One at a time: many sign-ins at once would otherwise take 64 MiB each.
_ONE = Lock()


def hashed(password: str) -> str:
    """Give the argon2id hash of a new password, with its salt and settings.

    Raises
    ------
    RecordError
        When the password is too short or too long.
    """
    given = _plain(password)
    if not SHORTEST_PASSWORD <= len(given) <= LONGEST_PASSWORD:
        raise RecordError(
            f"The password has {len(given)} characters; {SHORTEST_PASSWORD} to "
            f"{LONGEST_PASSWORD} are asked for.",
            remedy="Take four or five words that do not belong together.",
        )
    with _ONE:
        return _HASHER.hash(given)


def matches(password: str, hash_: str) -> bool:
    """Whether a password has this hash; takes as long when the hash is empty, and is False."""
    with _ONE:
        try:
            return _HASHER.verify(hash_ or _nobodys(), _plain(password)) and bool(hash_)
        except (VerificationError, InvalidHashError):
            return False


def is_dated(hash_: str) -> bool:
    """Whether a hash was made with other settings than those of now."""
    return _HASHER.check_needs_rehash(hash_)


@cache
def _nobodys() -> str:
    return _HASHER.hash(secrets.token_urlsafe(32))


def _plain(password: str) -> str:
    # Typed on another keyboard, an accented letter may come as two characters.
    return unicodedata.normalize("NFKC", password)
