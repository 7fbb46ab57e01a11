"""Read a photo file: one path for every format, upright, with size guards."""

import hashlib
import io
import re
import struct
import warnings
import zlib
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import cv2
import numpy as np
import pillow_heif
import tifffile
from numpy.typing import NDArray
from PIL import Image, ImageOps, UnidentifiedImageError
from pillow_heif.as_plugin import HeifImageFile

from damagescore.errors import PhotoError
from damagescore.photo.exif import camera_facts, camera_name, orientation_of
from damagescore.photo.record import Photo
from damagescore.side_by_side import side_by_side

MAX_MEGAPIXELS = 120
"""Above this the decoded photo and its float copies would not fit a small machine."""

MIN_SIDE_PX = 16
"""Below this there is nothing to judge, whatever the picture shows."""

KINDS = "JPEG, PNG, TIFF, WebP or HEIC"

STRIP_ROWS = 64
"""Rows that are converted at a time: few enough that their copy stays in the cache."""

_BROKEN = (OSError, SyntaxError, ValueError, EOFError, struct.error, zlib.error, IndexError)
"""What the decoders raise on a damaged file."""


def read_photo(source: Path | bytes, *, name: str | None = None) -> Photo:
    """Read a photo from a file or from its bytes.

    Parameters
    ----------
    source : Path or bytes
        JPEG, PNG, TIFF, WebP or HEIC; 8 or 16 bits; colour, grey, palette,
        with alpha (laid on white) or CMYK.
    name : str, optional
        Name to keep; the file's own name by default.

    Returns
    -------
    Photo
        Upright by the EXIF orientation. `grey` is the luma of ITU-R BT.601-7
        (0.299 R + 0.587 G + 0.114 B) on a 0 to 255 scale in float32; 16-bit
        steps are kept.

    Raises
    ------
    PhotoError
        Empty, not a photo, cut short, damaged, too large or too small. The
        size is checked from the header before anything is decoded.
    """
    data, shown = _bytes_of(source, name)
    with _told(data, shown):
        return _decode(data, shown)


def check_header(data: bytes, *, name: str) -> None:
    """Refuse what is plainly no photo, or of a wrong size, without decoding any pixels.

    Raises
    ------
    PhotoError
        Empty, not a photo, too large or too small; damage further on is not seen.
    """
    data, shown = _bytes_of(data, name)
    with _told(data, shown), _open(data) as image:
        _check_size(image.size, shown)


def camera_of(data: bytes) -> str:
    """Maker and model that a photo file names, without decoding it; empty where silent.

    Raises
    ------
    PhotoError
        When the file cannot be read as a photo.
    """
    with _told(data, "the photo"), _open(data) as image:
        return camera_name(
            camera_facts(image.getexif(), height=image.height, width=image.width)
        )


@contextmanager
def _told(data: bytes, shown: str) -> Iterator[None]:
    """Turn what the decoders raise on odd files into sentences."""
    try:
        with warnings.catch_warnings():
            # Pillow warns of odd metadata and of large pictures; both are judged here.
            warnings.simplefilter("ignore")
            yield
    except PhotoError:
        raise
    except Image.DecompressionBombError as error:
        raise _too_large(shown, _pixels_in(str(error))) from error
    except UnidentifiedImageError as error:
        raise PhotoError(
            f"{shown} is not a photo that can be read ({len(data)} bytes).",
            remedy=f"Choose a {KINDS} file.",
        ) from error
    except _BROKEN as error:
        raise _damaged(shown, error) from error


def _bytes_of(source: Path | bytes, name: str | None) -> tuple[bytes, str]:
    if isinstance(source, bytes):
        data, shown = source, name or "photo"
    else:
        shown = name or source.name
        try:
            data = source.read_bytes()
        except OSError as error:
            raise PhotoError(
                f"{shown} cannot be opened ({error.strerror or error}).",
                remedy="Check that the file exists and may be read.",
            ) from error
    if not data:
        raise PhotoError(
            f"{shown} is empty (0 bytes).", remedy="Copy the photo from the camera again."
        )
    return data, shown


def _decode(data: bytes, name: str) -> Photo:
    with _open(data) as image:
        _check_size(image.size, name)
        _check_sums(image, data)
        exif = image.getexif()
        deep = _stored_bits(image, data) > 8
        if deep:
            rgb, grey = _read_deep(data, image, orientation=orientation_of(exif))
        else:
            rgb = _upright_rgb(image)
            grey = _luma(rgb)
    facts = camera_facts(exif, height=grey.shape[0], width=grey.shape[1])
    return Photo(
        name=name,
        sha256=hashlib.sha256(data).hexdigest(),
        rgb=rgb,
        grey=grey,
        bit_depth=16 if deep else 8,
        camera=facts,
    )


def _open(data: bytes) -> Image.Image:
    """Open lazily: the header only, no pixels."""
    if data[:4] == b"\x89PNG" and len(data) < 33:
        raise OSError("the file ends within its header")
    if pillow_heif.is_supported(data[:64]):
        return HeifImageFile(io.BytesIO(data))  # type: ignore[no-untyped-call]
    return Image.open(io.BytesIO(data))


def _check_size(size: tuple[int, int], name: str) -> None:
    width, height = size
    if width * height > MAX_MEGAPIXELS * 1e6:
        raise _too_large(name, width * height, size=f" ({width} x {height})")
    if min(size) < MIN_SIDE_PX:
        raise PhotoError(
            f"{name} is only {width} x {height} pixels.",
            remedy="Choose the full-size photo, not a thumbnail.",
        )


def _check_sums(image: Image.Image, data: bytes) -> None:
    """Check a PNG's own sums, which plain decoding passes over."""
    if image.format == "PNG":
        with Image.open(io.BytesIO(data)) as again:
            again.verify()


def _too_large(name: str, pixels: int, *, size: str = "") -> PhotoError:
    return PhotoError(
        f"{name} has {pixels / 1e6:.0f} megapixels{size}; at most {MAX_MEGAPIXELS} are read.",
        remedy="Crop the photo to the bearing edge and the scale mark.",
    )


def _pixels_in(text: str) -> int:
    found = re.search(r"(\d+) pixels", text)
    return int(found.group(1)) if found else 0


def _damaged(name: str, error: BaseException) -> PhotoError:
    reason = str(error).split("\n", maxsplit=1)[0] or type(error).__name__
    cut = any(word in reason.lower() for word in ("truncat", "ends within", "end of file"))
    fault = "is cut short" if cut else "is damaged"
    return PhotoError(
        f"{name} {fault} and cannot be read to its end ({reason}).",
        remedy="Copy the photo from the camera again.",
    )


def _stored_bits(image: Image.Image, data: bytes) -> int:
    """Bits per channel in the file; Pillow alone would drop 16 bits to 8."""
    if image.format == "PNG":
        return data[24]
    if image.format in ("TIFF", "MPO"):
        bits = getattr(image, "tag_v2", {}).get(258, (8,))
        return int(max(bits)) if isinstance(bits, tuple) else int(bits)
    return 16 if image.mode in ("I", "I;16", "F") else 8


def _upright_rgb(image: Image.Image) -> NDArray[np.uint8]:
    image.load()
    turned = orientation_of(image.getexif()) != 1
    upright = ImageOps.exif_transpose(image) if turned else image
    if upright.mode in ("RGBA", "LA", "PA", "RGBa", "La") or "transparency" in upright.info:
        clear = upright.convert("RGBA")
        white = Image.new("RGBA", clear.size, "white")
        upright = Image.alpha_composite(white, clear)
    return _pixels_of(upright if upright.mode == "RGB" else upright.convert("RGB"))


def _pixels_of(image: Image.Image) -> NDArray[np.uint8]:
    """The pixels as an array, strip by strip: Pillow would copy the whole three times."""
    width, height = image.size
    rgb = np.empty((height, width, 3), dtype=np.uint8)
    for top in range(0, height, STRIP_ROWS):
        bottom = min(top + STRIP_ROWS, height)
        rgb[top:bottom] = np.asarray(image.crop((0, top, width, bottom)))
    return rgb


def _luma(rgb: NDArray[np.uint8] | NDArray[np.float32]) -> NDArray[np.float32]:
    grey = np.empty(rgb.shape[:2], dtype=np.float32)

    def fill(top: int) -> None:
        strip = rgb[top : top + STRIP_ROWS].astype(np.float32)
        cv2.cvtColor(strip, cv2.COLOR_RGB2GRAY, dst=grey[top : top + STRIP_ROWS])

    side_by_side(fill, range(0, rgb.shape[0], STRIP_ROWS))
    return grey


def _read_deep(
    data: bytes, image: Image.Image, *, orientation: int
) -> tuple[NDArray[np.uint8], NDArray[np.float32]]:
    """Read a 16-bit PNG or TIFF with its full steps, scaled to 0 to 255."""
    stored = _deep_tiff(data) if image.format == "TIFF" else _deep_png(data)
    scaled = _as_rgb(stored) * np.float32(_to_255(stored))
    upright = np.ascontiguousarray(_turn_upright(scaled, orientation))
    rgb = np.clip(np.rint(upright), 0, 255).astype(np.uint8)
    return rgb, _luma(upright)


def _to_255(stored: NDArray[np.generic]) -> float:
    if stored.dtype.kind != "u":
        raise OSError(f"values of type {stored.dtype} are not a photo's grey levels")
    return 255.0 / float(2 ** (8 * stored.dtype.itemsize) - 1)


def _deep_tiff(data: bytes) -> NDArray[np.generic]:
    try:
        with tifffile.TiffFile(io.BytesIO(data)) as file:
            page = file.pages[0]
            stored = np.asarray(page.asarray())
            planar = getattr(page, "planarconfig", 1) == 2
            inverted = getattr(page, "photometric", 1) == 0
    except (tifffile.TiffFileError, RuntimeError, KeyError) as error:
        raise OSError(str(error)) from error
    if planar and stored.ndim == 3:
        stored = np.moveaxis(stored, 0, -1)
    return np.asarray(np.invert(stored)) if inverted else stored


def _deep_png(data: bytes) -> NDArray[np.generic]:
    # OpenCV reads 16-bit steps but is silent on files cut short: Pillow is asked first.
    with Image.open(io.BytesIO(data)) as whole:
        whole.load()
    flags = cv2.IMREAD_UNCHANGED | cv2.IMREAD_IGNORE_ORIENTATION
    stored = cv2.imdecode(np.frombuffer(data, dtype=np.uint8), flags)
    if stored is None:
        raise OSError("the picture data cannot be decoded")
    if stored.ndim == 3:
        order = [2, 1, 0, 3][: stored.shape[2]]
        stored = stored[:, :, order]
    return np.asarray(stored)


def _as_rgb(stored: NDArray[np.generic]) -> NDArray[np.float32]:
    """Grey, grey with alpha, colour or colour with alpha to RGB on white."""
    plain = stored.astype(np.float32)
    if plain.ndim == 2:
        plain = plain[:, :, None]
    channels = plain.shape[2]
    if channels in (2, 4):
        full = np.float32(255.0 / _to_255(stored))
        opaque = plain[:, :, -1:] / full
        plain = plain[:, :, :-1] * opaque + full * (1 - opaque)
    elif channels not in (1, 3):
        raise OSError(f"{channels} channels are not a photo")
    return np.repeat(plain, 3, axis=2) if plain.shape[2] == 1 else plain


def _turn_upright(stored: NDArray[np.float32], orientation: int) -> NDArray[np.float32]:
    """Apply EXIF orientation 1 to 8 (Exif 2.32, 4.6.4, tag 0x0112) to an array."""
    if orientation >= 5:
        stored = stored.swapaxes(0, 1)
    if orientation in (3, 4, 7, 8):
        stored = stored[::-1]
    if orientation in (2, 3, 6, 7):
        stored = stored[:, ::-1]
    return stored
