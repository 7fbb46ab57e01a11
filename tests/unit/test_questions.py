"""The measuring line and the way between clicks, as the route answers them."""

import asyncio
import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from starlette.applications import Starlette

from damagescore.inspection import Inspection
from damagescore.ui.questions import PREFIX, length_between, question_route
from tests.conftest import plain_scale
from tests.ui.filled import CRACK, filled


@pytest.fixture
def inspection(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Inspection:
    monkeypatch.setenv("DAMAGESCORE_DATA", str(tmp_path))
    return filled(tmp_path)


def _get(path: str, query: str = "") -> tuple[int, Any]:
    """Ask the route as a browser would."""
    app = Starlette(routes=[question_route(allowed=lambda _: True)])
    sent: list[dict[str, Any]] = []

    async def receive() -> dict[str, Any]:
        return {"type": "http.request", "body": b""}

    async def send(message: Any) -> None:
        sent.append(message)

    scope = {
        "type": "http", "method": "GET", "path": path, "raw_path": path.encode(),
        "query_string": query.encode(), "headers": [], "http_version": "1.1", "scheme": "http",
        "server": ("localhost", 80), "client": ("localhost", 1), "root_path": "",
    }  # fmt: skip
    asyncio.run(app(scope, receive, send))
    body = b"".join(m.get("body", b"") for m in sent)
    return sent[0]["status"], json.loads(body) if body else None


def test_a_length_comes_with_its_uncertainty_in_the_unit_asked(inspection: Inspection) -> None:
    base = f"{PREFIX}/{inspection.id}/{inspection.photos[0].sha256}"
    assert _get(f"{base}/length", "at=0,50,100,50&screen=0.5")[1]["text"].startswith("4.00")
    assert _get(f"{base}/length", "at=0,50,100,50&unit=in")[1]["text"].endswith("in")


def test_the_way_follows_the_stroke(inspection: Inspection) -> None:
    base = f"{PREFIX}/{inspection.id}/{inspection.photos[0].sha256}"
    (x1, y1), (x2, y2) = CRACK
    status, answer = _get(f"{base}/way", f"at={x1},{y1},{x2},{y2}")
    way = np.array(answer["points"])
    assert status == 200
    # The stroke is 3 px wide and straight: the way stays on it.
    assert np.abs(way[:, 1] - y1).max() <= 2.0


@pytest.mark.parametrize(
    "query", ["", "at=1,2,3", "at=a,b,c,d", "at=nan,1,2,3", "at=1e9,0,0,0"]
)
def test_nonsense_is_told(inspection: Inspection, query: str) -> None:
    base = f"{PREFIX}/{inspection.id}/{inspection.photos[0].sha256}"
    status, answer = _get(f"{base}/way", query)
    assert status == 422
    assert "Give four numbers" in answer["fault"]


def test_the_route_answers_nothing_else(inspection: Inspection) -> None:
    sha256 = inspection.photos[0].sha256
    assert _get(f"{PREFIX}/{inspection.id}/{sha256}/edit", "at=1,2,3,4")[0] == 404
    assert _get(f"{PREFIX}/{inspection.id}/../way", "at=1,2,3,4")[0] == 404
    assert _get(f"{PREFIX}/nobody/{sha256}/way", "at=1,2,3,4")[0] == 422
    assert _get(f"{PREFIX}/{inspection.id}/{'0' * 64}/way", "at=1,2,3,4")[0] == 422


def test_the_clicks_and_the_scale_are_in_the_budget() -> None:
    scale = plain_scale()
    near = length_between(np.zeros(2), np.array([100.0, 0.0]), scale, screen_px=1.0)
    far = length_between(np.zeros(2), np.array([100.0, 0.0]), scale, screen_px=8.0)
    assert [c.source for c in near.budget] == ["scale", "clicks"]
    # sqrt(2) x 0.04 mm x hypot(1, 1 / sqrt(12)): two ends, rectangular screen pixel.
    assert near.budget[1].u == pytest.approx(0.04 * (2 * (1 + 1 / 12)) ** 0.5, rel=1e-6)
    assert far.u > near.u


def test_seen_from_afar_clicks_cover_the_length(inspection: Inspection) -> None:
    generator = np.random.default_rng(5)
    scale, screen_px = plain_scale(), 4.0
    a, b = np.array([40.0, 60.0]), np.array([340.0, 200.0])
    true_mm = 0.04 * float(np.hypot(*(b - a)))
    missed = []
    for _ in range(400):
        ends = [
            p + generator.normal(0, 1.0, 2) + generator.uniform(-2.0, 2.0, 2) for p in (a, b)
        ]
        found = length_between(*ends, scale, screen_px=screen_px)
        missed.append(abs(found.value - true_mm) > 1.96 * found.u)
    # 5 % are meant to miss; 400 draws keep a share of that below 9 % (4 sigma of 1.1 %).
    assert np.mean(missed) < 0.09
