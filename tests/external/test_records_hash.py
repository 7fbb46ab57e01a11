"""The hashes of the store against published example values.

Source: NIST, FIPS 180-4 examples for SHA-256 ("abc" and the empty message); the values
are from memory of the published example file and agree with the Python library's hashlib.
Hashes are exact: no tolerance.
"""

import pytest

from damagescore.inspection.seal import sorted_json
from damagescore.records.chain import sha256_of

EXAMPLES = {
    "": "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855",
    "abc": "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad",
}


@pytest.mark.parametrize("message", EXAMPLES)
def test_sha256_of_the_published_messages(message: str) -> None:
    assert sha256_of(message) == EXAMPLES[message]


def test_canonical_json_does_not_depend_on_the_order_of_keys() -> None:
    # RFC 8785, 3.2.3: members sorted by name; 3.2.1: no white space between tokens.
    assert sorted_json({"b": [1, 2], "a": "é"}) == sorted_json({"a": "é", "b": [1, 2]})
    assert sorted_json({"b": [1, 2], "a": "é"}) == '{"a":"é","b":[1,2]}'
