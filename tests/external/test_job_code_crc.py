"""The check digits of a job card's code against published values.

Source: the catalogue of parametrised CRC algorithms (reveng), entry CRC-16/IBM-3740, also
known as CRC-16/CCITT-FALSE: poly 0x1021, init 0xFFFF, not reflected, xorout 0x0000, check
0x29B1 over the ASCII string "123456789". The values are from memory, as is that an empty
message gives the initial value.
"""

import binascii

from hypothesis import given
from hypothesis import strategies as st

from damagescore.orders.codes import check_digits


def test_the_published_check_value() -> None:
    assert check_digits("123456789") == "29B1"
    assert check_digits("") == "FFFF"


@given(st.binary(min_size=1, max_size=60), st.data())
def test_every_burst_of_up_to_16_bits_is_noticed(data: bytes, draw: st.DataObject) -> None:
    """A CRC with 16 check bits finds each burst of at most 16 bits (Peterson, Brown 1961)."""
    message = int.from_bytes(data)
    length = 8 * len(data)
    burst = draw.draw(st.integers(1, min(2**16, 2**length) - 1))
    shift = draw.draw(st.integers(0, max(0, length - burst.bit_length())))
    broken = (message ^ (burst << shift)).to_bytes(len(data))
    assert binascii.crc_hqx(data, 0xFFFF) != binascii.crc_hqx(broken, 0xFFFF)
