"""An inspection as plain JSON and back, exactly, and the hash of its content."""

import hashlib
import json
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
)
from damagescore.quantity import quantity_from_dict

SCHEMA = "damagescore/inspection/1"


def inspection_to_dict(inspection: Inspection) -> dict[str, Any]:
    """Plain form of the whole inspection; `inspection_from_dict` gives it back equal."""
    signature = inspection.signature
    return {
        "schema": SCHEMA,
        "id": inspection.id,
        "created_at": inspection.created_at,
        "part": asdict(inspection.part),
        "photos": [photo_to_dict(p) for p in inspection.photos],
        "hand": [hand_to_dict(h) for h in inspection.hand],
        "edits": [_edit_to_dict(e) for e in inspection.edits],
        "limit_set": inspection.limit_set,
        "assessment": inspection.assessment,
        "signature": None if signature is None else asdict(signature),
        "supersedes": inspection.supersedes,
        "supersede_reason": inspection.supersede_reason,
        "software": inspection.software,
    }


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
    """SHA-256 of the canonical JSON of everything but the hash kept in the signature.

    Canonical: sorted keys, no blanks, UTF-8, no not-a-numbers. The signer's name,
    authorisation, statement and disposition are part of it.
    """
    plain = inspection_to_dict(inspection)
    if plain["signature"] is not None:
        plain["signature"] = {**plain["signature"], "content_sha256": ""}
    text = json.dumps(
        plain, sort_keys=True, separators=(",", ":"), ensure_ascii=False, allow_nan=False
    )
    return hashlib.sha256(text.encode("utf-8")).hexdigest()


def photo_to_dict(entry: PhotoEntry) -> dict[str, Any]:
    """Plain form of one photo with its reviews."""
    return {
        "sha256": entry.sha256,
        "name": entry.name,
        "view": entry.view,
        "options": entry.options,
        "measurement": entry.measurement,
        "reviews": {name: asdict(r) for name, r in entry.reviews.items()},
    }


def photo_from_dict(plain: Mapping[str, Any]) -> PhotoEntry:
    """Read back what `photo_to_dict` wrote."""
    reviews = {name: Review(**r) for name, r in plain["reviews"].items()}
    return PhotoEntry(**{**plain, "reviews": reviews})


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
            "photos": tuple(photo_from_dict(p) for p in given["photos"]),
            "hand": tuple(hand_from_dict(h) for h in given["hand"]),
            "edits": tuple(Edit(**e) for e in given["edits"]),
            "signature": None if signature is None else Signature(**signature),
        }
    )
