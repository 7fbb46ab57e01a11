"""Show a drawing of our own as SVG, in the colours of the page.

The page's own HTML leaves SVG out, and as an image a drawing would not follow the theme.
"""

from functools import cache
from typing import Any

import streamlit as st

_JS = """export default function ({ parentElement, data }) {
  parentElement.querySelector("div").innerHTML = data.svg;
}"""


@cache
def _renderer() -> Any:
    return st.components.v2.component(
        "damagescore_drawing", html="<div></div>", css="svg { display: block }", js=_JS
    )


def show_svg(key: str, svg: str) -> None:
    """Draw one SVG element.

    Parameters
    ----------
    key : str
        Of its own on the page.
    svg : str
        Made by us, every word of a user in it escaped; `currentColor` is the text's colour,
        `role="img"` with an `aria-label` tells what it shows.
    """
    _renderer()(key=key, data={"svg": svg})
