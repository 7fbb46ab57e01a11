"""The command line: contract of the JSON, exit codes, and one clear sentence on bad input."""

import csv
import io
import json
import struct
import zlib
from pathlib import Path
from typing import Any

import numpy as np
import pillow_heif
import pytest
import tifffile
from PIL import Image

from damagescore import cli
from damagescore.limits import demo_limit_set_text

DEMO = Path(__file__).parents[2] / "demo_images"
CRACKS = DEMO / "hv2210-01-cracks.jpg"
SQUARES = ("--square-side", "10")


@pytest.fixture(scope="module")
def cracks_pixels() -> np.ndarray:
    with Image.open(CRACKS) as image:
        return np.asarray(image.convert("RGB"))


def _run(capsys: pytest.CaptureFixture[str], *words: object) -> tuple[int, Any, str]:
    code = cli.main([str(w) for w in words])
    printed = capsys.readouterr()
    return (
        code,
        json.loads(printed.out) if printed.out.startswith("{") else printed.out,
        printed.err,
    )


def _truth(photo: Path) -> dict[str, Any]:
    return json.loads(photo.with_suffix(".json").read_text())


def test_measure_prints_the_contract(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    out = tmp_path / "new" / "m.json"
    code, got, err = _run(capsys, "measure", CRACKS, *SQUARES, "--out", out)
    assert (code, err) == (0, "")
    assert json.loads(out.read_text()) == got
    assert got["schema"] == "damagescore/measurement/1"
    assert set(got["photo"]) == {"path", "sha256", "width", "height"}
    assert {"method", "mm_per_px", "u_mm_per_px", "tilt_deg", "marks"} <= set(got["scale"])
    assert got["quality"]["usable"] is True
    assert {c["outcome"] for c in got["quality"]["checks"]} <= {"pass", "warn", "refuse"}
    truth = _truth(CRACKS)
    assert [x["kind"] for x in got["layers"]] == [x["kind"] for x in truth["layers"]]
    # 5 %: tips taper to 0.05 mm and a short crack loses most, see the demo's README
    true_mm = truth["total_crack_length_mm"]
    assert got["totals"]["crack_length"]["value"] == pytest.approx(true_mm, rel=0.05)
    assert got["totals"]["crumbling_area"]["value"] == 0
    assert got["totals"]["bulge_peak"]["value"] is None
    assert got["totals"]["bulge_peak"]["reason"]
    for finding in got["findings"]:
        assert {
            "id",
            "kind",
            "layer",
            "strength",
            "lines_px",
            "polygon_px",
            "quantities",
        } <= set(finding)
        assert 0 <= finding["strength"] <= 1
        assert finding["quantities"]["length"]["u"] > 0


def test_a_profile_measures_bulges(capsys: pytest.CaptureFixture[str]) -> None:
    photo = DEMO / "hv1418-10-profile-bulges.jpg"
    code, got, _ = _run(capsys, "measure", photo, "--view", "profile", *SQUARES)
    assert code == 0
    peaks = {f["layer"]: f["quantities"]["peak"]["value"] for f in got["findings"]}
    for true in _truth(photo)["bulges"]:
        if true["is_bulge"]:
            # 0.05 mm: the aim of the project at 30 px/mm
            assert peaks[true["layer"]] == pytest.approx(true["peak_mm"], abs=0.05)
    assert got["totals"]["bulge_peak"]["value"] == max(peaks.values())
    assert got["totals"]["crack_length"]["value"] is None


def test_a_trace_between_two_clicks(capsys: pytest.CaptureFixture[str]) -> None:
    crack = _truth(CRACKS)["cracks"][0]
    line_px, line_mm = crack["polylines_px"][0], np.array(crack["polylines_mm"][0])
    ends = [f"{x:.1f},{y:.1f}" for x, y in (line_px[0], line_px[-1])]
    code, got, _ = _run(capsys, "trace", CRACKS, *ends, *SQUARES)
    true_mm = float(np.sum(np.hypot(*np.diff(line_mm, axis=0).T)))
    assert code == 0
    # 4 %: the 90th percentile that the project aims at for traced lengths
    assert got["finding"]["quantities"]["length"]["value"] == pytest.approx(true_mm, rel=0.04)


def test_a_photo_turned_by_exif_measures_the_same(
    capsys: pytest.CaptureFixture[str], cracks_pixels: np.ndarray, tmp_path: Path
) -> None:
    lying = Image.fromarray(np.rot90(cracks_pixels))  # a camera held upright stores this
    exif = Image.Exif()
    exif[0x0112] = 6
    path = tmp_path / "turned.jpg"
    lying.save(path, exif=exif, quality=95)
    code, got, _ = _run(capsys, "measure", path, *SQUARES)
    assert code == 0
    assert (got["photo"]["width"], got["photo"]["height"]) == cracks_pixels.shape[1::-1]
    true_mm = _truth(CRACKS)["total_crack_length_mm"]
    assert got["totals"]["crack_length"]["value"] == pytest.approx(true_mm, rel=0.05)


def _write_tiff16(path: Path, pixels: np.ndarray) -> None:
    tifffile.imwrite(path, (pixels.astype(np.uint16) * 257), photometric="rgb")


def _write_heic(path: Path, pixels: np.ndarray) -> None:
    pillow_heif.from_pillow(Image.fromarray(pixels)).save(path, quality=90)


def _write_cmyk(path: Path, pixels: np.ndarray) -> None:
    Image.fromarray(pixels).convert("CMYK").save(path, quality=95)


@pytest.mark.parametrize(
    ("name", "write"),
    [("a.tif", _write_tiff16), ("a.heic", _write_heic), ("a.jpg", _write_cmyk)],
    ids=["16-bit TIFF", "HEIC", "CMYK"],
)
def test_other_formats_measure_the_same(
    capsys: pytest.CaptureFixture[str],
    cracks_pixels: np.ndarray,
    tmp_path: Path,
    name: str,
    write: Any,
) -> None:
    path = tmp_path / name
    write(path, cracks_pixels)
    code, got, _ = _run(capsys, "measure", path, *SQUARES)
    assert code == 0
    true_mm = _truth(CRACKS)["total_crack_length_mm"]
    assert got["totals"]["crack_length"]["value"] == pytest.approx(true_mm, rel=0.05)


def _png_header(width: int, height: int) -> bytes:
    def chunk(kind: bytes, data: bytes) -> bytes:
        crc = struct.pack(">I", zlib.crc32(kind + data))
        return struct.pack(">I", len(data)) + kind + data + crc

    header = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    return (
        b"\x89PNG\r\n\x1a\n"
        + chunk(b"IHDR", header)
        + chunk(b"IDAT", b"")
        + chunk(b"IEND", b"")
    )


@pytest.mark.parametrize(
    ("data", "word"),
    [
        (b"", "empty"),
        (b"#!/bin/sh\necho not a photo\n", "photo"),
        (CRACKS.read_bytes()[:50_000], "cut"),
        (_png_header(20_000, 10_000), "200"),
    ],
    ids=["0 bytes", "not an image", "truncated", "200 MP header"],
)
def test_an_unreadable_file_is_refused_in_one_sentence(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, data: bytes, word: str
) -> None:
    path = tmp_path / "bad.jpg"
    path.write_bytes(data)
    code, got, err = _run(capsys, "measure", path, *SQUARES)
    assert code == 3
    assert got["quality"]["usable"] is False
    assert word in err
    assert "Traceback" not in err
    assert len(err.strip().splitlines()) == 1
    assert all(q["value"] is None and q["reason"] for q in got["totals"].values())


def _blank(path: Path, pixels: np.ndarray) -> Path:
    Image.fromarray(pixels).save(path, quality=92)
    return path


def _no_mark(pixels: np.ndarray) -> np.ndarray:
    return pixels[: pixels.shape[0] // 2]


def _blurred(pixels: np.ndarray) -> np.ndarray:
    import cv2  # noqa: PLC0415

    return np.asarray(cv2.GaussianBlur(pixels, (0, 0), 12))


def _overexposed(pixels: np.ndarray) -> np.ndarray:
    return np.clip(pixels.astype(np.float32) * 6 + 60, 0, 255).astype(np.uint8)


@pytest.mark.parametrize("spoil", [_no_mark, _blurred, _overexposed])
def test_a_photo_that_cannot_be_judged_is_refused(
    capsys: pytest.CaptureFixture[str], cracks_pixels: np.ndarray, tmp_path: Path, spoil: Any
) -> None:
    path = _blank(tmp_path / "spoilt.jpg", spoil(cracks_pixels))
    code, got, err = _run(capsys, "measure", path, *SQUARES)
    assert code == 3
    assert got["quality"]["usable"] is False
    assert got["findings"] == []
    assert all(q["value"] is None for q in got["totals"].values())
    assert err.startswith("damagescore: ")


def test_the_own_card_is_found_without_being_told(
    capsys: pytest.CaptureFixture[str],
) -> None:
    code, got, _ = _run(capsys, "measure", CRACKS)
    assert code == 0
    assert got["scale"]["method"] == "card"


def test_squares_without_their_side_ask_for_it(capsys: pytest.CaptureFixture[str]) -> None:
    other_squares = DEMO / "hv2210-02-bond-gaps.jpg"
    code, got, err = _run(capsys, "measure", other_squares)
    assert code == 3
    assert got["scale"] is None
    assert "give that side" in err


@pytest.mark.parametrize(
    "words",
    [
        ("measure", "no-such.jpg", "--square-side", "10"),
        ("measure", str(CRACKS), "--square-side", "0"),
        ("measure", str(CRACKS), "--square-side", "10", "--rule-pitch", "1"),
        ("measure", str(CRACKS), "--two-points", "1,2,3"),
        ("measure", str(CRACKS), "--two-points", "1,2,3,4,nan"),
        ("measure", str(CRACKS), "--square-side", "10", "--layers", "0"),
        ("measure", str(CRACKS), "--square-side", "10", "--sensitivity", "7"),
        ("trace", str(CRACKS), "10,10", "--square-side", "10"),
        ("assess", str(CRACKS), "--limits", "x.toml", "--out", "out", "--workers", "0"),
        ("nonsense",),
    ],
)
def test_wrong_usage_exits_with_2(
    capsys: pytest.CaptureFixture[str], words: tuple[str, ...]
) -> None:
    try:
        code = cli.main(list(words))
    except SystemExit as stop:  # argparse's own refusals
        code = int(stop.code or 0)
    assert code == 2
    assert capsys.readouterr().err


def test_assess_writes_report_record_and_findings(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    limits = tmp_path / "limits.toml"
    limits.write_text(demo_limit_set_text(), encoding="utf-8")
    hostile = '<b>=HYPERLINK("x")</b>../../etc'
    code, said, _ = _run(
        capsys, "assess", CRACKS, "--limits", limits, "--out", tmp_path / "out", *SQUARES,
        "--part-number", hostile, "--units", "in",
    )  # fmt: skip
    assert code == 0
    assert "LIMIT EXCEEDED" in said
    assert (tmp_path / "out" / "report.pdf").read_bytes().startswith(b"%PDF")
    record = json.loads((tmp_path / "out" / "record.json").read_text())
    assert hostile in json.dumps(record, ensure_ascii=False).replace('\\"', '"')
    rows = list(
        csv.reader(io.StringIO((tmp_path / "out" / "findings.csv").read_text("utf-8-sig")))
    )
    assert len(rows) > 3
    assert not any(cell.startswith(("=", "@")) for row in rows for cell in row)


def test_a_faulty_limit_file_names_its_line(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    limits = tmp_path / "limits.toml"
    text = demo_limit_set_text().replace("limit = 17.3", 'limit = "long"')
    limits.write_text(text, encoding="utf-8")
    line = next(i for i, x in enumerate(text.splitlines(), 1) if '"long"' in x)
    code, _, err = _run(
        capsys, "assess", CRACKS, "--limits", limits, "--out", tmp_path / "out", *SQUARES
    )
    assert code in (2, 3)
    assert f"line {line}" in err
    assert not (tmp_path / "out").exists()


def test_cards_are_written(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    code, said, _ = _run(capsys, "cards", "--out", tmp_path)
    assert code == 0
    paths = [Path(x) for x in said.splitlines()]
    assert {p.suffix for p in paths} == {".pdf", ".svg"}
    assert all(p.stat().st_size > 300 for p in paths)
