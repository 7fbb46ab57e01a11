"""The inspection: part, photos, reviewed findings, hand measurements, decision."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Literal

from damagescore.quantity import Quantity

ReviewState = Literal["proposed", "confirmed", "rejected"]
Disposition = Literal["continue_in_service", "remove", "refer", "reinspect"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """The part under inspection, in the user's own words and numbers.

    Parameters
    ----------
    hours, cycles : float or None
        Of the part, since new.
    hours_since_overhaul : float or None
    fitted_to : str
        What the part is or was fitted to.
    total_time_h : float or None
        Total time in service of what it is fitted to, hours.
    """

    part_number: str = ""
    serial_number: str = ""
    description: str = ""
    position: str = ""
    hours: float | None = None
    cycles: float | None = None
    work_order: str = ""
    hours_since_overhaul: float | None = None
    fitted_to: str = ""
    total_time_h: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Task:
    """What was done, as rules on maintenance records ask; all in the user's words.

    Parameters
    ----------
    kind : str
        Type of the inspection.
    extent : str
        What was inspected and how far.
    data : str
        The approved maintenance data that it was done to, with their revision.
    place : str
        Where it was done.
    cameras : str
        Whether each camera had a valid check of the target when the record was signed.
    """

    kind: str = ""
    extent: str = ""
    data: str = ""
    place: str = ""
    cameras: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class PhotoEntry:
    """One photo of the inspection with its measurement and the review of each finding.

    Parameters
    ----------
    sha256 : str
        Key of the photo in the vault.
    measurement : mapping
        The JSON object of schema damagescore/measurement/1; its `findings` hold
        the current geometry, whether proposed, corrected or added.
    reviews : mapping of str to Review
        By finding id; a finding without a review is proposed.
    rulers : tuple of mapping
        Measuring lines that the inspector keeps on the photo, no damage and in no total:
        "points_px" [[x, y], [x, y]], "screen_px" and "by". Their length follows the scale.
    """

    sha256: str
    name: str
    view: Literal["face", "profile"]
    options: Mapping[str, Any] = field(default_factory=dict)
    measurement: Mapping[str, Any] = field(default_factory=dict)
    reviews: Mapping[str, "Review"] = field(default_factory=dict)
    rulers: tuple[Mapping[str, Any], ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Review:
    """What the inspector made of one finding."""

    state: ReviewState
    by: str
    at: str
    reason: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Edit:
    """One change, kept for good: who, when, what, why. `at` is ISO 8601 UTC."""

    number: int
    at: str
    by: str
    action: str
    target: str
    reason: str = ""
    before: Any = None
    after: Any = None


@dataclass(frozen=True, slots=True, kw_only=True)
class HandMeasurement:
    """A value taken by hand: probed depth, free height, stiffness retention.

    `quantity` is one of the hand quantities in `damagescore.limits`.
    """

    quantity: str
    value: Quantity
    gauge_id: str
    by: str
    at: str
    layer: int | None = None
    note: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Signature:
    """The inspector's decision. The program never makes one.

    Parameters
    ----------
    certificate_number, certificate_kind : str
        Of the licence or certificate that the inspector holds, where the rules ask.
    method : str
        How hash and seal were made; empty in records from before RFC 8785.
    public_key, ed25519 : str
        The inspector's public key and the seal, hexadecimal; empty when the record is
        signed by name only.
    """

    name: str
    authorisation: str
    statement: str
    disposition: Disposition
    reason: str
    at: str
    content_sha256: str
    certificate_number: str = ""
    certificate_kind: str = ""
    method: str = ""
    public_key: str = ""
    ed25519: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Inspection:
    """The aggregate that is stored, assessed, signed and reported.

    `limit_set` is the full limit set as a plain mapping, and `assessment` the
    plain form of the last assessment, so that a record stands on its own.
    """

    id: str
    created_at: str
    part: Part = Part()
    photos: tuple[PhotoEntry, ...] = ()
    hand: tuple[HandMeasurement, ...] = ()
    edits: tuple[Edit, ...] = ()
    limit_set: Mapping[str, Any] | None = None
    assessment: Mapping[str, Any] | None = None
    signature: Signature | None = None
    supersedes: str | None = None
    supersede_reason: str = ""
    software: str = ""
    task: Task = Task()
