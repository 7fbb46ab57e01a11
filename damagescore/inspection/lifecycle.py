"""Begin, sign and supersede a record."""

import uuid
from dataclasses import replace
from typing import get_args

from damagescore import __version__
from damagescore.errors import RecordError
from damagescore.inspection.checks import (
    check_open,
    checked_part,
    checked_time,
    name_of,
    text_of,
)
from damagescore.inspection.observe import n_proposed
from damagescore.inspection.plain import content_sha256, inspection_to_dict
from damagescore.inspection.record import Disposition, Edit, Inspection, Part, Signature
from damagescore.inspection.seal import BY_KEY, BY_NAME, SigningKey, content_of

SOFTWARE = f"damagescore {__version__}"


def new_inspection(
    part: Part | None = None,
    *,
    by: str = "",
    at: str | None = None,
    inspection_id: str | None = None,
) -> Inspection:
    """Begin a record.

    Parameters
    ----------
    part : Part, optional
    by : str
        Who begins it.
    at : str, optional
        ISO 8601 time with offset; now by default.
    inspection_id : str, optional
        A new random one by default.
    """
    begun = checked_time(at)
    name = name_of(by, "The name")
    return Inspection(
        id=inspection_id or uuid.uuid4().hex,
        created_at=begun,
        part=checked_part(part or Part()),
        edits=(Edit(number=1, at=begun, by=name, action="begin", target="record"),),
        software=SOFTWARE,
    )


def suggested_dispositions(outcome: str) -> tuple[Disposition, ...]:
    """Dispositions that need no reason of their own for an outcome of the assessment."""
    if outcome == "within":
        return ("continue_in_service",)
    if outcome == "exceeded":
        return ("remove",)
    return ("refer", "reinspect")


def sign_inspection(
    inspection: Inspection,
    *,
    name: str,
    authorisation: str,
    statement: str,
    disposition: Disposition,
    reason: str = "",
    certificate: tuple[str, str] = ("", ""),
    key: SigningKey | None = None,
    at: str | None = None,
) -> Inspection:
    """Sign the record; nothing in it can change afterwards.

    Parameters
    ----------
    certificate : (str, str)
        Number and kind of the signer's licence or certificate, where the rules ask.
    key : SigningKey, optional
        Seals the record; without it the record is signed by name only, and says so.

    Raises
    ------
    RecordError
        When it is signed already or not assessed, findings are not reviewed, a field is
        empty, the disposition is unknown, or it differs from what the assessment
        suggests and no reason is given.
    """
    check_open(inspection)
    outcome = _outcome_to_sign(inspection)
    reason = text_of(reason, "The reason")
    _check_disposition(disposition, outcome=outcome, reason=reason)
    signature = Signature(
        name=name_of(name, "The name", needed=True),
        authorisation=name_of(authorisation, "The authorisation number", needed=True),
        statement=text_of(statement, "The statement", needed=True),
        disposition=disposition,
        reason=reason,
        at=checked_time(at),
        content_sha256="",
        certificate_number=name_of(certificate[0], "The certificate number"),
        certificate_kind=name_of(certificate[1], "The kind of certificate"),
        method=BY_NAME if key is None else BY_KEY,
        public_key="" if key is None else key.public_key,
    )
    edit = Edit(
        number=len(inspection.edits) + 1, at=signature.at, by=signature.name,
        action="sign", target="record", reason=reason, after=disposition,
    )  # fmt: skip
    signed = replace(inspection, edits=(*inspection.edits, edit), signature=signature)
    seal = "" if key is None else key.sign(content_of(inspection_to_dict(signed)))
    sealed = replace(signature, content_sha256=content_sha256(signed), ed25519=seal)
    return replace(signed, signature=sealed)


def supersede(
    inspection: Inspection,
    *,
    reason: str,
    by: str,
    at: str | None = None,
    inspection_id: str | None = None,
) -> Inspection:
    """Begin a record that takes the place of a signed one, with all its content.

    Raises
    ------
    RecordError
        When the record is not signed, or reason or name is empty.
    """
    if inspection.signature is None:
        raise RecordError(
            f"Record {inspection.id} is not signed, so there is nothing to supersede.",
            remedy="Change that record itself.",
        )
    why = text_of(reason, "The reason for superseding a record", needed=True)
    begun = checked_time(at)
    edit = Edit(
        number=1, at=begun, by=name_of(by, "The name", needed=True), action="supersede",
        target=f"record {inspection.id}", reason=why,
    )  # fmt: skip
    return replace(
        inspection, id=inspection_id or uuid.uuid4().hex, created_at=begun, edits=(edit,),
        signature=None, supersedes=inspection.id, supersede_reason=why, software=SOFTWARE,
    )  # fmt: skip


def _outcome_to_sign(inspection: Inspection) -> str:
    if inspection.assessment is None:
        raise RecordError(
            "The record is not assessed.", remedy="Compare it with a limit set first."
        )
    waiting = n_proposed(inspection)
    if waiting:
        raise RecordError(
            f"{waiting} finding{' is' if waiting == 1 else 's are'} not reviewed.",
            remedy="Confirm or reject each of them first.",
        )
    outcome = inspection.assessment["outcome"]
    assert isinstance(outcome, str)
    return outcome


def _check_disposition(disposition: str, *, outcome: str, reason: str) -> None:
    known = get_args(Disposition)
    if disposition not in known:
        raise RecordError(
            f"The disposition is {str(disposition)[:40]!r}.",
            remedy=f"Choose one of: {', '.join(known)}.",
        )
    if disposition not in suggested_dispositions(outcome) and not reason:
        raise RecordError(
            f"The assessment is {outcome.replace('_', ' ')!r}, and the disposition "
            f"{disposition.replace('_', ' ')!r} differs from it without a reason.",
            remedy="Give the reason for this decision.",
        )
