"""The cookie that keeps a browser signed in over a reload.

A page cannot set a cookie that its scripts cannot read, so a route does: the page gets a
ticket, good once and for seconds, and the browser hands it to the route in return for the
cookie with the token. The token itself is never in a page.
"""

import secrets
import time
from dataclasses import dataclass, field
from functools import cache
from threading import Condition

from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from damagescore.records.sign_in import ENDS_S
from damagescore.ui.access import COOKIE

KEEP, FORGET = "/sign-in/keep", "/sign-in/forget"

GOOD_FOR_S = 30.0

PATIENCE_S = 4.0
"""A page waits this long for its browser to hand the ticket in."""


@dataclass(slots=True)
class Tickets:
    """Tickets that are out, each with its token and the time on the server's clock."""

    _out: dict[str, tuple[str, float]] = field(default_factory=dict)
    _changed: Condition = field(default_factory=Condition)

    def offer(self, token: str) -> str:
        """Give a ticket for a token."""
        ticket = secrets.token_urlsafe(32)
        with self._changed:
            now = time.monotonic()
            for old in [t for t, (_, at) in self._out.items() if now - at > GOOD_FOR_S]:
                del self._out[old]
            self._out[ticket] = (token, now)
        return ticket

    def redeem(self, ticket: str) -> str | None:
        """Give the token of a ticket, once."""
        with self._changed:
            token, at = self._out.pop(ticket, ("", 0.0))
            self._changed.notify_all()
        return token if token and time.monotonic() - at <= GOOD_FOR_S else None

    def wait(self, ticket: str, *, most_s: float) -> bool:
        """Wait until a ticket was handed in; False when it was not in time."""
        with self._changed:
            return self._changed.wait_for(lambda: ticket not in self._out, most_s)


@cache
def tickets() -> Tickets:
    """Give the tickets of this server."""
    return Tickets()


def cookie_routes() -> list[Route]:
    """Routes that set the cookie for a ticket, and take it away."""
    return [
        Route(KEEP, _keep, methods=["POST"]),
        Route(FORGET, _forget, methods=["POST"]),
    ]


async def _keep(request: Request) -> Response:
    if _from_elsewhere(request):
        return Response(status_code=403)
    given = b""
    async for piece in request.stream():
        given += piece
        if len(given) > 100:  # a ticket has 43 characters
            return Response(status_code=400)
    token = tickets().redeem(given.decode("ascii", errors="replace"))
    if token is None:
        return Response(status_code=403)
    done = Response(status_code=204, headers={"Cache-Control": "no-store"})
    done.set_cookie(
        COOKIE, token, max_age=int(ENDS_S), path="/", httponly=True, samesite="strict",
        secure=_is_https(request),
    )  # fmt: skip
    return done


async def _forget(request: Request) -> Response:
    if _from_elsewhere(request):
        return Response(status_code=403)
    done = Response(status_code=204, headers={"Cache-Control": "no-store"})
    done.delete_cookie(COOKIE, path="/", httponly=True, samesite="strict")
    return done


def _from_elsewhere(request: Request) -> bool:
    """Whether a page of another site sent it; browsers say so, and scripts cannot change it."""
    return request.headers.get("sec-fetch-site", "same-origin") not in ("same-origin", "none")


def _is_https(request: Request) -> bool:
    forwarded = request.headers.get("x-forwarded-proto", "").split(",")[0].strip()
    return "https" in (request.url.scheme, forwarded)
