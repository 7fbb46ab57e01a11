"""The inspector's key: made in the sign step, opened by its passphrase for one signature."""

import streamlit as st

from damagescore.errors import DamageScoreError, RecordError
from damagescore.inspection.seal import SHORTEST_PASSPHRASE, SigningKey
from damagescore.records.keys import keys_of, make_key, unlock_key
from damagescore.ui.access import visitor
from damagescore.ui.session import flash, store
from damagescore.ui.words import as_it_is


def key_of(name: str, passphrase: str) -> SigningKey:
    """Open the newest key of an inspector.

    Raises
    ------
    RecordError
        When there is none, its file is missing, or the passphrase is wrong.
    """
    known = keys_of(store(), name.strip())
    if not known:
        raise RecordError(
            f"There is no key of {name.strip()[:80]!r}.",
            remedy="Make one below, or leave the passphrase empty to sign by name only.",
        )
    return unlock_key(store(), known[0].public_key, passphrase)


def has_key(name: str) -> bool:
    """Whether an inspector has a key."""
    return bool(keys_of(store(), name))


def key_box(key: str, *, name: str) -> None:
    """Offer to make a key."""
    with (
        st.expander("Make a key to seal records with", icon=":material/key:"),
        st.form(f"key-{key}", border=False),
    ):
        st.caption(
            "A key shows later that you signed, and that nothing was changed. It is locked by "
            "a passphrase, which nobody can find out or restore."
        )
        own = not visitor().open
        owner = name
        if own:
            st.markdown(f"Name of the owner  \n**{as_it_is(name)}**")
        else:
            owner = st.text_input("Name of the owner", value=name, key=f"key-name-{key}")
        number = st.text_input("Authorisation of the owner", key=f"key-authorisation-{key}")
        first = st.text_input(
            f"New passphrase, {SHORTEST_PASSPHRASE} characters or more", type="password",
            key=f"key-first-{key}",
        )  # fmt: skip
        again = st.text_input("The same again", type="password", key=f"key-again-{key}")
        if st.form_submit_button("Make the key", key=f"key-{key}-submit"):
            _make(owner, number, first, again)


def _make(owner: str, number: str, first: str, again: str) -> None:
    if first != again:
        st.error("The two passphrases differ. Type them again.", icon=":material/error:")
        return
    try:
        made = make_key(store(), name=owner, authorisation=number, passphrase=first)
    except DamageScoreError as fault:
        st.error(str(fault), icon=":material/error:")
        return
    flash(f"The key of {made.name} is made: {made.public_key[:12]}…")
    st.rerun()
