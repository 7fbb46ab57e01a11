"""Who is signed in, and what that person may do: asked by pages, changes and routes.

As long as nobody has an account, the server is open: everyone may do everything, under
the name that is typed into the sidebar.
"""

import time
from collections.abc import Mapping
from dataclasses import dataclass

import streamlit as st
from starlette.requests import Request

from damagescore.errors import SignInError
from damagescore.records.accounts import Account, has_accounts
from damagescore.records.rights import RIGHTS, Right, holds
from damagescore.records.sign_in import signed_in
from damagescore.ui.data import store

COOKIE = "damagescore-sign-in"

KEPT_AS = "sign-in-token"
"""Where the session keeps its token; it stays on the server."""

TRUSTED_S = 2.0
"""A page asks for many rights; the store is asked anew after this time."""

PAGE_RIGHTS: Mapping[str, Right] = {
    "inspect.py": "view",
    "work_orders.py": "orders",
    "records.py": "view",
    "history.py": "view",
    "compare.py": "view",
    "limit_sets.py": "limit_sets",
    "scale_cards.py": "view",
    "training.py": "practise",
    "studies.py": "studies",
    "check_target.py": "lenses",
    "lenses.py": "lenses",
    "accounts.py": "accounts",
    "about.py": "view",
}
"""The right that each page of `app_pages` asks for."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Visitor:
    """Who looks at the page, as the store had it at `asked_s` of the server's clock."""

    open: bool
    account: Account | None
    asked_s: float

    def may(self, right: Right) -> bool:
        """Whether this person holds a right."""
        return self.open or (self.account is not None and holds(self.account.role, right))


def visitor() -> Visitor:
    """Give who looks at the page."""
    known = st.session_state.get("visitor")
    if isinstance(known, Visitor) and time.monotonic() - known.asked_s < TRUSTED_S:
        return known
    return ask_anew()


def ask_anew() -> Visitor:
    """Ask the store who looks at the page; done at the start of each run."""
    now = time.monotonic()
    if not has_accounts(store()):
        found = Visitor(open=True, account=None, asked_s=now)
    else:
        token = st.session_state.get(KEPT_AS) or browser_token()
        account = signed_in(store(), token, now_s=time.time()) if token else None
        if account is not None:
            # A tab stays with the person it began with, whatever another tab does.
            st.session_state[KEPT_AS] = token
        found = Visitor(open=False, account=account, asked_s=now)
    st.session_state["visitor"] = found
    return found


def browser_token() -> str:
    """Give the token in the cookie that the browser came with; empty without one."""
    return st.context.cookies.get(COOKIE, "")


def allowed(right: Right) -> bool:
    """Whether who looks at the page holds a right."""
    return visitor().may(right)


def page_allowed(file: str) -> bool:
    """Whether a page may be seen; one that is not listed is for administrators."""
    return allowed(PAGE_RIGHTS.get(file, "accounts"))


def require(right: Right) -> None:
    """Refuse what needs a right.

    Raises
    ------
    SignInError
        When who looks at the page does not hold it.
    """
    if not allowed(right):
        roles = " or ".join(sorted(RIGHTS[right]))
        raise SignInError(
            f"Your role does not allow this ({right.replace('_', ' ')}).",
            remedy=f"Ask a person who is {roles}, or sign in again.",
        )


def request_allowed(request: Request) -> bool:
    """Whether a request for a part of a photo comes from somebody who may see records."""
    if not has_accounts(store()):
        return True
    token = request.cookies.get(COOKIE, "")
    account = signed_in(store(), token, now_s=time.time()) if token else None
    return account is not None and holds(account.role, "view")
