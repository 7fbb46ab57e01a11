"""Job codes, file names and orders under all kinds of text."""

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from damagescore.errors import UsageError
from damagescore.orders import (
    Incoming,
    JobCode,
    decode,
    encode,
    order_from_dict,
    order_to_dict,
    sort_photo,
)
from damagescore.orders.codes import MOST
from damagescore.orders.file_names import plain_name, read_name
from tests.order_samples import NUMBER, order_part, sample_order

names = st.text(max_size=12)
hours = st.none() | st.integers(0, 48).map(lambda n: n / 4)


@given(names, names, names, hours)
def test_a_code_is_read_back(order: str, number: str, serial: str, clock: float | None) -> None:
    code = JobCode(order=order, part_number=number, serial_number=serial, clock_hours=clock)
    try:
        text = encode(code)
    except (UsageError, UnicodeEncodeError):  # too long, or no text of any language
        return
    assert text.isascii()
    assert len(text) <= MOST
    assert decode(text) == code


@given(st.text(max_size=60))
def test_foreign_text_is_no_job_card_or_a_damaged_one(text: str) -> None:
    assert decode(text) is None or text.startswith("DJ1:")
    with pytest.raises(UsageError, match="damaged"):
        decode(f"DJ1:{text}:::")  # its check digits are empty


@given(st.integers(0, 32), st.characters(codec="ascii"))
def test_one_wrong_letter_is_noticed(place: int, letter: str) -> None:
    text = encode(JobCode(order=NUMBER, part_number="HV-1418", serial_number="0009"))
    place %= len(text)
    wrong = text[:place] + letter + text[place + 1 :]
    if wrong == text:
        return
    if not wrong.startswith("DJ1:"):
        assert decode(wrong) is None
        return
    with pytest.raises(UsageError, match="damaged"):
        decode(wrong)


@given(st.text(max_size=40))
def test_no_file_name_is_a_fault(name: str) -> None:
    order = sample_order()
    photo = sort_photo(order, Incoming(sha256="a", name=name))
    assert (photo.part == "") == bool(photo.reason)
    if photo.part:
        assert plain_name(name).startswith(plain_name(NUMBER))


@given(
    st.text(alphabet="AB12_- .", min_size=1, max_size=4), st.text(alphabet="x_3h", max_size=5)
)
def test_a_name_made_by_the_pattern_is_found(serial: str, rest: str) -> None:
    if not serial.strip():
        return
    order = sample_order(order_part(serial.strip()), order_part("other"))
    start = f"{plain_name(NUMBER)}_{plain_name(order.parts[0].part.serial_number)}"
    (found,) = read_name(f"{start}_{rest}.jpg", order).parts
    assert found == order.parts[0]


@given(st.lists(st.text(max_size=30), max_size=3))
def test_what_two_sources_say_is_never_chosen_from(codes: list[str]) -> None:
    order = sample_order()
    card = encode(JobCode(order=NUMBER, part_number="HV-2210", serial_number="0118"))
    name = f"{NUMBER}_0117_2.jpg"
    photo = sort_photo(order, Incoming(sha256="a", name=name, codes=(*codes, card)))
    assert photo.part == ""
    assert photo.reason


@given(st.lists(hours, max_size=4))
def test_an_order_is_read_back(clocks: list[float | None]) -> None:
    places = tuple(c for c in clocks if c is not None)
    order = sample_order(order_part("1", clock_hours=places))
    assert order_from_dict(json.loads(json.dumps(order_to_dict(order)))) == order
