"""Page: accounts."""

from collections.abc import Callable

import streamlit as st

from damagescore.errors import DamageScoreError
from damagescore.records.accounts import (
    Account,
    accounts,
    add_account,
    let_unknown_view,
    set_disabled,
    set_email,
    set_password,
    set_role,
    unknown_may_view,
)
from damagescore.records.passwords import SHORTEST_PASSWORD
from damagescore.records.rights import ROLES
from damagescore.ui.access import allowed
from damagescore.ui.accounts.sign_in import has_provider
from damagescore.ui.data import store
from damagescore.ui.session import flash, inspector, show_flashes, told
from damagescore.ui.words import when

OF_SIGN_INS = ("sign in", "sign out", "failed sign-in", "account", "role", "settings")


def accounts_page() -> None:
    """Draw the page."""
    st.title("Accounts")
    show_flashes()
    if not allowed("accounts"):
        return
    with told():
        known = accounts(store())
        if not known:
            _first()
            return
        _list(known)
        _change(known)
        with st.expander("Add an account", icon=":material/person_add:"):
            _add_form(tuple(ROLES))
        _provider()
        _log()


def _first() -> None:
    st.info(
        "Nobody has an account, so everyone who reaches this address may do everything, under "
        "the name typed into the sidebar. That suits one person at one computer."
    )
    st.subheader("The first administrator")
    st.write(
        "With the first account everyone is asked to sign in, you too. An administrator keeps "
        "the accounts and signs no records: give yourself a second account to inspect."
    )
    _add_form(("administrator",))


def _add_form(roles: tuple[str, ...]) -> None:
    with st.form("account-new", border=False, clear_on_submit=False):
        # In rows of their own, so that the fields keep their order on a narrow screen.
        left, right = st.columns(2)
        name = left.text_input(
            "Name, as it stands in records", key="account-name", autocomplete="off",
            help="It cannot be changed later, since signatures carry it.",
        )  # fmt: skip
        role: str = roles[0]
        if len(roles) > 1:
            role = right.selectbox("Role", roles, format_func=_role_words, key="account-role")
        left, right = st.columns(2)
        password = left.text_input(
            f"Password, {SHORTEST_PASSWORD} characters or more", type="password",
            key="account-password", autocomplete="new-password",
        )  # fmt: skip
        again = right.text_input(
            "The same again", type="password", key="account-again",
            autocomplete="new-password",
        )  # fmt: skip
        email = st.text_input(
            "E-mail, for sign-in at your organisation", key="account-email", autocomplete="off",
            help="May stay empty.",
        )  # fmt: skip
        sent = st.form_submit_button("Add the account", type="primary", key="account-go")
    if sent and password != again:
        st.error("The two passwords differ. Type them again.", icon=":material/error:")
    elif sent:
        _do(
            lambda: add_account(store(), name=name, role=role, password=password,
                                email=email, by=inspector() or name),
            said=f"{name.strip()} may sign in.",
        )  # fmt: skip


def _list(known: list[Account]) -> None:
    st.dataframe(
        [
            {"Name": a.name, "Role": a.role,
             "State": "disabled" if a.disabled else "may sign in",
             "Password": "yes" if a.has_password else "none", "E-mail": a.email,
             "Since": when(a.made_at)}
            for a in known
        ],
        hide_index=True, width="stretch", height="content" if len(known) < 12 else 420,
    )  # fmt: skip


def _change(known: list[Account]) -> None:
    with st.expander("Change an account", icon=":material/manage_accounts:"):
        names = {a.name: a for a in known}
        name = st.selectbox("Account", list(names), key="account-chosen")
        account = names[name]
        left, right = st.columns(2)
        with left:
            _role(account)
            _email(account)
        with right:
            _password(account)
            _disable(account)


def _role(account: Account) -> None:
    with st.form(f"role-{account.id}"):
        roles = list(ROLES)
        role = st.selectbox(
            "Role", roles, index=roles.index(account.role), format_func=_role_words,
            key=f"role-to-{account.id}",
        )  # fmt: skip
        if st.form_submit_button("Give this role", key=f"role-go-{account.id}"):
            _do(
                lambda: set_role(store(), account.name, role, by=inspector()),
                said=f"{account.name} is {role} now.",
            )


def _email(account: Account) -> None:
    with st.form(f"email-{account.id}"):
        email = st.text_input(
            "E-mail", value=account.email, key=f"email-to-{account.id}", autocomplete="off"
        )
        if st.form_submit_button("Keep this e-mail", key=f"email-go-{account.id}"):
            _do(
                lambda: set_email(store(), account.name, email, by=inspector()),
                said=f"The e-mail of {account.name} is kept.",
            )


def _password(account: Account) -> None:
    with st.form(f"password-{account.id}", clear_on_submit=True):
        password = st.text_input(
            f"New password, {SHORTEST_PASSWORD} characters or more", type="password",
            key=f"password-to-{account.id}", autocomplete="new-password",
        )  # fmt: skip
        if st.form_submit_button("Give this password", key=f"password-go-{account.id}"):
            _do(
                lambda: set_password(store(), account.name, password, by=inspector()),
                said=f"{account.name} has a new password and was signed out.",
            )


def _disable(account: Account) -> None:
    label = "Let sign in again" if account.disabled else "Disable this account"
    done = "may sign in again" if account.disabled else "is disabled and was signed out"
    if st.button(label, key=f"disable-{account.id}", icon=":material/person_off:"):
        _do(
            lambda: set_disabled(store(), account.name, not account.disabled, by=inspector()),
            said=f"{account.name} {done}.",
        )


def _provider() -> None:
    if not has_provider():
        return

    def keep() -> None:
        wanted = bool(st.session_state["unknown-may-view"])
        let_unknown_view(store(), wanted, by=inspector())

    st.toggle(
        "Whoever signs in at your organisation without an account becomes a viewer",
        value=unknown_may_view(store()), key="unknown-may-view", on_change=keep,
    )  # fmt: skip


def _log() -> None:
    with st.expander("Sign-ins and changes to accounts", icon=":material/history:"):
        found = [e for e in store().audit_log(limit=500) if e.action in OF_SIGN_INS][:100]
        st.dataframe(
            [{"When": when(e.at), "What": e.action, "Whose": e.target, "How": e.detail,
              "By": e.by} for e in found],
            hide_index=True, width="stretch", height="content" if len(found) < 12 else 420,
        )  # fmt: skip


def _role_words(role: str) -> str:
    return next(f"{r}: {what}" for r, what in ROLES.items() if r == role)


def _do(work: Callable[[], object], *, said: str) -> None:
    try:
        work()
    except DamageScoreError as fault:
        st.error(str(fault), icon=":material/error:")
        return
    flash(said)
    st.rerun()
