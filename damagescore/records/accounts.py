"""Accounts of those who may sign in: made, changed and disabled, never deleted."""

import hashlib
import unicodedata
import uuid
from dataclasses import dataclass

from sqlalchemy import delete, func, select
from sqlalchemy.orm import Session

from damagescore.errors import RecordError
from damagescore.inspection.checks import name_of, now_utc
from damagescore.records.audit import note
from damagescore.records.database import lock_writers
from damagescore.records.passwords import hashed
from damagescore.records.rights import ROLES, Role
from damagescore.records.store import Store
from damagescore.records.tables import (
    AccountRow,
    SignInRow,
    SignInRuleRow,
    WrongPasswordRow,
)

UNKNOWN_MAY_VIEW = "a provider's unknown e-mail becomes a viewer"


@dataclass(frozen=True, slots=True, kw_only=True)
class Account:
    """A person who may sign in. The hash of the password never leaves the records."""

    id: str
    name: str
    role: Role
    email: str
    has_password: bool
    disabled: bool
    made_at: str


def add_account(
    store: Store,
    *,
    name: str,
    role: str,
    password: str = "",
    email: str = "",
    by: str,
) -> Account:
    """Make an account.

    Parameters
    ----------
    store : Store
    name : str
        What changes and signatures are noted under; it cannot be changed.
    role : str
    password : str
        May be empty where `email` is that of a provider's sign-in.
    email : str
    by : str
        Who does it, for the audit log.

    Raises
    ------
    RecordError
        When the name or e-mail is taken, the role unknown, the password too short, there is
        neither password nor e-mail, or the first account is no administrator.
    """
    shown = name_of(name, "The name", needed=True)
    address = checked_email(email)
    if not password and not address:
        raise RecordError(
            "The account has neither a password nor an e-mail.", remedy="Give one of them."
        )
    row = AccountRow(
        id=uuid.uuid4().hex, name=shown, name_key=key_of_name(shown), role=checked_role(role),
        email=address or None, password_hash=hashed(password) if password else "",
        disabled=False, made_at=now_utc(),
    )  # fmt: skip
    with store.writing() as session:
        lock_writers(session)
        _check_new(session, row)
        session.add(row)
        note(session, "account", by=by, target=shown, detail=f"added as {row.role}")
    return account_of(row)


def accounts(store: Store) -> list[Account]:
    """List all accounts by name."""
    with store.reading() as session:
        rows = session.scalars(select(AccountRow).order_by(AccountRow.name_key))
        return [account_of(row) for row in rows]


def has_accounts(store: Store) -> bool:
    """Whether anybody has to sign in."""
    with store.reading() as session:
        return session.scalar(select(AccountRow.id).limit(1)) is not None


def set_role(store: Store, name: str, role: str, *, by: str) -> None:
    """Give an account another role; RecordError when no administrator would be left."""
    wanted = checked_role(role)
    with store.writing() as session:
        row = _row(session, name)
        if row.role == wanted:
            return
        before, row.role = row.role, wanted
        _check_administrator_left(session)
        note(session, "role", by=by, target=row.name, detail=f"{before} to {wanted}")


def set_disabled(store: Store, name: str, disabled: bool, *, by: str) -> None:
    """Disable an account, which signs it out everywhere, or let it sign in again."""
    with store.writing() as session:
        row = _row(session, name)
        row.disabled = disabled
        _check_administrator_left(session)
        _sign_out_everywhere(session, row)
        detail = "disabled" if disabled else "may sign in again"
        note(session, "account", by=by, target=row.name, detail=detail)


def set_password(store: Store, name: str, password: str, *, by: str) -> None:
    """Give an account a new password, which signs it out everywhere and ends a waiting time."""
    made = hashed(password)
    with store.writing() as session:
        row = _row(session, name)
        row.password_hash = made
        _sign_out_everywhere(session, row)
        session.execute(
            delete(WrongPasswordRow).where(
                WrongPasswordRow.name_sha256 == sha256_of_name(row.name)
            )
        )
        note(session, "account", by=by, target=row.name, detail="new password")


def set_email(store: Store, name: str, email: str, *, by: str) -> None:
    """Name the e-mail by which a provider's sign-in finds the account; empty for none."""
    address = checked_email(email)
    with store.writing() as session:
        lock_writers(session)
        row = _row(session, name)
        if address and address != row.email:
            _check_email_free(session, address)
        row.email = address or None
        note(session, "account", by=by, target=row.name, detail="e-mail changed")


def unknown_may_view(store: Store) -> bool:
    """Whether an e-mail that no account has may come in as a viewer."""
    with store.reading() as session:
        row = session.get(SignInRuleRow, UNKNOWN_MAY_VIEW)
        return row is not None and row.value == "yes"


def let_unknown_view(store: Store, allowed: bool, *, by: str) -> None:
    """Say whether an e-mail that no account has may come in as a viewer."""
    value = "yes" if allowed else "no"
    with store.writing() as session:
        session.merge(SignInRuleRow(name=UNKNOWN_MAY_VIEW, value=value))
        note(session, "settings", by=by, target=UNKNOWN_MAY_VIEW, detail=value)


def account_of(row: AccountRow) -> Account:
    """Give what may be known of a row."""
    role = checked_role(row.role)
    return Account(
        id=row.id, name=row.name, role=role, email=row.email or "",
        has_password=bool(row.password_hash), disabled=row.disabled, made_at=row.made_at,
    )  # fmt: skip


def key_of_name(name: str) -> str:
    """Give the name without what people type now one way and now another."""
    return " ".join(unicodedata.normalize("NFKC", name).casefold().split())


def sha256_of_name(name: str) -> str:
    """Give the hash of a typed name: it may be a password, typed into the wrong field."""
    return hashlib.sha256(key_of_name(name).encode()).hexdigest()


def checked_email(email: str) -> str:
    """Check an e-mail roughly and give it in small letters; empty stays empty."""
    address = name_of(email, "The e-mail").casefold()
    before, at, after = address.partition("@")
    if address and not (before and at and after and " " not in address):
        raise RecordError(f"The e-mail is {address[:80]!r}.", remedy="Give name@place.")
    return address


def checked_role(role: str) -> Role:
    """Check a role; RecordError when it is unknown."""
    for known in ROLES:
        if role == known:
            return known
    raise RecordError(
        f"The role is {role[:40]!r}.", remedy=f"Choose one of: {', '.join(ROLES)}."
    )


def _check_new(session: Session, row: AccountRow) -> None:
    if row.role != "administrator" and not session.scalar(select(func.count(AccountRow.id))):
        raise RecordError(
            f"The first account would be {row.role}, and nobody could make a second one.",
            remedy="Make an administrator first.",
        )
    if session.scalar(select(AccountRow.id).where(AccountRow.name_key == row.name_key)):
        raise RecordError(
            f"There is an account {row.name[:80]!r} already.",
            remedy="Take another name; accounts stay, so that names stay who they were.",
        )
    if row.email:
        _check_email_free(session, row.email)


def _check_email_free(session: Session, address: str) -> None:
    if session.scalar(select(AccountRow.id).where(AccountRow.email == address)):
        raise RecordError(
            f"An account has the e-mail {address[:80]!r} already.", remedy="Give another one."
        )


def _check_administrator_left(session: Session) -> None:
    lock_writers(session)
    session.flush()
    left = session.scalar(
        select(func.count(AccountRow.id)).where(
            AccountRow.role == "administrator", AccountRow.disabled.is_(False)
        )
    )
    if not left:
        raise RecordError(
            "No administrator would be left.", remedy="Make another administrator first."
        )


def _sign_out_everywhere(session: Session, row: AccountRow) -> None:
    session.execute(delete(SignInRow).where(SignInRow.account_id == row.id))


def _row(session: Session, name: str) -> AccountRow:
    row = session.scalar(select(AccountRow).where(AccountRow.name_key == key_of_name(name)))
    if row is None:
        raise RecordError(
            f"There is no account {name[:80]!r}.", remedy="Look at the list of accounts."
        )
    return row
