"""Signing in: a password or a provider's word, a token for the browser, waiting times."""

import hashlib
import secrets
import time
from collections.abc import Mapping
from typing import Any

from sqlalchemy import delete, select
from sqlalchemy.orm import Session

from damagescore.errors import SignInError
from damagescore.inspection.checks import now_utc
from damagescore.records.accounts import (
    Account,
    account_of,
    checked_email,
    key_of_name,
    sha256_of_name,
    unknown_may_view,
)
from damagescore.records.audit import entries, note
from damagescore.records.database import lock_writers
from damagescore.records.passwords import hashed, is_dated, matches
from damagescore.records.store import Store
from damagescore.records.tables import AccountRow, SignInRow, WrongPasswordRow

ENDS_S, IDLE_S = 12 * 3600.0, 3600.0
"""A sign-in ends after a shift, or an hour without use; common practice, no source."""

SEEN_EVERY_S = 60.0
"""Use is noted no more often than this, so that looking does not write."""

FREE_TRIES, FIRST_WAIT_S, LONGEST_WAIT_S = 4, 15.0, 900.0
"""After four wrong passwords each further one doubles the wait; no source."""

ANSWER_S = 0.5
"""A refusal comes no sooner: writing the log takes longer for some names than for others."""

FORGOTTEN_S = 86400.0
"""A day after the last wrong password they are counted anew."""

NOBODY = "a name without an account"


def sign_in(store: Store, name: str, password: str, *, now_s: float) -> tuple[Account, str]:
    """Check a password; give the account and a token for the browser.

    A name without an account, a disabled account and a wrong password are told, delayed
    and timed alike.

    Parameters
    ----------
    store : Store
    name, password : str
    now_s : float
        Seconds since 1970, UTC.

    Raises
    ------
    SignInError
        When they do not fit together, or have to wait for their next try.
    """
    account = check_password(store, name, password, now_s=now_s)
    return account, begin(store, account, now_s=now_s, how="password")


def check_password(store: Store, name: str, password: str, *, now_s: float) -> Account:
    """Give the account of a name and its password; raises as `sign_in` does."""
    began = time.monotonic()
    _count_try(store, name, now_s=now_s)
    with store.reading() as session:
        row = session.scalar(
            select(AccountRow).where(
                AccountRow.name_key == key_of_name(name), AccountRow.disabled.is_(False)
            )
        )
    right = matches(password, "" if row is None else row.password_hash)
    if row is None or not right:
        _note_wrong(store, name)
        time.sleep(max(0.0, began + ANSWER_S - time.monotonic()))
        raise _wrong()
    with store.writing() as session:
        session.execute(
            delete(WrongPasswordRow).where(WrongPasswordRow.name_sha256 == sha256_of_name(name))
        )
        if is_dated(row.password_hash):
            session.merge(row).password_hash = hashed(password)
    return account_of(row)


def begin(store: Store, account: Account, *, now_s: float, how: str) -> str:
    """Sign an account in; give the token, of which only the SHA-256 is kept."""
    token = secrets.token_urlsafe(32)
    with store.writing() as session:
        session.execute(delete(SignInRow).where(SignInRow.ends_s < now_s))
        session.add(
            SignInRow(token_sha256=_sha256(token), account_id=account.id, seen_s=now_s,
                      ends_s=now_s + ENDS_S)
        )  # fmt: skip
        note(session, "sign in", by=account.name, target=account.name, detail=f"by {how}")
    return token


def signed_in(store: Store, token: str, *, now_s: float) -> Account | None:
    """Give the account that a token stands for; None once it ended or was idle for long."""
    with store.reading() as session:
        found = session.execute(
            select(SignInRow, AccountRow)
            .join(AccountRow, AccountRow.id == SignInRow.account_id)
            .where(SignInRow.token_sha256 == _sha256(token), AccountRow.disabled.is_(False))
        ).first()
    if found is None:
        return None
    row, account = found
    if now_s >= row.ends_s or now_s - row.seen_s >= IDLE_S:
        return None
    if now_s - row.seen_s >= SEEN_EVERY_S:
        with store.writing() as session:
            kept = session.get(SignInRow, row.token_sha256)
            if kept is not None:
                kept.seen_s = now_s
    return account_of(account)


def sign_out(store: Store, token: str) -> None:
    """End what a token stands for."""
    with store.writing() as session:
        row = session.get(SignInRow, _sha256(token))
        if row is None:
            return
        account = session.get(AccountRow, row.account_id)
        session.delete(row)
        if account is not None:
            note(session, "sign out", by=account.name, target=account.name)


def account_of_claims(store: Store, claims: Mapping[str, Any]) -> Account:
    """Give the account of whom a provider (OpenID Connect) signed in.

    Parameters
    ----------
    store : Store
    claims : mapping
        Of the identity token: "email" and "email_verified".

    Raises
    ------
    SignInError
        When the provider does not vouch for the e-mail, no account has it and unknown ones
        may not view, or the account is disabled.
    """
    email = claims.get("email")
    if not isinstance(email, str) or not email or claims.get("email_verified") is not True:
        raise SignInError(
            "The provider gave no e-mail that it vouches for.",
            remedy="Sign in by name and password, or ask an administrator.",
        )
    address = checked_email(email)
    with store.reading() as session:
        row = session.scalar(select(AccountRow).where(AccountRow.email == address))
    if row is None:
        return _new_viewer(store, address)
    if row.disabled:
        raise SignInError(
            f"The account of {address} is disabled.", remedy="Ask an administrator."
        )
    return account_of(row)


FRESH_S = 300.0


def is_fresh(claims: Mapping[str, Any], *, now_s: float) -> bool:
    """Whether a provider's word is new: Streamlit keeps it for a month, far past idle times."""
    issued = claims.get("iat")
    return isinstance(issued, int | float) and -FRESH_S <= now_s - issued <= FRESH_S


def _new_viewer(store: Store, address: str) -> Account:
    if not unknown_may_view(store):
        raise SignInError(
            f"No account has the e-mail {address}.",
            remedy="Ask an administrator to add it to your account.",
        )
    with store.writing() as session:
        lock_writers(session)
        row = AccountRow(
            id=secrets.token_hex(16), name=address, name_key=key_of_name(address),
            role="viewer", email=address, password_hash="", disabled=False, made_at=now_utc(),
        )  # fmt: skip
        session.add(row)
        note(session, "account", by=address, target=address, detail="came as viewer")
    return account_of(row)


def _count_try(store: Store, name: str, *, now_s: float) -> None:
    """Count a try before it is judged, so that many at once gain nothing."""
    with store.writing() as session:
        lock_writers(session)
        session.execute(
            delete(WrongPasswordRow).where(WrongPasswordRow.last_s < now_s - FORGOTTEN_S)
        )
        row = session.get(WrongPasswordRow, sha256_of_name(name))
        if row is None:
            row = WrongPasswordRow(
                name_sha256=sha256_of_name(name), count=0, last_s=now_s, until_s=0.0
            )
            session.add(row)
        if now_s < row.until_s:
            raise SignInError(
                f"Too many wrong passwords for this name: wait {row.until_s - now_s:.0f} s.",
                remedy="Then type both again, or ask an administrator for a new password.",
            )
        row.count, row.last_s = row.count + 1, now_s
        row.until_s = now_s + _wait_s(row.count)


def _wait_s(count: int) -> float:
    """Wait after so many wrong passwords in a row."""
    beyond = count - FREE_TRIES
    return (
        0.0 if beyond <= 0 else min(FIRST_WAIT_S * 2.0 ** min(beyond - 1, 20), LONGEST_WAIT_S)
    )


def _wrong() -> SignInError:
    return SignInError(
        "Name and password do not fit together.",
        remedy="Type both again, or ask an administrator.",
    )


def _note_wrong(store: Store, name: str) -> None:
    with store.writing() as session:
        row = session.scalar(select(AccountRow).where(AccountRow.name_key == key_of_name(name)))
        if row is not None:
            note(session, "failed sign-in", by=row.name, target=row.name)
        elif not _noted_just_now(session):
            note(session, "failed sign-in", by="", target=NOBODY)


def _noted_just_now(session: Session) -> bool:
    """Guessed names are noted once a minute, or they would fill the log, which only grows."""
    last = entries(session, target=NOBODY, limit=1)
    return bool(last) and last[0].at[:16] == now_utc()[:16]


def _sha256(token: str) -> str:
    return hashlib.sha256(token.encode()).hexdigest()
