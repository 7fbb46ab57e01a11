"""An inspection as plain JSON and back, exactly, and the hash of its content."""

import hashlib
from collections.abc import Mapping
from dataclasses import asdict
from typing import Any

from damagescore.errors import RecordError
from damagescore.inspection.record import (
    Edit,
    HandMeasurement,
    Inspection,
    Part,
    PhotoEntry,
    Review,
    Signature,
    Task,
)
from damagescore.inspection.seal import content_of
from damagescore.quantity import quantity_from_dict

SCHEMA = "damagescore/inspection/1"


def inspection_to_dict(inspection: Inspection) -> dict[str, Any]:
    """Plain form of the whole inspection; `inspection_from_dict` gives it back equal."""
    signature = inspection.signature
    plain = {
        "schema": SCHEMA,
        "id": inspection.id,
        "created_at": inspection.created_at,
        "part": _given(asdict(inspection.part), _LATER_OF_PART),
        "photos": [photo_to_dict(p) for p in inspection.photos],
        "hand": [hand_to_dict(h) for h in inspection.hand],
        "edits": [_edit_to_dict(e) for e in inspection.edits],
        "limit_set": inspection.limit_set,
        "assessment": inspection.assessment,
        "signature": None
        if signature is None
        else _given(asdict(signature), _LATER_OF_SIGNATURE),
        "supersedes": inspection.supersedes,
        "supersede_reason": inspection.supersede_reason,
        "software": inspection.software,
    }
    if inspection.task != Task():
        plain["task"] = _given(asdict(inspection.task), _LATER_OF_TASK)
    return plain


def inspection_from_dict(plain: Mapping[str, Any]) -> Inspection:
    """Read back what `inspection_to_dict` wrote.

    Raises
    ------
    RecordError
        When the mapping is of another schema or lacks something.
    """
    schema = plain.get("schema") if isinstance(plain, Mapping) else None
    if schema != SCHEMA:
        raise RecordError(
            f"The record has schema {str(schema)[:80]!r}, not {SCHEMA!r}.",
            remedy="Open it with the version that wrote it.",
        )
    try:
        return _inspection(plain)
    except (KeyError, TypeError, ValueError, AttributeError) as fault:
        raise RecordError(
            f"The record is damaged: {type(fault).__name__} {str(fault)[:80]}.",
            remedy="Restore it from a copy.",
        ) from fault


def content_sha256(inspection: Inspection) -> str:
    """SHA-256 of everything but the hash and the seal kept in the signature.

    The signer's name, authorisation, statement and disposition are part of it; see
    `seal.content_of` for the bytes.
    """
    return hashlib.sha256(content_of(inspection_to_dict(inspection))).hexdigest()


def photo_to_dict(entry: PhotoEntry) -> dict[str, Any]:
    """Plain form of one photo with its reviews."""
    return {
        "sha256": entry.sha256,
        "name": entry.name,
        "view": entry.view,
        "options": entry.options,
        "measurement": entry.measurement,
        "reviews": {name: asdict(r) for name, r in entry.reviews.items()},
        # Left out where there is none, as in records from before: their hashes still hold.
        **({"rulers": list(entry.rulers)} if entry.rulers else {}),
    }


def photo_from_dict(plain: Mapping[str, Any]) -> PhotoEntry:
    """Read back what `photo_to_dict` wrote."""
    reviews = {name: Review(**r) for name, r in plain["reviews"].items()}
    rulers = tuple(plain.get("rulers") or ())
    return PhotoEntry(**{**plain, "reviews": reviews, "rulers": rulers})


def hand_to_dict(hand: HandMeasurement) -> dict[str, Any]:
    """Plain form of one hand measurement."""
    return {
        "quantity": hand.quantity,
        "value": hand.value.to_dict(),
        "gauge_id": hand.gauge_id,
        "by": hand.by,
        "at": hand.at,
        "layer": hand.layer,
        "note": hand.note,
    }


def hand_from_dict(plain: Mapping[str, Any]) -> HandMeasurement:
    """Read back what `hand_to_dict` wrote."""
    return HandMeasurement(**{**plain, "value": quantity_from_dict(plain["value"])})


# What came into records later is written only where it was given, so that a record from
# before keeps its text, and with it its hash.
_LATER_OF_PART = ("hours_since_overhaul", "fitted_to", "total_time_h")
_LATER_OF_TASK = ("cameras",)
_LATER_OF_SIGNATURE = (
    "certificate_number", "certificate_kind", "method", "public_key", "ed25519",
)  # fmt: skip


def _given(plain: dict[str, Any], later: tuple[str, ...]) -> dict[str, Any]:
    return {k: v for k, v in plain.items() if k not in later or v not in ("", None)}


def _edit_to_dict(edit: Edit) -> dict[str, Any]:
    # Not asdict: that would copy the whole of `before` and `after`.
    return {name: getattr(edit, name) for name in Edit.__slots__}


def _inspection(plain: Mapping[str, Any]) -> Inspection:
    given = {k: v for k, v in plain.items() if k != "schema"}
    signature = given["signature"]
    return Inspection(
        **{
            **given,
            "part": Part(**given["part"]),
            "task": Task(**given.get("task", {})),
            "photos": tuple(photo_from_dict(p) for p in given["photos"]),
            "hand": tuple(hand_from_dict(h) for h in given["hand"]),
            "edits": tuple(Edit(**e) for e in given["edits"]),
            "signature": None if signature is None else Signature(**signature),
        }
    )
