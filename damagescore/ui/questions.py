"""Questions of the photo workspace that change nothing: a way to follow, a length.

They are asked while the pointer moves, so they go past the page's own runs and are
answered as JSON by a route, as the tiles are.
"""

import re
from collections.abc import Callable
from functools import lru_cache
from typing import Any

import numpy as np
from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route

from damagescore.damage.trace import snap_path
from damagescore.errors import DamageScoreError, UsageError
from damagescore.measure import Measurement
from damagescore.quantity import Length, format_quantity
from damagescore.scale import length_between
from damagescore.ui.known import measurement_from
from damagescore.ui.parts import kept_parts
from damagescore.ui.session import load, photo_of, store
from damagescore.ui.shapes import Points

PREFIX = "/photo-questions"

LONGEST_WAY_PX = 2500.0
"""A longer way takes longer to find than a person waits for it."""

_NAME = re.compile(r"([0-9A-Za-z-]{1,64})/([0-9a-f]{64})/(way|length|parts)")


def question_route(*, allowed: Callable[[Request], bool]) -> Route:
    """Route that answers `PREFIX/inspection/sha256/way?at=x,y,x,y` and `…/length?at=…`.

    `…/parts?of=hash,hash` gives parts of what the workspace was told, by their hashes.

    Only those allowed get an answer; on a server without accounts inspection ids and hashes,
    which cannot be guessed, serve as the key, as for tiles.
    """

    def serve(request: Request) -> Response:
        if not allowed(request):
            return Response(status_code=403)
        match = _NAME.fullmatch(request.path_params["name"])
        if match is None:
            return Response(status_code=404)
        if match[3] == "parts":
            return JSONResponse(kept_parts(request.query_params.get("of", "").split(",")))
        try:
            return JSONResponse(_answer(match[1], match[2], match[3], request.query_params))
        except DamageScoreError as fault:
            return JSONResponse({"fault": str(fault)}, status_code=422)

    return Route(PREFIX + "/{name:path}", serve, methods=["GET"])


def _answer(inspection_id: str, sha256: str, what: str, query: Any) -> dict[str, Any]:
    measurement, name = _measured(inspection_id, sha256, store().revision(inspection_id))
    if measurement.scale is None:
        raise UsageError(
            "The photo has no scale, so no length is known.",
            remedy="Give the scale by two points first.",
        )
    a, b = _two_points(query.get("at", ""))
    if what == "length":
        length = length_between(a, b, measurement.scale, screen_px=_screen_px(query))
        unit: Length = "in" if query.get("unit") == "in" else "mm"
        return {"text": format_quantity(length, unit=unit)}
    way = np.vstack([a, b])
    if np.hypot(*(b - a)) <= LONGEST_WAY_PX:
        mm_per_px = measurement.scale.surface.mm_per_px_at((a + b) / 2)
        photo = photo_of(sha256, name)
        way = snap_path(photo, a, b, mm_per_px=mm_per_px, edge=measurement.edge)
    return {"points": np.round(way, 1).tolist()}


@lru_cache(maxsize=8)
def _measured(inspection_id: str, sha256: str, _revision: int) -> tuple[Measurement, str]:
    """The measurement of a photo; kept until the record is saved again."""
    for entry in load(inspection_id).photos:
        if entry.sha256 == sha256:
            return measurement_from(entry.measurement), entry.name
    raise UsageError("This photo was removed meanwhile.", remedy="Choose another photo.")


def _two_points(text: str) -> tuple[Points, Points]:
    try:
        numbers = np.array([float(x) for x in text.split(",")])
    except ValueError:
        numbers = np.array([])
    if numbers.shape != (4,) or not np.isfinite(numbers).all() or np.abs(numbers).max() > 1e5:
        raise UsageError(
            f"The points are {text[:60]!r}.", remedy="Give four numbers: x, y, x, y."
        )
    return numbers[:2], numbers[2:]


def _screen_px(query: Any) -> float:
    try:
        return float(np.clip(float(query.get("screen", "1")), 0.05, 50.0))
    except ValueError:
        return 1.0
