"""The report's own fonts, and text made fit to be drawn with them."""

import unicodedata
from collections.abc import Mapping
from functools import cache
from itertools import groupby
from pathlib import Path
from xml.sax.saxutils import escape

from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont

PLAIN = "DamageScoreSans"
BOLD = "DamageScoreSans-Bold"

_FILES: Mapping[str, str] = {PLAIN: "DejaVuSans.ttf", BOLD: "DejaVuSans-Bold.ttf"}
_BOX = "□"


def font_path(name: str = PLAIN) -> Path:
    """Path of a font file that comes with the program."""
    return Path(__file__).parent / "fonts" / _FILES[name]


@cache
def register() -> frozenset[int]:
    """Make the fonts known to the PDF library; return the characters that both can draw."""
    fonts = [TTFont(name, font_path(name)) for name in _FILES]
    for font in fonts:
        pdfmetrics.registerFont(font)
    pdfmetrics.registerFontFamily(PLAIN, normal=PLAIN, bold=BOLD, italic=PLAIN, boldItalic=BOLD)
    return frozenset.intersection(*(frozenset(f.face.charToGlyph) for f in fonts))


def drawable(text: object, *, most: int = 2000) -> str:
    """Text with a box for each character that the fonts cannot draw.

    Control and direction marks become boxes too: they could make a name look like
    another. Runs of right-to-left letters are turned round, as the PDF library sets
    everything from left to right; letters are not joined.

    Parameters
    ----------
    text : object
        Shown as `str` gives it.
    most : int
        Longer text is cut and ends with an ellipsis.
    """
    whole = unicodedata.normalize("NFC", str(text))
    cut = whole if len(whole) <= most else f"{whole[: most - 1]}…"
    known = register()
    shown = "".join(_fit(c, known) for c in cut)
    return "".join(_turned(shown))


def markup(text: object, *, most: int = 2000) -> str:
    """Text for a paragraph: drawable, with its own markup characters made harmless."""
    return escape(drawable(text, most=most))


def _fit(character: str, known: frozenset[int]) -> str:
    if character in "\n\t":
        return " "
    if unicodedata.category(character).startswith("C") or ord(character) not in known:
        return _BOX
    return character


def _turned(text: str) -> list[str]:
    runs = groupby(text, key=lambda c: unicodedata.bidirectional(c) in ("R", "AL", "NSM"))
    return ["".join(run)[::-1] if rtl else "".join(run) for rtl, run in runs]
