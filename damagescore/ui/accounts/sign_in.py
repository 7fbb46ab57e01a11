"""The page that asks who comes, and the sidebar's part of who is here."""

import time
from collections.abc import Mapping
from typing import Any

import streamlit as st

from damagescore.errors import DamageScoreError
from damagescore.records.accounts import Account, set_password
from damagescore.records.passwords import SHORTEST_PASSWORD
from damagescore.records.rights import ROLES
from damagescore.records.sign_in import (
    account_of_claims,
    begin,
    check_password,
    is_fresh,
    sign_in,
    sign_out,
)
from damagescore.ui.access import KEPT_AS, ask_anew
from damagescore.ui.accounts import cookie
from damagescore.ui.data import store
from damagescore.ui.words import as_it_is

TICKET = "sign-in-ticket"


def sign_in_view() -> None:
    """Ask for name and password, or for the provider's word."""
    if st.session_state.pop("sign-in-forget", False):
        _post(cookie.FORGET)
    _, middle, _ = st.columns([1, 2, 1])
    with middle:
        st.title("Sign in")
        st.caption("The approved maintenance data govern. An inspector decides and signs.")
        with st.form("sign-in"):
            name = st.text_input("Name", key="sign-in-name", autocomplete="username")
            password = st.text_input(
                "Password", type="password", key="sign-in-password",
                autocomplete="current-password",
            )  # fmt: skip
            sent = st.form_submit_button("Sign in", type="primary", key="sign-in-go")
        fault = _by_password(name, password) if sent else None
        if has_provider():
            fault = _by_provider() or fault
        if fault is not None:
            st.error(str(fault), icon=":material/error:")


def keep_signed_in() -> None:
    """Have the browser fetch its cookie once after a sign-in, before photos are asked for."""
    ticket = st.session_state.pop(TICKET, None)
    if ticket is None:
        return
    _post(cookie.KEEP, ticket)
    if not cookie.tickets().wait(ticket, most_s=cookie.PATIENCE_S):
        st.warning(
            "This browser does not keep the sign-in: after a reload you are asked again, and "
            "photos are not shown. Allow cookies for this address.",
            icon=":material/cookie_off:",
        )


def who_is_here(account: Account) -> None:
    """Name who is signed in; let that person change the password and sign out."""
    st.markdown(f"**{as_it_is(account.name)}**")
    st.caption(f"{account.role.capitalize()}: {ROLES[account.role]}.")
    with st.container(horizontal=True):
        st.button("Sign out", key="sign-out", icon=":material/logout:", on_click=_leave)
        if account.has_password:
            with st.popover("Password", icon=":material/password:"):
                _own_password(account)


def has_provider() -> bool:
    """Whether a provider of sign-ins (OpenID Connect) is set up in the secrets."""
    try:
        return "auth" in st.secrets
    except FileNotFoundError:
        return False


def _by_password(name: str, password: str) -> DamageScoreError | None:
    try:
        _, token = sign_in(store(), name, password, now_s=time.time())
    except DamageScoreError as fault:
        return fault
    _enter(token)
    return None


def _by_provider() -> DamageScoreError | None:
    claims: Mapping[str, Any] = dict(st.user)
    # Streamlit remembers a provider's word for a month; only a new one opens the door.
    if st.user.is_logged_in and not is_fresh(claims, now_s=time.time()):
        st.caption("Your sign-in at your organisation is some minutes old: do it once more.")
    elif st.user.is_logged_in:
        try:
            account = account_of_claims(store(), claims)
            token = begin(store(), account, now_s=time.time(), how="provider")
        except DamageScoreError as fault:
            st.button("Use another e-mail", on_click=st.logout, key="sign-in-other")
            return fault
        _enter(token)
    st.button(
        "Sign in at your organisation", on_click=st.login, key="sign-in-provider",
        icon=":material/badge:",
    )  # fmt: skip
    return None


def _enter(token: str) -> None:
    st.session_state[KEPT_AS] = token
    st.session_state[TICKET] = cookie.tickets().offer(token)
    ask_anew()
    st.rerun()


def _leave() -> None:
    sign_out(store(), str(st.session_state.get(KEPT_AS, "")))
    # What one person has not saved is no business of the next one.
    for key in list(st.session_state):
        del st.session_state[key]
    st.session_state["sign-in-forget"] = True
    if has_provider() and st.user.is_logged_in:
        st.logout()


def _own_password(account: Account) -> None:
    with st.form("own-password", border=False):
        old = st.text_input(
            "Old password", type="password", key="own-password-old",
            autocomplete="current-password",
        )  # fmt: skip
        new = st.text_input(
            f"New password, {SHORTEST_PASSWORD} characters or more", type="password",
            key="own-password-new", autocomplete="new-password",
        )  # fmt: skip
        again = st.text_input(
            "The same again", type="password", key="own-password-again",
            autocomplete="new-password",
        )  # fmt: skip
        if not st.form_submit_button("Change it", key="own-password-go"):
            return
    if new != again:
        st.error("The two new passwords differ. Type them again.", icon=":material/error:")
        return
    try:
        check_password(store(), account.name, old, now_s=time.time())
        set_password(store(), account.name, new, by=account.name)
        _, token = sign_in(store(), account.name, new, now_s=time.time())
    except DamageScoreError as fault:
        st.error(str(fault), icon=":material/error:")
        return
    _enter(token)


def _post(path: str, body: str = "") -> None:
    # The body is a ticket of our own making: letters, digits, "-" and "_".
    st.html(
        f'<script>fetch("{path}", {{method: "POST", body: "{body}"}})</script>',
        unsafe_allow_javascript=True,
    )
