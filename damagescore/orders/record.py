"""A work order: its parts, and its photos with what each was sorted by."""

import uuid
from collections.abc import Mapping
from dataclasses import asdict, dataclass, field, replace
from typing import Any

from damagescore.errors import UsageError
from damagescore.inspection.checks import checked_part, checked_time, name_of
from damagescore.inspection.record import Part
from damagescore.measurement import CLOCK_WITHIN_DEG, MeasureOptions, View
from damagescore.quantity import rectangular
from damagescore.scale import ScaleRequest

SCHEMA = "damagescore/order/1"

TO_ASSIGN = ""
"""Key of no part: the photo is to be assigned."""


@dataclass(frozen=True, slots=True, kw_only=True)
class OrderPart:
    """One part of an order.

    Parameters
    ----------
    part : Part
    clock_hours : tuple of float
        Positions on a round edge for which job cards are printed; empty for one card
        without a position.
    clock_within_deg : float
        How far a card may stand from its position, degrees either way.
    scale : ScaleRequest
        How the scale of its photos is found; by default from the squares of the job card.
    n_layers : int or None
        Number of rubber layers, where known.
    inspection_id : str
        Of its record in the store; empty while there is none.
    """

    part: Part
    clock_hours: tuple[float, ...] = ()
    clock_within_deg: float = CLOCK_WITHIN_DEG
    scale: ScaleRequest = field(default_factory=ScaleRequest)
    n_layers: int | None = None
    inspection_id: str = ""

    @property
    def key(self) -> str:
        """Names the part within its order."""
        return f"{self.part.part_number} {self.part.serial_number}".strip()


@dataclass(frozen=True, slots=True, kw_only=True)
class OrderPhoto:
    """One photo of an order.

    Parameters
    ----------
    sha256 : str
    name : str
        Of its file, with its folder within the order.
    part : str
        Key of its part; `TO_ASSIGN` where it is to be assigned.
    how : str
        "job card", "file name", "folder" or "by hand": what it was sorted by.
    clock_hours : float or None
    view : "face" or "profile"
    reason : str
        Why it is to be assigned; empty where it is assigned.
    """

    sha256: str
    name: str
    part: str = TO_ASSIGN
    how: str = ""
    clock_hours: float | None = None
    view: View = "face"
    reason: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Order:
    """A work order as it came in; `created_at` is ISO 8601 UTC."""

    id: str
    number: str
    created_at: str
    customer_reference: str = ""
    parts: tuple[OrderPart, ...] = ()
    photos: tuple[OrderPhoto, ...] = ()

    @property
    def to_assign(self) -> tuple[OrderPhoto, ...]:
        return tuple(p for p in self.photos if p.part == TO_ASSIGN)

    def photos_of(self, part: OrderPart) -> tuple[OrderPhoto, ...]:
        return tuple(p for p in self.photos if p.part == part.key)

    def part_of(self, key: str) -> OrderPart:
        """Give the part of a key; UsageError when the order has none."""
        for part in self.parts:
            if part.key == key:
                return part
        raise UsageError(
            f"Order {self.number} has no part {key!r}.", remedy="Choose one of its parts."
        )


def new_order(
    number: str,
    parts: tuple[OrderPart, ...],
    *,
    customer_reference: str = "",
    order_id: str | None = None,
    at: str | None = None,
) -> Order:
    """Begin an order.

    Raises
    ------
    UsageError
        When there is no part, or two have the same part and serial number.
    RecordError
        When a text is empty that must not be, too long, or holds control characters.
    """
    order = Order(
        id=order_id or uuid.uuid4().hex,
        number=name_of(number, "The order number", needed=True),
        customer_reference=name_of(customer_reference, "The customer reference"),
        created_at=checked_time(at),
    )
    return with_parts(order, parts)


def with_parts(order: Order, parts: tuple[OrderPart, ...]) -> Order:
    """The order with other parts, each checked and naming its work order."""
    if not parts:
        raise UsageError(f"Order {order.number} has no part.", remedy="Name one or more.")
    checked = tuple(
        replace(p, part=checked_part(replace(p.part, work_order=order.number))) for p in parts
    )
    keys = [p.key for p in checked]
    twice = sorted({k for k in keys if keys.count(k) > 1})
    if twice or not all(p.part.serial_number for p in checked):
        what = f"the part {twice[0]!r} twice" if twice else "a part without a serial number"
        raise UsageError(
            f"Order {order.number} has {what}.",
            remedy="Give each part its own part and serial number.",
        )
    for part in checked:
        u_clock_deg = rectangular(part.clock_within_deg)
        for hours in part.clock_hours or (None,):
            MeasureOptions(clock_hours=hours, u_clock_deg=u_clock_deg)  # refuses what is none
    return replace(order, parts=checked)


def assign(
    order: Order,
    sha256: str,
    key: str,
    *,
    view: View | None = None,
    clock_hours: float | None = None,
) -> Order:
    """Assign a photo to a part by hand; an empty key takes it back.

    Raises
    ------
    UsageError
        When the order has no such photo or part, or the clock position is no hour.
    """
    if not any(p.sha256 == sha256 for p in order.photos):
        raise UsageError(
            f"Order {order.number} has no such photo.", remedy="Add the photo first."
        )
    if key != TO_ASSIGN:
        order.part_of(key)
    MeasureOptions(clock_hours=clock_hours)
    photos = tuple(
        replace(
            p, part=key, how="by hand" if key else "", view=view or p.view,
            clock_hours=clock_hours,
            reason="" if key else "Taken back by hand.",
        ) if p.sha256 == sha256 else p
        for p in order.photos
    )  # fmt: skip
    return replace(order, photos=photos)


def options_of(
    part: OrderPart, photo: OrderPhoto, *, smallest_limit_mm: float | None = None
) -> MeasureOptions:
    """How a photo of a part is measured."""
    return MeasureOptions(
        view=photo.view,
        scale=part.scale,
        n_layers=part.n_layers,
        smallest_limit_mm=smallest_limit_mm,
        clock_hours=photo.clock_hours if photo.view == "face" else None,
        u_clock_deg=rectangular(part.clock_within_deg),
    )


def order_to_dict(order: Order) -> dict[str, Any]:
    """Plain form; `order_from_dict` gives it back equal."""
    return {"schema": SCHEMA, **asdict(order)}


def order_from_dict(plain: Mapping[str, Any]) -> Order:
    """Read back what `order_to_dict` wrote, also after a way through JSON.

    Raises
    ------
    UsageError
        When the object is of another schema.
    """
    if plain.get("schema") != SCHEMA:
        raise UsageError(
            f"The order has schema {str(plain.get('schema'))[:80]!r}, not {SCHEMA!r}.",
            remedy="Open it with the version that wrote it.",
        )
    given = {k: v for k, v in plain.items() if k != "schema"}
    parts = tuple(_part(p) for p in given.pop("parts"))
    photos = tuple(OrderPhoto(**p) for p in given.pop("photos"))
    return Order(**given, parts=parts, photos=photos)


def _part(plain: Mapping[str, Any]) -> OrderPart:
    return OrderPart(
        part=Part(**plain["part"]),
        clock_hours=tuple(plain["clock_hours"]),
        # Orders kept before it could be said have the usual one.
        clock_within_deg=plain.get("clock_within_deg", CLOCK_WITHIN_DEG),
        scale=ScaleRequest.from_dict(plain["scale"]),
        n_layers=plain["n_layers"],
        inspection_id=plain["inspection_id"],
    )
