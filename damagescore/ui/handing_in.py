"""Hand photos in to be measured: each is in the vault before anything is measured."""

from collections.abc import Iterable
from typing import Any

from damagescore.errors import DamageScoreError, PhotoError
from damagescore.inspection.record import Inspection
from damagescore.measure import MeasureOptions
from damagescore.photo import check_header
from damagescore.ui.access import require
from damagescore.ui.background import Waiting, waiting_for
from damagescore.ui.measuring import options_to_dict
from damagescore.ui.session import desk, inspector, store

File = tuple[str, bytes, MeasureOptions]
"""Name, content and options of one file."""


def hand_in(inspection: Inspection, files: Iterable[File]) -> list[DamageScoreError]:
    """Keep files and have them measured beside the page; give why some were not taken."""
    taken: list[Waiting] = []
    faults: list[DamageScoreError] = []
    known = known_photos(inspection)
    for name, data, options in files:
        try:
            photo = _kept(inspection, name, data=data, options=options)
            if photo.sha256 in known:
                raise _twice(name)
            known.add(photo.sha256)
            taken.append(photo)
        except DamageScoreError as fault:
            faults.append(fault)
    try:
        desk().hand_in(taken)
    except DamageScoreError as fault:
        faults.append(fault)
    return faults


def hand_in_retake(
    inspection: Inspection, file: File, *, replaces: str, reason: str
) -> DamageScoreError | None:
    """Keep a file that takes the place of a photo of the record, and have it measured."""
    name, data, options = file
    try:
        photo = _kept(
            inspection, name, data=data, options=options, replaces=replaces, reason=reason
        )
        if photo.sha256 in known_photos(inspection):
            raise _twice(name)
        desk().hand_in([photo])
    except DamageScoreError as fault:
        return fault
    return None


def hand_in_again(
    inspection: Inspection, sha256: str, name: str, *, options: MeasureOptions
) -> DamageScoreError | None:
    """Have a photo of the record measured again with other options.

    Layers that the inspector put right stay as they are.
    """
    old = next((p.measurement for p in inspection.photos if p.sha256 == sha256), None)
    photo = waiting_for(
        inspection.id, sha256=sha256, name=name, options=options_to_dict(options),
        by=inspector(), replaces=sha256, before=old and {**old, "findings": []},
    )  # fmt: skip
    try:
        require("edit")
        desk().hand_in([photo])
    except DamageScoreError as fault:
        return fault
    return None


def known_photos(inspection: Inspection) -> set[str]:
    """Photos that a record has or waits for, by hash."""
    waiting = (p.photo for p in desk().progress(inspection.id) if not p.photo.fault)
    return {p.sha256 for p in inspection.photos} | {w.sha256 for w in waiting}


def _kept(
    inspection: Inspection, name: str, *, data: bytes, options: MeasureOptions, **more: Any
) -> Waiting:
    require("edit")
    check_header(data, name=name)
    return waiting_for(
        inspection.id, sha256=store().put_photo(data), name=name,
        options=options_to_dict(options), by=inspector(), **more,
    )  # fmt: skip


def _twice(name: str) -> PhotoError:
    return PhotoError(
        f"{name} is in this record already.", remedy="Measure it again instead of adding it."
    )
