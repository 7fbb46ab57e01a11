"""Changes to the open inspection: each is saved at once, under the name of who works."""

import time
from dataclasses import replace

from damagescore import inspection as aggregate
from damagescore.errors import DamageScoreError
from damagescore.inspection.record import (
    Disposition,
    HandMeasurement,
    Inspection,
    Part,
    Task,
)
from damagescore.limits import LimitSet
from damagescore.quantity import Quantity
from damagescore.records.sign_in import check_password
from damagescore.ui.access import require, visitor
from damagescore.ui.camera_checks import camera_words
from damagescore.ui.keys import key_of
from damagescore.ui.session import change, flash, inspector, store

Fault = DamageScoreError | None


def set_part(inspection_id: str, part: Part) -> None:
    """Change the part; runs as a callback, so an error is kept for the next run."""
    fault = change(inspection_id, lambda x: aggregate.set_part(x, part, by=inspector()))
    if fault is not None:
        flash(str(fault), bad=True)


def set_task(inspection_id: str, task: Task) -> None:
    """Change what is said of the work; runs as a callback, as `set_part` does."""
    fault = change(inspection_id, lambda x: aggregate.set_task(x, task, by=inspector()))
    if fault is not None:
        flash(str(fault), bad=True)


def remove_photo(inspection_id: str, sha256: str, *, reason: str) -> Fault:
    """Take a photo out of the record, for a reason."""
    return change(
        inspection_id,
        lambda x: aggregate.remove_photo(x, sha256, by=inspector(), reason=reason),
    )


def add_hand(
    inspection_id: str,
    *,
    quantity: str,
    value: Quantity,
    gauge_id: str,
    layer: int | None,
    note: str,
) -> Fault:
    """Add a value taken by hand."""
    hand = HandMeasurement(
        quantity=quantity, value=value, gauge_id=gauge_id, by=inspector(), at="", layer=layer,
        note=note,
    )  # fmt: skip
    return change(inspection_id, lambda x: aggregate.add_hand_measurement(x, hand))


def remove_hand(inspection_id: str, number: int, *, reason: str) -> Fault:
    """Take out a hand measurement, counted from 1, for a reason."""
    return change(
        inspection_id,
        lambda x: aggregate.remove_hand_measurement(x, number, by=inspector(), reason=reason),
    )


def assess_with(inspection_id: str, limit_set: LimitSet) -> Fault:
    """Compare with a limit set, which then belongs to the record."""
    return change(
        inspection_id, lambda x: aggregate.assess_inspection(x, limit_set, by=inspector())
    )


def sign(
    inspection_id: str,
    *,
    name: str,
    authorisation: str,
    statement: str,
    disposition: Disposition,
    reason: str,
    certificate: tuple[str, str],
    passphrase: str,
    password: str = "",
) -> Fault:
    """Sign the record; with a passphrase, seal it with the key of that name.

    Where there are accounts, the name is that of the account, whose password is asked again.
    """
    try:
        name = _signer(name, password)
        key = key_of(name, passphrase) if passphrase else None
    except DamageScoreError as fault:
        return fault
    return change(
        inspection_id,
        lambda x: aggregate.sign_inspection(
            _with_cameras(x), name=name, authorisation=authorisation, statement=statement,
            disposition=disposition, reason=reason, certificate=certificate, key=key,
        ),
    )  # fmt: skip


def _signer(name: str, password: str) -> str:
    now = visitor()
    if now.open:
        return name
    require("sign")
    assert now.account is not None
    return check_password(store(), now.account.name, password, now_s=time.time()).name


def _with_cameras(inspection: Inspection) -> Inspection:
    """Write down how the cameras stood when it was signed."""
    task = replace(inspection.task, cameras=camera_words(inspection))
    return aggregate.set_task(inspection, task, by=inspector())


def supersede(inspection_id: str, *, reason: str) -> str | DamageScoreError:
    """Make a record that supersedes a signed one; give its id, or why there is none."""
    try:
        require("supersede")
        made = aggregate.supersede(store().load(inspection_id), reason=reason, by=inspector())
        store().save(made, expected_revision=0)
    except DamageScoreError as fault:
        return fault
    return made.id


def smallest_limit(inspection: Inspection) -> float | None:
    """Smallest length that the chosen limits ask for, mm; the quality gate needs it."""
    if inspection.limit_set is None:
        return None
    return LimitSet.from_dict(inspection.limit_set).smallest_length_mm
