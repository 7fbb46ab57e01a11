"""Photos sorted to the parts of an order: by job card, file name or folder; never guessed."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace

import numpy as np

from damagescore.errors import DamageScoreError, UsageError
from damagescore.orders.codes import JobCode, decode
from damagescore.orders.file_names import place_of, read_name
from damagescore.orders.qr import read_codes
from damagescore.orders.record import Order, OrderPart, OrderPhoto
from damagescore.photo.record import Photo


@dataclass(frozen=True, slots=True, kw_only=True)
class Incoming:
    """A photo as it comes in.

    Parameters
    ----------
    sha256, name : str
        `name` is that of the file, with its folder within the order.
    codes : tuple of str
        Texts of the QR codes in it.
    folder_part : str
        Key of the part whose folder it lies in; empty where it lies in none.
    fault : str
        Why the file cannot be read; empty where it can.
    """

    sha256: str
    name: str
    codes: tuple[str, ...] = ()
    folder_part: str = ""
    fault: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class _Claim:
    """One thing that says which part a photo is of."""

    how: str
    part: OrderPart


def codes_in(photo: Photo) -> tuple[str, ...]:
    """Texts of the QR codes in a photo."""
    return read_codes(np.clip(photo.grey, 0, 255).astype(np.uint8))


def sort_photos(order: Order, incoming: Iterable[Incoming]) -> Order:
    """Add photos to an order; one that it has already stays as it is."""
    known = {p.sha256 for p in order.photos}
    photos = list(order.photos)
    for one in incoming:
        if one.sha256 not in known:
            photos.append(sort_photo(order, one))
            known.add(one.sha256)
    return replace(order, photos=tuple(photos))


def sort_photo(order: Order, incoming: Incoming) -> OrderPhoto:
    """Find the one part that everything says which says anything.

    Job card, file name and folder are asked. Where they name no part, two parts, or a
    card of another order or a damaged one, the photo is to be assigned, with the reason.
    """
    clock, view = place_of(incoming.name)
    photo = OrderPhoto(sha256=incoming.sha256, name=incoming.name, clock_hours=clock, view=view)
    try:
        if incoming.fault:
            raise UsageError(incoming.fault)
        codes = _job_codes(incoming.codes, order)
        claims = _claims(order, incoming, codes)
        part = _the_one(claims)
        clock = _the_clock(codes, clock)
    except DamageScoreError as fault:
        return replace(photo, reason=fault.message)
    return replace(photo, part=part.key, how=claims[0].how, clock_hours=clock)


def _job_codes(texts: Iterable[str], order: Order) -> list[JobCode]:
    codes = [code for text in texts if (code := decode(text)) is not None]
    for code in codes:
        if code.order != order.number:
            raise UsageError(f"The job card is of order {code.order}, not of {order.number}.")
    return codes


def _claims(order: Order, incoming: Incoming, codes: Iterable[JobCode]) -> list[_Claim]:
    claims = [_Claim(how="job card", part=_of_code(order, code)) for code in codes]
    named = read_name(incoming.name, order).parts
    claims += [_Claim(how="file name", part=p) for p in named]
    if incoming.folder_part:
        claims.append(_Claim(how="folder", part=order.part_of(incoming.folder_part)))
    return claims


def _of_code(order: Order, code: JobCode) -> OrderPart:
    for part in order.parts:
        if (part.part.part_number, part.part.serial_number) == (
            code.part_number, code.serial_number,
        ):  # fmt: skip
            return part
    raise UsageError(
        f"The job card is of part {code.part_number} {code.serial_number}, which order "
        f"{order.number} does not have."
    )


def _the_one(claims: list[_Claim]) -> OrderPart:
    if not claims:
        raise UsageError(
            "No job card can be read in it, and its name does not begin with order and serial "
            "number."
        )
    by_part: Mapping[str, list[str]] = {
        c.part.key: [o.how for o in claims if o.part.key == c.part.key] for c in claims
    }
    if len(by_part) > 1:
        said = "; ".join(
            f"{key} by {' and '.join(dict.fromkeys(hows))}" for key, hows in by_part.items()
        )
        raise UsageError(f"It fits {len(by_part)} parts: {said}.")
    return claims[0].part


def _the_clock(codes: Iterable[JobCode], named: float | None) -> float | None:
    """The one clock position that cards and name say; 0 and 12 are the same."""
    said = [c.clock_hours for c in codes if c.clock_hours is not None]
    said += [named] if named is not None else []
    places = {round(h % 12, 2) for h in said}
    if len(places) > 1:
        shown = " and ".join(f"{h:g}" for h in sorted(places))
        raise UsageError(f"Its job cards and its name say different clock positions: {shown}.")
    return said[0] if said else None
