"""Work orders as the app keeps them: loaded, changed and saved at once."""

from collections.abc import Callable
from dataclasses import replace

import streamlit as st

from damagescore.errors import DamageScoreError
from damagescore.inspection import assess_inspection, new_inspection
from damagescore.inspection.record import Inspection
from damagescore.limits import LimitSet
from damagescore.measurement import MeasureOptions
from damagescore.orders.record import (
    Order,
    OrderPart,
    OrderPhoto,
    options_of,
    order_from_dict,
    order_to_dict,
)
from damagescore.orders.results import PartResult, ranked, result_of
from damagescore.orders.sorting import Incoming, codes_in, sort_photos
from damagescore.photo import read_photo
from damagescore.records.work_orders import WorkOrderStore
from damagescore.ui.background import waiting_for
from damagescore.ui.edits import smallest_limit
from damagescore.ui.handing_in import known_photos
from damagescore.ui.measuring import options_to_dict
from damagescore.ui.session import desk, inspector, load, store


def orders() -> WorkOrderStore:
    """Give the orders of this server's store."""
    return WorkOrderStore(store())


def load_order(order_id: str) -> Order:
    """Give a stored order."""
    return order_from_dict(orders().load(order_id)[0])


def keep_new(order: Order) -> None:
    """Keep a new order."""
    orders().save(order_to_dict(order), expected_revision=0)


def change_order(order_id: str, edit: Callable[[Order], Order]) -> DamageScoreError | None:
    """Apply one change to the stored order and save it; why not, or None when it is saved."""
    try:
        plain, revision = orders().load(order_id)
        orders().save(order_to_dict(edit(order_from_dict(plain))), expected_revision=revision)
    except DamageScoreError as fault:
        return fault
    return None


def open_order(order_id: str | None) -> None:
    """Make an order the open one; its id goes into the address."""
    if order_id is None:
        st.query_params.pop("order", None)
    else:
        st.query_params["order"] = order_id


def take_in(name: str, data: bytes) -> Incoming:
    """Keep a photo and read the job cards in it.

    Raises
    ------
    PhotoError
        When the file is no photo; nothing is kept then.
    RecordError
        When the store cannot keep it.
    """
    photo = read_photo(data, name=name)
    return Incoming(sha256=store().put_photo(data), name=name, codes=codes_in(photo))


def add_photos(order_id: str, incoming: list[Incoming]) -> DamageScoreError | None:
    """Sort photos to the parts of an order."""
    return change_order(order_id, lambda o: sort_photos(o, incoming))


def inspection_of(part: OrderPart) -> Inspection | None:
    """The stored inspection of a part; None while there is none."""
    return load(part.inspection_id) if part.inspection_id else None


def results_of(order: Order) -> tuple[PartResult, ...]:
    """Results of all parts, who needs an inspector first stands first."""
    return ranked(result_of(part, inspection_of(part)) for part in order.parts)


def to_measure(order: Order) -> int:
    """Count the assigned photos that are neither measured nor waiting."""
    return sum(len(_missing(order, part)) for part in order.parts)


def measure_order(order_id: str, limits: LimitSet | None) -> DamageScoreError | None:
    """Give each part with photos an inspection, and hand its photos in to be measured."""
    fault = change_order(order_id, lambda o: _with_inspections(o, limits))
    if fault is not None:
        return fault
    order = load_order(order_id)
    try:
        for part in order.parts:
            inspection = inspection_of(part)
            smallest = None if inspection is None else smallest_limit(inspection)
            desk().hand_in(
                waiting_for(
                    part.inspection_id, sha256=photo.sha256, name=photo.name, by=inspector(),
                    options=options_to_dict(options),
                )
                for photo, options in _missing(order, part, smallest_limit_mm=smallest)
            )  # fmt: skip
    except DamageScoreError as error:
        return error
    return None


def _missing(
    order: Order, part: OrderPart, *, smallest_limit_mm: float | None = None
) -> list[tuple[OrderPhoto, MeasureOptions]]:
    inspection = inspection_of(part)
    known = set() if inspection is None else known_photos(inspection)
    return [
        (photo, options_of(part, photo, smallest_limit_mm=smallest_limit_mm))
        for photo in order.photos_of(part)
        if photo.sha256 not in known
    ]


def _with_inspections(order: Order, limits: LimitSet | None) -> Order:
    parts = []
    for part in order.parts:
        if part.inspection_id or not order.photos_of(part):
            parts.append(part)
            continue
        begun = new_inspection(part.part, by=inspector())
        if limits is not None:
            begun = assess_inspection(begun, limits, by=inspector())
        store().save(begun, expected_revision=0)
        parts.append(replace(part, inspection_id=begun.id))
    return replace(order, parts=tuple(parts))
