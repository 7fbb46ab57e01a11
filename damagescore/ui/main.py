"""The main script: pages, sidebar and what every page shows."""

from pathlib import Path

import numpy as np
import streamlit as st
from PIL import Image
from streamlit.navigation.page import StreamlitPage

from damagescore import __version__
from damagescore.records.accounts import Account
from damagescore.ui.access import ask_anew, page_allowed
from damagescore.ui.accounts.sign_in import keep_signed_in, sign_in_view, who_is_here
from damagescore.ui.session import ROOT

LOOK = Path(__file__).with_name("look.css")

OWN_COLOURS = ("green", "orange", "red", "gray", "link", "border", "background")
"""Of the theme, given to our own style as --ds-green and so on."""

SECTIONS = {
    "Work": (
        ("inspect.py", "Inspect", ":material/center_focus_strong:", ""),
        ("work_orders.py", "Work orders", ":material/assignment:", "work-orders"),
        ("records.py", "Records", ":material/inventory_2:", "records"),
        ("history.py", "History", ":material/timeline:", "history"),
        ("compare.py", "Compare", ":material/balance:", "compare"),
    ),
    "Set up": (
        ("limit_sets.py", "Limit sets", ":material/rule:", "limit-sets"),
        ("scale_cards.py", "Scale cards", ":material/straighten:", "scale-cards"),
        ("lenses.py", "Lenses", ":material/camera:", "lenses"),
        ("check_target.py", "Check target", ":material/target:", "check-target"),
    ),
    "People": (
        ("training.py", "Training", ":material/school:", "training"),
        ("studies.py", "Studies", ":material/query_stats:", "studies"),
        ("accounts.py", "Accounts", ":material/group:", "accounts"),
    ),
    "Help": (("about.py", "About and cautions", ":material/info:", "about"),),
}
"""Pages by section of the navigation: file, title, icon, path of the address."""


def main() -> None:
    """Draw the navigation, the sidebar and the chosen page."""
    st.set_page_config(page_title="damagescore", page_icon=_icon(), layout="wide")
    now = ask_anew()
    asked = not now.open and now.account is None
    sections = {
        name: [_page(*facts) for facts in pages if asked or page_allowed(facts[0])]
        for name, pages in SECTIONS.items()
    }
    st.session_state["pages"] = {p.title: p for pages in sections.values() for p in pages}
    # Folded, Streamlit would hide the last pages behind a button. Asked to sign in, a person
    # comes to the page of the address afterwards.
    chosen = st.navigation(sections, expanded=True, position="hidden" if asked else "sidebar")
    st.html(f"<style>{_colours()}\n{LOOK.read_text(encoding='utf-8')}</style>")
    if asked:
        sign_in_view()
        return
    with st.sidebar:
        _sidebar(now.account)
    keep_signed_in()
    chosen.run()


def _page(file: str, title: str, icon: str, path: str) -> StreamlitPage:
    return st.Page(
        ROOT / "app_pages" / file,
        title=title,
        icon=icon,
        url_path=path or None,
        default=not path,
    )


def _colours() -> str:
    """The colours of the theme, which Streamlit gives to its own parts only."""
    kind = st.context.theme.type or "light"
    theme = f"theme.{kind}"
    own = "".join(
        f"--ds-{name}: {st.get_option(f'{theme}.{name}Color')};" for name in OWN_COLOURS
    )
    return f":root {{ {own} }}"


def _icon() -> Image.Image:
    """A stack of rubber and shims. A named icon would be fetched from another server."""
    icon = np.full((32, 32, 3), (31, 106, 115), np.uint8)
    icon[6::8, 3:29] = icon[7::8, 3:29] = (235, 240, 238)
    return Image.fromarray(icon)


def _sidebar(account: Account | None) -> None:
    if account is not None:
        who_is_here(account)
    else:
        st.text_input(
            "Who is working",
            key="inspector_name",
            placeholder="Name",
            help="Goes into every change that you make. Asked once, and again after a reload.",
            persist_state="session",
        )
        if st.get_option("server.address") not in ("localhost", "127.0.0.1", "::1"):
            st.caption(
                ":material/lock_open: Whoever reaches this address works here unasked. "
                "Make accounts on the page *Accounts*."
            )
    st.segmented_control(
        "Lengths in",
        ["mm", "in"],
        default="mm",
        required=True,
        key="unit",
        bind="query-params",
        width="stretch",
    )
    st.caption("The approved maintenance data govern. A qualified inspector decides and signs.")
    st.caption(f"damagescore {__version__}")


main()
