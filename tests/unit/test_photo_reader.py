"""Reading photos: every format, every orientation, every kind of bad file."""

import hashlib
import io
import struct
import time
import zlib
from pathlib import Path

import cv2
import numpy as np
import pillow_heif
import pytest
import tifffile
from PIL import Image

from damagescore.errors import PhotoError
from damagescore.photo import read_photo

HEIGHT, WIDTH = 60, 90


def picture() -> np.ndarray:
    """Four flat quarters: red, green / blue, white."""
    rgb = np.zeros((HEIGHT, WIDTH, 3), np.uint8)
    rgb[:30, :45], rgb[:30, 45:] = (200, 20, 30), (10, 180, 40)
    rgb[30:, :45], rgb[30:, 45:] = (20, 40, 190), (240, 240, 240)
    return rgb


def encoded(image: Image.Image, kind: str, **options: object) -> bytes:
    out = io.BytesIO()
    image.save(out, kind, **options)
    return out.getvalue()


def luma(rgb: np.ndarray) -> np.ndarray:
    """ITU-R BT.601-7, 2.5.1."""
    return rgb.astype(float) @ np.array([0.299, 0.587, 0.114])


@pytest.mark.parametrize("kind", ["PNG", "TIFF"])
def test_lossless_kinds_give_the_pixels_back(kind: str) -> None:
    data = encoded(Image.fromarray(picture()), kind)
    photo = read_photo(data, name="a")
    assert np.array_equal(photo.rgb, picture())
    assert photo.grey.dtype == np.float32
    assert np.allclose(photo.grey, luma(picture()), atol=1e-3)  # float32 sums
    assert photo.sha256 == hashlib.sha256(data).hexdigest()
    assert (photo.name, photo.bit_depth, photo.width, photo.height) == ("a", 8, WIDTH, HEIGHT)


@pytest.mark.parametrize("kind", ["JPEG", "WEBP", "HEIF"])
def test_lossy_kinds_come_close(kind: str) -> None:
    if kind == "HEIF":
        out = io.BytesIO()
        pillow_heif.from_pillow(Image.fromarray(picture())).save(out, quality=95)
        data = out.getvalue()
    else:
        data = encoded(Image.fromarray(picture()), kind, quality=95)
    photo = read_photo(data)
    for y, x in [(12, 20), (12, 70), (45, 20), (45, 70)]:  # middles of the quarters
        # Lossy colour coding moves a flat patch by a few grey levels at most.
        assert np.allclose(photo.rgb[y, x].astype(int), picture()[y, x].astype(int), atol=8)


def test_path_gives_name_and_same_result(tmp_path: Path) -> None:
    path = tmp_path / "edge 1.png"
    path.write_bytes(encoded(Image.fromarray(picture()), "PNG"))
    assert read_photo(path).name == "edge 1.png"
    assert read_photo(path).sha256 == read_photo(path.read_bytes()).sha256


TURNS = {
    2: Image.Transpose.FLIP_LEFT_RIGHT,
    3: Image.Transpose.ROTATE_180,
    4: Image.Transpose.FLIP_TOP_BOTTOM,
    5: Image.Transpose.TRANSPOSE,
    6: Image.Transpose.ROTATE_90,
    7: Image.Transpose.TRANSVERSE,
    8: Image.Transpose.ROTATE_270,
}
"""How a camera held so stores the upright scene (Exif 2.32, tag 0x0112)."""


def stored(orientation: int) -> Image.Image:
    upright = Image.fromarray(picture())
    return upright if orientation == 1 else upright.transpose(TURNS[orientation])


def exif_with(orientation: int) -> Image.Exif:
    exif = Image.Exif()
    exif[0x0112] = orientation
    return exif


@pytest.mark.parametrize("orientation", range(1, 9))
def test_every_orientation_comes_out_upright(orientation: int) -> None:
    data = encoded(stored(orientation), "PNG", exif=exif_with(orientation))
    assert np.array_equal(read_photo(data).rgb, picture())


@pytest.mark.parametrize("orientation", range(1, 9))
def test_every_orientation_of_a_16_bit_tiff_comes_out_upright(orientation: int) -> None:
    deep = np.array(stored(orientation)).astype(np.uint16) * 257
    out = io.BytesIO()
    tifffile.imwrite(out, deep, photometric="rgb", extratags=[(274, "H", 1, orientation, True)])
    photo = read_photo(out.getvalue())
    assert photo.bit_depth == 16
    assert np.array_equal(photo.rgb, picture())


@pytest.mark.parametrize("orientation", [3, 6, 8])
def test_turned_heic_comes_out_upright(orientation: int) -> None:
    out = io.BytesIO()
    heif = pillow_heif.from_pillow(stored(orientation))
    heif.info["exif"] = exif_with(orientation).tobytes()
    heif.save(out, quality=95)
    photo = read_photo(out.getvalue())
    assert photo.rgb.shape == (HEIGHT, WIDTH, 3)
    assert np.allclose(photo.rgb[12, 20].astype(int), picture()[12, 20].astype(int), atol=8)


def ramp16() -> np.ndarray:
    """Steps of 16: sixteen of them share one 8-bit level."""
    return (np.arange(64 * 64, dtype=np.uint16) * 16).reshape(64, 64)


def test_16_bit_grey_tiff_keeps_its_steps() -> None:
    out = io.BytesIO()
    tifffile.imwrite(out, ramp16())
    photo = read_photo(out.getvalue())
    assert photo.bit_depth == 16
    assert np.allclose(photo.grey, ramp16() * (255 / 65535), atol=1e-3)  # float32 sums
    assert len(np.unique(photo.grey)) == ramp16().size


def test_16_bit_png_keeps_its_steps_in_grey_and_colour() -> None:
    for deep in (ramp16(), np.dstack([ramp16(), ramp16() // 2, ramp16() // 3])):
        bgr = deep if deep.ndim == 2 else deep[:, :, ::-1]
        photo = read_photo(cv2.imencode(".png", bgr)[1].tobytes())
        expected = (deep if deep.ndim == 2 else luma(deep)) * (255 / 65535)
        assert photo.bit_depth == 16
        assert np.allclose(photo.grey, expected, atol=2e-3)  # float32 sums


def test_16_bit_png_with_alpha_lies_on_white() -> None:
    deep = np.full((32, 32, 4), 30000, np.uint16)
    deep[:, 16:, 3] = 0
    deep[:, :16, 3] = 65535
    photo = read_photo(cv2.imencode(".png", deep)[1].tobytes())
    assert photo.rgb[5, 25].tolist() == [255, 255, 255]
    assert photo.rgb[5, 5].tolist() == [117, 117, 117]  # 30000 / 257


def test_white_is_zero_tiff_is_not_shown_as_a_negative() -> None:
    out = io.BytesIO()
    tifffile.imwrite(out, 65535 - ramp16(), photometric="miniswhite")
    assert np.allclose(read_photo(out.getvalue()).grey, ramp16() * (255 / 65535), atol=1e-3)


@pytest.mark.parametrize("mode", ["L", "P", "1", "LA", "RGBA", "CMYK", "YCbCr"])
def test_other_modes_keep_the_greys(mode: str) -> None:
    ramp = np.repeat(np.repeat(np.array([[0, 255], [255, 0]], np.uint8), 20, 0), 20, 1)
    image = Image.fromarray(ramp).convert("RGB").convert(mode)
    kind = {"CMYK": "TIFF", "YCbCr": "TIFF"}.get(mode, "PNG")
    photo = read_photo(encoded(image, kind))
    assert np.allclose(
        photo.grey, ramp, atol=2.5
    )  # colour model round trip of one level or two


def test_cmyk_jpeg_is_not_inverted() -> None:
    image = Image.fromarray(picture()).convert("CMYK")
    photo = read_photo(encoded(image, "JPEG", quality=95))
    assert photo.grey[45, 70] > 225  # the white quarter
    assert photo.rgb[12, 20, 0] > 2 * photo.rgb[12, 20, 1]  # the red one


def test_clear_parts_lie_on_white() -> None:
    rgba = np.dstack([picture(), np.full((HEIGHT, WIDTH), 255, np.uint8)])
    rgba[:30, :, 3] = 0
    photo = read_photo(encoded(Image.fromarray(rgba), "PNG"))
    assert photo.rgb[5, 5].tolist() == [255, 255, 255]
    assert photo.rgb[50, 5].tolist() == [20, 40, 190]


def camera_exif(**tags: object) -> Image.Exif:
    exif = Image.Exif()
    exif[0x010F], exif[0x0110] = "Maker of none", "Model 0"
    ids = {"taken": 0x9003, "focal": 0x920A, "focal35": 0xA405, "plane": 0xA20E, "unit": 0xA210}
    exif.get_ifd(0x8769).update({ids[k]: v for k, v in tags.items()})
    return exif


def with_exif(exif: Image.Exif) -> bytes:
    return encoded(Image.fromarray(picture()), "JPEG", exif=exif)


def test_camera_facts_are_read() -> None:
    camera = read_photo(with_exif(camera_exif(taken="2025:03:04 10:11:12"))).camera
    assert (camera.maker, camera.model) == ("Maker of none", "Model 0")
    assert camera.taken == "2025:03:04 10:11:12"
    assert camera.focal_px is None


def test_focal_length_from_the_35_mm_equivalent() -> None:
    camera = read_photo(with_exif(camera_exif(focal35=50))).camera
    diagonal = (HEIGHT**2 + WIDTH**2) ** 0.5
    # The picture is 3 : 2, so 50 mm on 36 mm of width says the same.
    assert camera.focal_px == pytest.approx(50 / 36 * WIDTH, rel=1e-9)
    assert camera.focal_px == pytest.approx(50 / (36**2 + 24**2) ** 0.5 * diagonal, rel=1e-9)


@pytest.mark.parametrize(("unit", "per_unit"), [(2, 254.0), (3, 100.0), (4, 10.0)])
def test_focal_length_from_the_focal_plane_resolution(unit: int, per_unit: float) -> None:
    camera = read_photo(with_exif(camera_exif(focal=8.0, plane=per_unit, unit=unit))).camera
    assert camera.focal_px == pytest.approx(80.0, rel=1e-6)  # 10 px per mm, 8 mm


def test_focal_plane_is_finer_than_a_rounded_equivalent() -> None:
    tags = {"focal": 12.34, "plane": 100.0, "unit": 3, "focal35": 50}  # 123.4 and 125 px
    assert read_photo(with_exif(camera_exif(**tags))).camera.focal_px == pytest.approx(123.4)


def test_a_contradicting_focal_plane_is_not_believed() -> None:
    tags = {"focal": 12.0, "plane": 900.0, "unit": 3, "focal35": 50}
    assert read_photo(with_exif(camera_exif(**tags))).camera.focal_px == pytest.approx(125.0)


def refused(data: bytes | Path) -> PhotoError:
    with pytest.raises(PhotoError) as caught:
        read_photo(data, name="x.jpg")
    assert caught.value.remedy
    assert caught.value.message.count("\n") == 0
    assert "x.jpg" in caught.value.message
    return caught.value


def test_empty_file() -> None:
    assert "0 bytes" in refused(b"").message


def test_missing_file(tmp_path: Path) -> None:
    assert "cannot be opened" in refused(tmp_path / "none.jpg").message
    assert "cannot be opened" in refused(tmp_path).message


@pytest.mark.parametrize(
    "data", [b"plain words, no picture" * 9, b"\xff\xd8", b"%PDF-1.7\n1 0"]
)
def test_not_a_photo(data: bytes) -> None:
    assert "not a photo" in refused(data).message


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP", "TIFF"])
@pytest.mark.parametrize("share", [0.3, 0.7])
def test_cut_short(kind: str, share: float) -> None:
    noise = np.random.default_rng(1).integers(0, 255, (200, 300, 3), np.uint8)
    data = encoded(Image.fromarray(noise), kind)
    refused(data[: int(len(data) * share)])


def test_cut_short_heic_and_16_bit() -> None:
    noise = np.random.default_rng(1).integers(0, 65535, (200, 300, 3), np.uint16)
    out = io.BytesIO()
    pillow_heif.from_pillow(Image.fromarray((noise >> 8).astype(np.uint8))).save(out)
    tiff = io.BytesIO()
    tifffile.imwrite(tiff, noise, photometric="rgb")
    for data in (out.getvalue(), tiff.getvalue(), cv2.imencode(".png", noise)[1].tobytes()):
        refused(data[: len(data) // 2])


def png_header(width: int, height: int) -> bytes:
    body = b"IHDR" + struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    chunk = struct.pack(">I", 13) + body + struct.pack(">I", zlib.crc32(body))
    empty = struct.pack(">I", 0) + b"IDAT" + struct.pack(">I", zlib.crc32(b"IDAT"))
    return b"\x89PNG\r\n\x1a\n" + chunk + empty


@pytest.mark.parametrize(("width", "height"), [(20000, 10000), (13000, 10000), (60000, 60000)])
def test_a_huge_header_is_refused_before_decoding(width: int, height: int) -> None:
    start = time.perf_counter()
    error = refused(png_header(width, height))
    assert f"{width * height / 1e6:.0f} megapixels" in error.message
    assert time.perf_counter() - start < 1.0  # nothing of the size was allocated


def test_a_thumbnail_is_refused() -> None:
    small = encoded(Image.fromarray(picture()).resize((30, 10)), "PNG")
    assert "30 x 10" in refused(small).message


def test_damaged_picture_data() -> None:
    data = bytearray(encoded(Image.fromarray(picture()), "PNG"))
    middle = len(data) // 2
    data[middle : middle + 20] = bytes(20)
    refused(bytes(data))


def test_float_tiff_is_refused_with_the_type() -> None:
    out = io.BytesIO()
    tifffile.imwrite(out, np.zeros((40, 40), np.float32))
    assert "float32" in refused(out.getvalue()).message


def test_random_damage_never_raises_anything_else() -> None:
    rng = np.random.default_rng(4)
    whole = encoded(Image.fromarray(picture()), "JPEG", exif=camera_exif(focal35=50))
    refusals = 0
    for _ in range(60):
        data = bytearray(whole)
        for place in rng.integers(2, len(data), 6):
            data[place] = rng.integers(0, 256)
        try:
            read_photo(bytes(data))
        except PhotoError:
            refusals += 1
    assert refusals > 0
