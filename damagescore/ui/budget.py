"""The budget of one measured value as bars: what its uncertainty is made of."""

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


def budget_html(measured: Measured, parts: Iterable[Contribution], *, unit: Length) -> str:
    """One line a source, longest bar first; a bar's length is its share of the largest u.

    Parameters
    ----------
    measured : Measured
    parts : iterable of Contribution
        Budget of the scale of the photo, relative.
    unit : "mm" or "in"
    """
    shown = in_length_unit(measured, unit)
    lines = (
        [c for c in itemised(shown, parts) if c.u > 0] if isinstance(shown, Measured) else []
    )
    if not lines:
        return ""
    sign = UNIT_SIGNS[shown.unit]
    rows = "".join(_row(c, longest=lines[0].u, sign=sign) for c in lines)
    return (
        '<div role="table" style="display:grid;grid-template-columns:minmax(8rem,2fr) 3fr auto;'
        f'gap:2px 10px;align-items:center;font-size:.85rem">{rows}</div>'
    )


def _row(line: Contribution, *, longest: float, sign: str) -> str:
    bar = (
        f'<span style="display:block;height:10px;width:{100 * line.u / longest:.1f}%;'
        'min-width:2px;background:currentColor;opacity:.45;border-radius:2px"></span>'
    )
    value = f"{line.u:.2g} {sign}".strip()
    cells = (escape(line.source), bar, value)
    return (
        '<div role="row" style="display:contents">'
        + "".join(f'<span role="cell">{c}</span>' for c in cells)
        + "</div>"
    )
