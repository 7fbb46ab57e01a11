"""The demo photos, with how each is to be measured."""

import json
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import streamlit as st

from damagescore.measure import MeasureOptions
from damagescore.scale import ScaleRequest
from damagescore.ui.session import ROOT

FOLDER = ROOT / "demo_images"


@dataclass(frozen=True, slots=True, kw_only=True)
class DemoPhoto:
    """One demo photo; the facts of its scale are read from the file beside it."""

    path: Path
    title: str

    def options(self, *, smallest_limit_mm: float | None = None) -> MeasureOptions:
        facts = json.loads(self.path.with_suffix(".json").read_text(encoding="utf-8"))
        return MeasureOptions(
            view=facts["view"],
            scale=_request(facts),
            smallest_limit_mm=smallest_limit_mm,
        )


@st.cache_data(show_spinner=False)
def demo_photos() -> list[DemoPhoto]:
    """List the demo photos; empty where their folder is not installed."""
    return [
        DemoPhoto(
            path=path,
            title=json.loads(path.with_suffix(".json").read_text(encoding="utf-8"))["title"],
        )
        for path in sorted(FOLDER.glob("*.jpg"))
        if path.with_suffix(".json").is_file()
    ]


def _request(facts: Mapping[str, Any]) -> ScaleRequest:
    kinds = {"steel_rule": "rule", "two_dots": "two_dots"}
    kind = next((kinds[k] for k in facts["marker_kinds"] if k in kinds), "squares")
    return ScaleRequest(
        kind=kind,  # type: ignore[arg-type]
        size_mm=float(facts["markers"][0]["size_mm"]),
        edge_radius_mm=facts["radius_mm"],
    )
