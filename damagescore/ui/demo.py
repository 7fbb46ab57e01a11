"""The demo photos, with what a user would say of each."""

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import streamlit as st

from damagescore.batch import demo_options
from damagescore.measurement import MeasureOptions
from damagescore.ui.session import ROOT

FOLDER = ROOT / "demo_images"


@dataclass(frozen=True, slots=True, kw_only=True)
class DemoPhoto:
    """One demo photo; `said` is its table in demo.toml."""

    path: Path
    said: Mapping[str, Any] = field(repr=False)

    @property
    def title(self) -> str:
        words = self.path.stem.split("-")
        part = f"{words[0][:2].upper()}-{words[0][2:]}"
        return f"{part}: {' '.join(words[2:])} ({self.said['view']} view)"

    def options(self, *, smallest_limit_mm: float | None = None) -> MeasureOptions:
        """Give the options to measure it with."""
        return replace(demo_options(self.said), smallest_limit_mm=smallest_limit_mm)


@st.cache_data(show_spinner=False)
def demo_photos() -> list[DemoPhoto]:
    """List the demo photos; empty where their folder is not installed."""
    plan = FOLDER / "demo.toml"
    if not plan.is_file():
        return []
    parts = tomllib.loads(plan.read_text(encoding="utf-8"))["part"]
    photos = [DemoPhoto(path=FOLDER / p["file"], said=p) for x in parts for p in x["photo"]]
    return sorted((p for p in photos if p.path.is_file()), key=lambda p: p.path.name)
