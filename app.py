"""The app: `streamlit run app.py`."""

import sys
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from pathlib import Path
from typing import Any

import streamlit as st

ROOT = Path(__file__).resolve().parent
if str(ROOT) not in sys.path:
    sys.path.insert(0, str(ROOT))

from damagescore.ui.access import request_allowed  # noqa: E402
from damagescore.ui.accounts.cookie import cookie_routes  # noqa: E402
from damagescore.ui.questions import question_route  # noqa: E402
from damagescore.ui.session import desk, pyramid  # noqa: E402
from damagescore.ui.tiles import tile_route  # noqa: E402


@asynccontextmanager
async def measuring(_app: Any) -> AsyncIterator[None]:
    """Take up the photos that a server before this one left unmeasured; end with this one."""
    mine = desk()
    yield
    mine.close()


app = st.App(
    ROOT / "damagescore" / "ui" / "main.py",
    lifespan=measuring,
    routes=[
        tile_route(pyramid, allowed=request_allowed),
        question_route(allowed=request_allowed),
        *cookie_routes(),
    ],
)
