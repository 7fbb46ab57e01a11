"""Tiles: they cover the photo once, and the route serves nothing but tiles."""

import asyncio
import hashlib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest
from starlette.applications import Starlette

from damagescore.errors import RecordError
from damagescore.ui.tiles import PREFIX, TILE_PX, Pyramid, levels_of, tile_route, tiles_of

Get = Callable[[str], tuple[int, bytes]]

SIZES = [(16, 16), (1024, 1024), (1025, 700), (2200, 1650), (2049, 3000)]


@pytest.mark.parametrize("size", SIZES)
def test_the_finest_tiles_put_together_are_the_photo(size: tuple[int, int]) -> None:
    width, height = size
    generator = np.random.default_rng(7)
    rgb = generator.integers(0, 256, (height, width, 3), dtype=np.uint8)
    seen = np.zeros_like(rgb)
    for name, pixels in tiles_of(rgb):
        level, place = name.removesuffix(".jpg").split("/")
        if level != "0":
            continue
        x, y = (TILE_PX * int(n) for n in place.split("_"))
        seen[y : y + pixels.shape[0], x : x + pixels.shape[1]] = pixels
    assert np.array_equal(seen, rgb)


@pytest.mark.parametrize("size", SIZES)
def test_the_coarsest_level_is_one_tile(size: tuple[int, int]) -> None:
    names = [n for n, _ in tiles_of(np.zeros((size[1], size[0], 3), np.uint8))]
    last = levels_of(*size) - 1
    assert [n for n in names if n.startswith(f"{last}/")] == [f"{last}/0_0.jpg"]
    assert not [n for n in names if n.startswith(f"{last + 1}/")]


@pytest.fixture
def photo() -> bytes:
    done, data = cv2.imencode(".png", np.full((1500, 1100, 3), (10, 90, 200), np.uint8))
    assert done
    return bytes(data.tobytes())


@pytest.fixture
def get(tmp_path: Path, photo: bytes) -> Get:
    kept = {hashlib.sha256(photo).hexdigest(): photo}

    def photo_bytes(sha256: str) -> bytes:
        if sha256 not in kept:
            raise RecordError("There is no such photo.")
        return kept[sha256]

    pyramid = Pyramid(folder=tmp_path / "tiles", photo_bytes=photo_bytes)
    (tmp_path / "secret.jpg").write_bytes(b"secret")
    app = Starlette(routes=[tile_route(lambda: pyramid, allowed=lambda _: True)])
    return lambda path: asyncio.run(_answer(app, path))


async def _answer(app: Starlette, path: str) -> tuple[int, bytes]:
    """Ask the app as a server would: status and body."""
    sent: list[Any] = []

    asked: list[None] = []

    async def receive() -> dict[str, Any]:
        if asked:
            await asyncio.Event().wait()  # the browser stays and has nothing more to say
        asked.append(None)
        return {"type": "http.request", "body": b"", "more_body": False}

    async def send(message: Any) -> None:
        sent.append(message)

    scope = {
        "type": "http", "method": "GET", "path": path, "raw_path": path.encode(),
        "query_string": b"", "headers": [], "root_path": "",
    }  # fmt: skip
    await app(scope, receive, send)
    body = b"".join(m.get("body", b"") for m in sent if m["type"] == "http.response.body")
    return sent[0]["status"], body


def test_a_tile_keeps_size_and_colour(get: Get, photo: bytes) -> None:
    sha256 = hashlib.sha256(photo).hexdigest()
    status, body = get(f"{PREFIX}/{sha256}/0/1_1.jpg")
    assert status == 200
    tile = cv2.imdecode(np.frombuffer(body, np.uint8), cv2.IMREAD_COLOR)
    assert tile.shape == (1500 - TILE_PX, 1100 - TILE_PX, 3)
    # JPEG rounds a flat colour by a few steps; red and blue swapped would be 190 off.
    assert np.abs(tile.reshape(-1, 3).mean(axis=0) - (10, 90, 200)).max() < 4


@pytest.mark.parametrize(
    "name",
    [
        "0" * 64 + "/0/0_0.jpg",
        "../secret.jpg",
        "{sha}/0/../../../secret.jpg",
        "{sha}/0/9_9.jpg",
        "{sha}/7/0_0.jpg",
        "{sha}/0/0_0.png",
        "{SHA}/0/0_0.jpg",
        "{sha}",
    ],
)
def test_whatever_is_not_a_tile_is_not_found(get: Get, photo: bytes, name: str) -> None:
    sha256 = hashlib.sha256(photo).hexdigest()
    path = name.replace("{sha}", sha256).replace("{SHA}", sha256.upper())
    status, body = get(f"{PREFIX}/{path}")
    assert (status, body) == (404, b"")
