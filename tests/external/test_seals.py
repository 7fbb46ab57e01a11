"""Seals and hashes of records against published vectors.

VECTORS: RFC 8032 (S. Josefsson, I. Liusvaara, January 2017), section 7.1, tests 1 to 3:
secret key, public key, message, signature. From memory; a digit remembered wrongly would
fail here, as Ed25519 signatures are unique to key and message.
HASHES: NIST, FIPS 180-4 example messages for SHA-256, from memory of the published file.
All are exact: no tolerance.
"""

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from damagescore.inspection.seal import SigningKey
from damagescore.records.chain import sha256_of

VECTORS = (
    ("9d61b19deffd5a60ba844af492ec2cc44449c5697b326919703bac031cae7f60",
     "d75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a", "",
     ("e5564300c360ac729086e2cc806e828a84877f1eb8e5d974d873e065224901555fb8821590a33bacc61e3970"
      "1cf9b46bd25bf5f0595bbe24655141438e7a100b")),
    ("4ccd089b28ff96da9db6c346ec114e0f5b8a319f35aba624da8cf6ed4fb8a6fb",
     "3d4017c3e843895a92b70aa74d1b7ebc9c982ccf2ec4968cc0cd55f12af4660c", "72",
     ("92a009a9f0d4cab8720e820b5f642540a2b27b5416503f8fb3762223ebdb69da085ac1e43e15996e458f3613"
      "d0f11d8c387b2eaeb4302aeeb00d291612bb0c00")),
    ("c5aa8df43f9f837bedb7442f31dcb7b166d38535076f094b85ce3a2e0b4458f7",
     "fc51cd8e6218a1a38da47ed00230f0580816ed13ba3303ac5deb911548908025", "af82",
     ("6291d657deec24024827e69c3abe01a30ce548a284743a445e3680d7db5ac3ac18ff9b538d16f290ae67f760"
      "984dc6594a7c15e9716ed28dc027beceea1ec40a")),
)  # fmt: skip

HASHES = {
    "abcdbcdecdefdefgefghfghighijhijkijkljklmklmnlmnomnopnopq":
    "248d6a61d20638b8e5c026930c3e6039a33ce45964ff2167f6ecedd419db06c1",
    "a" * 1_000_000:
    "cdc76e5c9914fb9281a1c7e284d73e67f1809a48a497200e046d39ccc7112cd0",
}  # fmt: skip


@pytest.mark.parametrize(("secret", "public", "message", "signature"), VECTORS)
def test_seals_of_rfc_8032(secret: str, public: str, message: str, signature: str) -> None:
    key = SigningKey(private=Ed25519PrivateKey.from_private_bytes(bytes.fromhex(secret)))
    assert key.public_key == public
    assert key.sign(bytes.fromhex(message)) == signature


@pytest.mark.parametrize("message", HASHES, ids=["two blocks", "a million letters"])
def test_sha256_of_the_longer_published_messages(message: str) -> None:
    assert sha256_of(message) == HASHES[message]
