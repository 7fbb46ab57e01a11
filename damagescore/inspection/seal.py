"""What a signature covers, and the inspector's key that seals it: Ed25519, RFC 8032."""

import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives import serialization
from cryptography.hazmat.primitives.asymmetric.ed25519 import (
    Ed25519PrivateKey,
    Ed25519PublicKey,
)

from damagescore.errors import RecordError
from damagescore.inspection.canonical import canonical_json

BY_NAME = "RFC 8785, SHA-256"
"""Method of a record that is signed by name only."""

BY_KEY = "RFC 8785, SHA-256, Ed25519"
"""Method of a record that is sealed with the inspector's key too."""

SHORTEST_PASSPHRASE = 12
"""Characters; common practice, no source."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SigningKey:
    """An inspector's private key, unlocked for one signature."""

    private: Ed25519PrivateKey

    @property
    def public_key(self) -> str:
        """The public key, 64 hexadecimal digits."""
        return self.private.public_key().public_bytes_raw().hex()

    def sign(self, content: bytes) -> str:
        """Give the Ed25519 signature of the content, 128 hexadecimal digits."""
        return self.private.sign(content).hex()


def new_key() -> SigningKey:
    """Make a new private key."""
    return SigningKey(private=Ed25519PrivateKey.generate())


def locked(key: SigningKey, passphrase: str) -> bytes:
    """Give the private key as PKCS#8 PEM, encrypted by the passphrase.

    Raises
    ------
    RecordError
        When the passphrase is too short.
    """
    if len(passphrase) < SHORTEST_PASSPHRASE:
        raise RecordError(
            f"The passphrase has {len(passphrase)} characters, fewer than "
            f"{SHORTEST_PASSPHRASE}.",
            remedy="Take a longer one, such as four or five words.",
        )
    return key.private.private_bytes(
        serialization.Encoding.PEM,
        serialization.PrivateFormat.PKCS8,
        serialization.BestAvailableEncryption(passphrase.encode()),
    )


def unlocked(pem: bytes, passphrase: str) -> SigningKey:
    """Read a private key that `locked` wrote.

    Raises
    ------
    RecordError
        When the passphrase is not the right one, or the file holds no such key.
    """
    try:
        private = serialization.load_pem_private_key(pem, passphrase.encode() or b" ")
    except (ValueError, TypeError):
        raise RecordError(
            "The passphrase does not open this key.",
            remedy="Type it again; a forgotten passphrase means a new key.",
        ) from None
    if not isinstance(private, Ed25519PrivateKey):
        raise RecordError(
            "The key file holds no Ed25519 key.", remedy="Make a new key in this program."
        )
    return SigningKey(private=private)


def content_of(plain: Mapping[str, Any]) -> bytes:
    """Give the bytes that a record's hash and seal are made of.

    All of the record, its signature too, but for the hash and the seal themselves,
    which stand empty. Records signed before RFC 8785 was followed name no method:
    their numbers are written as Python writes them.

    Parameters
    ----------
    plain : mapping
        A record as `inspection_to_dict` gives it.
    """
    signature = plain["signature"]
    if signature is None:
        return canonical_json(plain).encode()
    if not signature.get("method"):
        bare = {**plain, "signature": {**signature, "content_sha256": ""}}
        return sorted_json(bare).encode()
    open_fields = {"content_sha256": "", "ed25519": ""}
    return canonical_json({**plain, "signature": {**signature, **open_fields}}).encode()


def sorted_json(plain: Any) -> str:
    """JSON text that is the same for the same content, numbers as Python writes them."""
    return json.dumps(
        plain, ensure_ascii=False, sort_keys=True, separators=(",", ":"), allow_nan=False
    )


def faults_of_seal(plain: Mapping[str, Any]) -> list[str]:
    """Say what is wrong with the hash and the seal of a signed record."""
    signature = plain["signature"]
    content = content_of(plain)
    if hashlib.sha256(content).hexdigest() != signature["content_sha256"]:
        return ["its content does not have the hash that was signed"]
    if signature.get("method", "") not in ("", BY_NAME, BY_KEY):
        return [f"it is signed by the unknown method {str(signature['method'])[:40]!r}"]
    if signature.get("method") != BY_KEY:
        return []
    try:
        public = Ed25519PublicKey.from_public_bytes(bytes.fromhex(signature["public_key"]))
        public.verify(bytes.fromhex(signature["ed25519"]), content)
    except (InvalidSignature, ValueError, TypeError):
        return ["its seal was not made with the key that it names"]
    return []
