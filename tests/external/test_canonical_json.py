"""Canonical JSON against RFC 8785 (A. Rundgren, B. Jordan, S. Erdtman, June 2020).

NUMBERS: appendix B, table of doubles and their texts. TEXTS: the examples of sections 3.2.2
and 3.2.3, and the further ones that the authors publish with their programs
(github.com/cyberphone/json-canonicalization, testdata); both were read on 2026-11-25 in the
source package of the library `rfc8785` 0.1.4, which takes them over unchanged. That library
is the reference for what no example covers. Texts are exact: no tolerance.
"""

import json
import struct

import pytest
import rfc8785
from hypothesis import given
from hypothesis import strategies as st

from damagescore.errors import RecordError
from damagescore.inspection.canonical import MOST_WHOLE, canonical_json

NUMBERS = {
    "0000000000000000": "0",
    "8000000000000000": "0",
    "0000000000000001": "5e-324",
    "8000000000000001": "-5e-324",
    "7fefffffffffffff": "1.7976931348623157e+308",
    "ffefffffffffffff": "-1.7976931348623157e+308",
    "4340000000000000": "9007199254740992",
    "c340000000000000": "-9007199254740992",
    "4430000000000000": "295147905179352830000",
    "44b52d02c7e14af5": "9.999999999999997e+22",
    "44b52d02c7e14af6": "1e+23",
    "44b52d02c7e14af7": "1.0000000000000001e+23",
    "444b1ae4d6e2ef4e": "999999999999999700000",
    "444b1ae4d6e2ef4f": "999999999999999900000",
    "444b1ae4d6e2ef50": "1e+21",
    "3eb0c6f7a0b5ed8c": "9.999999999999997e-7",
    "3eb0c6f7a0b5ed8d": "0.000001",
    "41b3de4355555553": "333333333.3333332",
    "41b3de4355555554": "333333333.33333325",
    "41b3de4355555555": "333333333.3333333",
    "41b3de4355555556": "333333333.3333334",
    "41b3de4355555557": "333333333.33333343",
    "becbf647612f3696": "-0.0000033333333333333333",
    "43143ff3c1cb0959": "1424953923781206.2",
}

TEXTS = {
    r"""{"numbers": [333333333.33333329, 1E30, 4.50, 2e-3, 0.000000000000000000000000001],
     "string": "\u20ac$\u000F\u000aA'\u0042\u0022\u005c\\\"\/",
     "literals": [null, true, false]}""":
    r"""{"literals":[null,true,false],"numbers":[333333333.3333333,1e+30,4.5,0.002,1e-27],"""
    r""""string":"€$\u000f\nA'B\"\\\\\"/"}""",
    r"""{"1": {"f": {"f": "hi","F": 5} ,"\n": 56.0}, "10": { }, "": "empty", "a": { },
     "111": [ {"e": "yes","E": "no" } ], "A": { }}""":
    r"""{"":"empty","1":{"\n":56,"f":{"F":5,"f":"hi"}},"10":{},"""
    r""""111":[{"E":"no","e":"yes"}],"A":{},"a":{}}""",
    r"""{"\u20ac": "Euro Sign", "\r": "Carriage Return", "\u000a": "Newline", "1": "One",
     "\u0080": "Control\u007f", "\ud83d\ude02": "Smiley",
     "\u00f6": "Latin Small Letter O With Diaeresis",
     "\ufb33": "Hebrew Letter Dalet With Dagesh", "</script>": "Browser Challenge"}""":
    '{"\\n":"Newline","\\r":"Carriage Return","1":"One","</script>":"Browser Challenge",'
    '"\u0080":"Control\u007f","ö":"Latin Small Letter O With Diaeresis","€":"Euro Sign",'
    '"\U0001f602":"Smiley","\ufb33":"Hebrew Letter Dalet With Dagesh"}',
    r"""{"peach": "This sorting order", "péché": "is wrong according to French",
     "pêche": "but canonicalization MUST", "sin": "ignore locale"}""":
    '{"peach":"This sorting order","péché":"is wrong according to French",'
    '"pêche":"but canonicalization MUST","sin":"ignore locale"}',
    '[56, {"d": true, "10": null, "1": [ ]}]': '[56,{"1":[],"10":null,"d":true}]',
}  # fmt: skip


@pytest.mark.parametrize(("double", "text"), NUMBERS.items())
def test_numbers_of_appendix_b(double: str, text: str) -> None:
    (number,) = struct.unpack(">d", bytes.fromhex(double))
    assert canonical_json(number) == text


@pytest.mark.parametrize(("given_text", "text"), TEXTS.items())
def test_published_examples(given_text: str, text: str) -> None:
    assert canonical_json(json.loads(given_text)) == text


finite = st.floats(allow_nan=False, allow_infinity=False)
plain = st.recursive(
    st.none() | st.booleans() | st.integers(-(2**53) + 1, 2**53 - 1) | finite | st.text(),
    lambda inner: st.lists(inner) | st.dictionaries(st.text(), inner),
    max_leaves=12,
)


@given(plain)
def test_any_data_is_written_as_the_reference_library_writes_it(value: object) -> None:
    assert canonical_json(value).encode() == rfc8785.dumps(value)  # type: ignore[arg-type]


@given(plain)
def test_what_is_read_back_is_written_alike(value: object) -> None:
    text = canonical_json(value)
    assert canonical_json(json.loads(text)) == text


@pytest.mark.parametrize(
    "value",
    [float("nan"), float("inf"), MOST_WHOLE + 1, "\ud800", {1: "x"}, {"\udc00": 1}, {1, 2}],
)
def test_what_the_rfc_does_not_allow_is_refused(value: object) -> None:
    with pytest.raises(RecordError, match="cannot be written into a signed record"):
        canonical_json([value])
