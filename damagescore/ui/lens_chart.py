"""Where the boards of a calibration lie in the photo, drawn with nothing but boxes."""

import numpy as np
from numpy.typing import NDArray


def coverage_html(fields: NDArray[np.int64], size_px: tuple[int, int]) -> str:
    """The photo as a grid of fields, darker where more corners lie; hatched where none do.

    Parameters
    ----------
    fields : ndarray, shape (rows, columns)
        Corners in each field.
    size_px : tuple of int
        Width and height of the photo.
    """
    rows, columns = fields.shape
    empty = int((fields == 0).sum())
    words = f"{rows * columns - empty} of {rows * columns} fields of the photo hold corners"
    cells = "".join(_cell(int(n), int(fields.max())) for n in fields.ravel())
    return (
        f'<div role="img" aria-label="{words}" style="display:grid;gap:2px;max-width:26rem;'
        f"grid-template-columns:repeat({columns},1fr);"
        f'aspect-ratio:{size_px[0]}/{size_px[1]}">{cells}</div>'
    )


def _cell(count: int, most: int) -> str:
    if count == 0:
        look = (
            "background:repeating-linear-gradient(45deg,"
            "var(--ds-orange) 0 2px,transparent 2px 7px);opacity:.75"
        )
    else:
        look = f"background:rgba(42,138,147,{0.15 + 0.45 * count / most:.2f})"
    return (
        f'<span style="{look};border-radius:3px;display:flex;align-items:center;'
        f'justify-content:center;font-size:.75rem">{count}</span>'
    )
