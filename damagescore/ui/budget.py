"""The budget of one measured value as bars: what its uncertainty is made of."""

import math
from collections.abc import Iterable
from html import escape

from damagescore.quantity import (
    UNIT_SIGNS,
    Contribution,
    Length,
    Measured,
    in_length_unit,
    itemised,
)

SMALLEST = 0.05
"""Share of u from which on a line is shown by itself."""


def budget_html(measured: Measured, parts: Iterable[Contribution], *, unit: Length) -> str:
    """One line a source, longest bar first; a bar's length is its share of the largest u.

    Sources below a twentieth of u, which change it by less than 0.2 %, are one line.

    Parameters
    ----------
    measured : Measured
    parts : iterable of Contribution
        Budget of the scale of the photo, relative.
    unit : "mm" or "in"
    """
    shown = in_length_unit(measured, unit)
    lines = _readable(itemised(shown, parts), shown.u) if isinstance(shown, Measured) else []
    if not lines:
        return ""
    sign = UNIT_SIGNS[shown.unit]
    rows = "".join(_row(c, longest=lines[0].u, sign=sign) for c in lines)
    return (
        '<div role="table" style="display:grid;grid-template-columns:minmax(8rem,2fr) 3fr auto;'
        f'gap:2px 10px;align-items:center;font-size:.85rem">{rows}</div>'
    )


def _readable(lines: Iterable[Contribution], u: float) -> list[Contribution]:
    """The lines that matter, and the rest as one."""
    known = [c for c in lines if c.u > 0]
    kept = [c for c in known if c.u >= SMALLEST * u]
    rest = math.hypot(*(c.u for c in known[len(kept) :]))
    return [*kept, Contribution(source="smaller ones", u=rest)] if rest > 0 else kept


def _row(line: Contribution, *, longest: float, sign: str) -> str:
    bar = (
        '<span aria-hidden="true" style="display:block;height:10px;'
        f"width:{100 * line.u / longest:.1f}%;"
        'min-width:2px;background:currentColor;opacity:.45;border-radius:2px"></span>'
    )
    value = f"{line.u:.2g} {sign}".strip()
    cells = (escape(line.source), bar, value)
    return (
        '<div role="row" style="display:contents">'
        + "".join(f'<span role="cell">{c}</span>' for c in cells)
        + "</div>"
    )
