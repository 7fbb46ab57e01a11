"""Orders: parts, sorting of photos, and order files."""

import math
import shutil
from pathlib import Path

import pytest

from damagescore.errors import UsageError
from damagescore.orders import (
    Incoming,
    JobCode,
    assign,
    encode,
    is_order_folder,
    read_order,
    read_order_folder,
    sort_photo,
    sort_photos,
)
from damagescore.orders.record import (
    OrderPhoto,
    options_of,
    order_from_dict,
    order_to_dict,
)
from tests.order_samples import NUMBER, order_part, sample_order

DEMO = Path(__file__).parents[2] / "demo_images"


def card(
    serial: str, *, order: str = NUMBER, number: str = "HV-2210", clock: float | None = None
) -> str:
    return encode(
        JobCode(order=order, part_number=number, serial_number=serial, clock_hours=clock)
    )


def sorted_as(name: str, *codes: str, folder: str = "") -> tuple[str, str, float | None]:
    photo = sort_photo(
        sample_order(), Incoming(sha256="a", name=name, codes=codes, folder_part=folder)
    )
    return photo.part, photo.how or photo.reason, photo.clock_hours


@pytest.mark.parametrize(
    ("name", "codes", "expected"),
    [
        ("IMG_1.jpg", (card("0117"),), ("HV-2210 0117", "job card", None)),
        ("IMG_1.jpg", (card("0009", number="HV-1418", clock=4.5),),
         ("HV-1418 0009", "job card", 4.5)),
        ("HVRW-0917_0118.jpg", (), ("HV-2210 0118", "file name", None)),
        ("hvrw-0917_0009_4h30_b.PNG", (), ("HV-1418 0009", "file name", 4.5)),
        ("HVRW-0917_0117_2.jpg", (card("0117"), "https://example.org"),
         ("HV-2210 0117", "job card", None)),
    ],
    ids=["card", "card with clock", "name", "name with clock", "both, and a foreign code"],
)  # fmt: skip
def test_photos_sort_themselves(
    name: str, codes: tuple[str, ...], expected: tuple[str, str, float | None]
) -> None:
    assert sorted_as(name, *codes) == expected


@pytest.mark.parametrize(
    ("name", "codes", "why"),
    [
        ("IMG_1.jpg", (), "No job card can be read"),
        ("HVRW-0917_01170.jpg", (), "No job card can be read"),
        ("IMG_1.jpg", (card("0117"), card("0118")), "fits 2 parts"),
        ("HVRW-0917_0117.jpg", (card("0118"),), "fits 2 parts"),
        ("IMG_1.jpg", (card("0117", order="HVRW-1"),), "of order HVRW-1, not of HVRW-0917"),
        ("IMG_1.jpg", (card("0999"),), "which order HVRW-0917 does not have"),
        ("IMG_1.jpg", (card("0117")[:-1] + "G",), "damaged"),
        ("HVRW-0917_0009_3h.jpg", (card("0009", number="HV-1418", clock=6),),
         "different clock positions: 3 and 6"),
    ],
    ids=["nothing", "longer serial", "two cards", "card and name", "other order",
         "unknown part",
         "damaged", "two clocks"],
)  # fmt: skip
def test_what_does_not_fit_is_to_be_assigned(
    name: str, codes: tuple[str, ...], why: str
) -> None:
    part, reason, _ = sorted_as(name, *codes)
    assert part == ""
    assert why in reason


def test_a_serial_number_that_two_parts_share_is_not_guessed() -> None:
    order = sample_order(order_part("1"), order_part("1", number="HV-3105"))
    photo = sort_photo(order, Incoming(sha256="a", name=f"{NUMBER}_1.jpg"))
    assert photo.part == ""
    assert "HV-2210 1 by file name; HV-3105 1 by file name" in photo.reason


def test_a_photo_is_assigned_by_hand_and_taken_back() -> None:
    order = sort_photos(sample_order(), [Incoming(sha256="a", name="IMG_1.jpg")])
    (waiting,) = order.to_assign
    done = assign(order, waiting.sha256, "HV-1418 0009", clock_hours=3.0)
    assert done.to_assign == ()
    (photo,) = done.photos_of(order.parts[2])
    assert (photo.how, photo.reason) == ("by hand", "")
    asked = options_of(order.parts[2], photo)
    assert (asked.clock_hours, asked.scale.edge_radius_mm) == (3.0, 32.0)
    assert assign(done, "a", "").to_assign[0].reason == "Taken back by hand."
    with pytest.raises(UsageError, match="no part 'HV-9'"):
        assign(order, "a", "HV-9")
    with pytest.raises(UsageError, match="clock position is 13"):
        assign(order, "a", "HV-1418 0009", clock_hours=13)


def test_the_same_photo_comes_in_once() -> None:
    twice = [Incoming(sha256="a", name=f"{NUMBER}_0117_{n}.jpg") for n in (1, 2)]
    assert len(sort_photos(sample_order(), twice).photos) == 1


@pytest.mark.parametrize(
    ("parts", "why"),
    [
        ((order_part("1"), order_part("1")), "the part 'HV-2210 1' twice"),
        ((order_part(""),), "without a serial number"),
        ((order_part("1", clock_hours=(13.0,)),), "clock position is 13"),
    ],
    ids=["twice", "no serial", "no hour"],
)
def test_orders_that_are_refused(parts: tuple, why: str) -> None:
    with pytest.raises(UsageError, match=why):
        sample_order(*parts)


ORDER_FILE = """
number = "HVRW-0917"
customer_reference = "Stand 3"
[[part]]
part_number = "HV-2210"
serial_number = "0117"
hours = 1400
cycles = 220
square_side_mm = 10
[[part]]
part_number = "HV-1418"
serial_number = "0009"
edge_radius_mm = 32
clock_hours = [12, 4.5]
clock_within_deg = 3
[[photo]]
file = "late.jpg"
serial_number = "0009"
clock_hours = 4.5
"""


def test_an_order_file_is_read(tmp_path: Path) -> None:
    (tmp_path / "order.toml").write_text(ORDER_FILE)
    order = read_order(tmp_path)
    first, second = order.parts
    assert (first.part.cycles, first.part.work_order) == (220.0, NUMBER)
    assert (first.scale.kind, first.scale.size_mm) == ("squares", 10.0)
    assert (second.clock_hours, second.scale.edge_radius_mm) == ((12.0, 4.5), 32.0)
    photo = OrderPhoto(sha256="a", name="a.jpg", clock_hours=4.5)
    # Rectangular, half width 3 and by default 5 degrees: a / sqrt(3) (GUM 4.3.7).
    assert options_of(second, photo).u_clock_deg == pytest.approx(3 / math.sqrt(3))  # rounding
    assert options_of(first, photo).u_clock_deg == pytest.approx(5 / math.sqrt(3))  # rounding
    kept = order_to_dict(order)
    assert order_from_dict(kept) == order
    for part in kept["parts"]:
        del part["clock_within_deg"]  # as orders were kept before it could be said
    assert order_from_dict(kept).parts[1].clock_within_deg == 5.0


@pytest.mark.parametrize(
    ("line", "why"),
    [
        ("number = [", "cannot be read"),
        ("numbr = 'x'", "unknown entry 'numbr'"),
        ("number = 'x'", "has no part"),
        ("number = 'x'\n[[part]]\nserial = '1'", "unknown entry 'serial'"),
        ("number = 'x'\n[[part]]\nserial_number = '1'\nhours = 'many'", "'many', not a number"),
        ("number = 'x'\npart = 3", "no tables"),
        (
            "number = 'x'\n[[part]]\nserial_number='1'\nrule_pitch_mm=1\ntwo_dots_mm=2",
            "one way",
        ),
        ("number = 'x'\n[[part]]\nserial_number='1'\nclock_hours=3", "no list"),
        ("number = 'x'\n[[part]]\nserial_number='1'\nclock_within_deg=0", "not above 0"),
        ("number = 'x'\n[[part]]\nserial_number='1'\nclock_within_deg=31", "at most 17.3"),
        ("number = 'x'\n[[part]]\nserial_number='1'\nclock_within_deg='a'", "not a number"),
    ],
)
def test_order_files_that_are_refused(tmp_path: Path, line: str, why: str) -> None:
    (tmp_path / "order.toml").write_text(line)
    with pytest.raises(UsageError, match=why):
        read_order(tmp_path)


def test_a_folder_of_folders_is_an_order(tmp_path: Path) -> None:
    folder = tmp_path / "HVRW-0917"
    for part, photo in (("HV-2210_0117", "01-cracks"), ("0118", "02-bond-gaps")):
        (folder / part).mkdir(parents=True)
        shutil.copy(DEMO / f"hv2210-{photo}.jpg", folder / part / "a.jpg")
    (folder / "0118" / "b.jpg").write_bytes(b"no photo")
    assert is_order_folder(folder)
    assert not is_order_folder(folder / "0118")
    read = read_order_folder(folder)
    assert read.order.number == "HVRW-0917"
    assert [(p.part, p.how) for p in read.order.photos] == [
        ("0118", "folder"), ("", ""), ("HV-2210 0117", "folder"),
    ]  # fmt: skip
    assert "b.jpg" in read.order.to_assign[0].name
    assert set(read.files) == {p.sha256 for p in read.order.photos}


def test_a_photo_that_the_order_names_is_assigned(tmp_path: Path) -> None:
    (tmp_path / "order.toml").write_text(ORDER_FILE)
    with pytest.raises(UsageError, match=r"'late\.jpg', which is not there"):
        read_order_folder(tmp_path)
    shutil.copy(DEMO / "hv1418-08-round-cracks.jpg", tmp_path / "late.jpg")
    (photo,) = read_order_folder(tmp_path).order.photos
    assert (photo.part, photo.how, photo.clock_hours) == ("HV-1418 0009", "by hand", 4.5)
