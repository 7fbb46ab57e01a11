"""The app: `streamlit run app.py`."""

import sys
from pathlib import Path

import streamlit as st

ROOT = Path(__file__).resolve().parent
if str(ROOT) not in sys.path:
    sys.path.insert(0, str(ROOT))

from damagescore.ui.questions import question_route  # noqa: E402
from damagescore.ui.session import pyramid  # noqa: E402
from damagescore.ui.tiles import tile_route  # noqa: E402

app = st.App(
    ROOT / "damagescore" / "ui" / "main.py",
    routes=[tile_route(pyramid), question_route()],
)
