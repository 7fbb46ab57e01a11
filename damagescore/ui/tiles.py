"""Image tiles for the photo workspace: a pyramid of JPEG squares, made once per photo.

Level 0 is the photo itself; each further level halves it, until one tile holds it all.
"""

import re
import tempfile
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray
from starlette.requests import Request
from starlette.responses import FileResponse, Response
from starlette.routing import Route

from damagescore.errors import DamageScoreError
from damagescore.photo import read_photo
from damagescore.side_by_side import side_by_side

TILE_PX = 1024
PREFIX = "/photo-tiles"

_NAME = re.compile(r"([0-9a-f]{64})/(\d{1,2})/(\d{1,3})_(\d{1,3})\.jpg")
_QUALITY = 86  # No block edges at 4 x zoom on the scenes; a quarter of the bytes of 95.

Pixels = NDArray[np.uint8]


@dataclass(frozen=True, slots=True, kw_only=True)
class Pyramid:
    """The tiles of photos, kept in a folder beside them.

    Parameters
    ----------
    folder : Path
        Where tiles are written; may be deleted at any time, they are made again.
    photo_bytes : callable
        Gives the file of a photo by its SHA-256; raises DamageScoreError if unknown.
    """

    folder: Path
    photo_bytes: Callable[[str], bytes]

    def ready(self, sha256: str) -> Path:
        """Make the tiles of a photo unless they are there; return their folder."""
        target = self.folder / sha256
        if not target.is_dir():
            self.write(sha256, read_photo(self.photo_bytes(sha256)).rgb)
        return target

    def write(self, sha256: str, rgb: Pixels) -> None:
        """Write all tiles; the folder gets its name only when it is complete."""
        target = self.folder / sha256
        if target.is_dir():
            return
        self.folder.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryDirectory(dir=self.folder, prefix=".part-") as part:
            inner = Path(part) / "tiles"
            side_by_side(lambda tile: _write_jpeg(inner / tile[0], tile[1]), tiles_of(rgb))
            try:
                inner.rename(target)
            except OSError:
                # Another session was faster; its tiles are the same.
                if not target.is_dir():
                    raise


def levels_of(width: int, height: int) -> int:
    """Number of levels, so that the last one fits one tile."""
    levels = 1
    while max(width, height) > TILE_PX * 2 ** (levels - 1):
        levels += 1
    return levels


def tiles_of(rgb: Pixels) -> Iterator[tuple[str, Pixels]]:
    """Give "level/x_y.jpg" and the pixels of each tile, finest level first."""
    height, width = rgb.shape[:2]
    for level in range(levels_of(width, height)):
        size = (-(-width >> level), -(-height >> level))
        if level:
            rgb = np.asarray(cv2.resize(rgb, size, interpolation=cv2.INTER_AREA), np.uint8)
        for y in range(0, size[1], TILE_PX):
            for x in range(0, size[0], TILE_PX):
                name = f"{level}/{x // TILE_PX}_{y // TILE_PX}.jpg"
                yield name, rgb[y : y + TILE_PX, x : x + TILE_PX]


def tile_route(pyramid: Callable[[], Pyramid], *, allowed: Callable[[Request], bool]) -> Route:
    """Route that serves `PREFIX/sha256/level/x_y.jpg` and nothing else, to those allowed.

    On a server without accounts the SHA-256 of a photo, which cannot be guessed, serves as
    the key to it.
    """

    def serve(request: Request) -> Response:
        if not allowed(request):
            return Response(status_code=403)
        match = _NAME.fullmatch(request.path_params["name"])
        if match is None:
            return Response(status_code=404)
        try:
            path = pyramid().ready(match[1]) / match[2] / f"{match[3]}_{match[4]}.jpg"
        except DamageScoreError:
            return Response(status_code=404)
        if not path.is_file():
            return Response(status_code=404)
        keep = {"Cache-Control": "private, max-age=31536000, immutable"}
        return FileResponse(path, media_type="image/jpeg", headers=keep)

    return Route(PREFIX + "/{name:path}", serve, methods=["GET"])


def _write_jpeg(path: Path, rgb: Pixels) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    bgr = cv2.cvtColor(rgb, cv2.COLOR_RGB2BGR)
    done, data = cv2.imencode(".jpg", bgr, [cv2.IMWRITE_JPEG_QUALITY, _QUALITY])
    assert done
    path.write_bytes(data.tobytes())
