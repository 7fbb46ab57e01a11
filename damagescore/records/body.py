"""The JSON text of a record, without writing again what has not changed since."""

from collections.abc import Callable, Iterable, Iterator, Mapping
from functools import partial
from typing import Any

from damagescore.inspection import inspection_to_dict
from damagescore.inspection.canonical import canonical_json
from damagescore.inspection.record import Inspection
from damagescore.inspection.seal import sorted_json

MOST_RECORDS = 8
"""Records of which the parts are remembered: as many as are worked on at once."""

Known = dict[int, tuple[Any, str]]


class BodyWriter:
    """Writes drafts as `sorted_json` does, and remembers the text of their frozen parts.

    An edit or a photo that is the same object as last time has the same text. It is kept
    with its text, so that no other object can take its place in memory.
    """

    def __init__(self) -> None:
        self._known: dict[str, Known] = {}

    def write(self, inspection: Inspection) -> str:
        """Give exactly `sorted_json(inspection_to_dict(inspection))`.

        A signed record is written whole, from what it holds now, and by RFC 8785, so that
        any program can write the same text; those from before keep their numbers.
        """
        if inspection.signature is not None:
            write = canonical_json if inspection.signature.method else sorted_json
            return write(inspection_to_dict(inspection))
        before = self._known.get(inspection.id, {})
        now: Known = {}
        plain = inspection_to_dict(inspection)
        texts = {
            "edits": _listed(inspection.edits, plain.pop("edits"), before=before, now=now),
            "photos": _listed(
                inspection.photos, plain.pop("photos"), before=before, now=now,
                text_of=partial(_photo, before=before, now=now),
            ),
            **{name: sorted_json(value) for name, value in plain.items()},
        }  # fmt: skip
        for part in _parts_within(inspection):
            if id(part) not in now and id(part) in before:
                now[id(part)] = before[id(part)]  # its photo was not written anew
        self._remember(inspection.id, now)
        return _joined(texts)

    def _remember(self, inspection_id: str, now: Known) -> None:
        others = {k: v for k, v in self._known.items() if k != inspection_id}
        kept = dict(list(others.items())[1 - MOST_RECORDS :])
        # Put in place as a whole, since threads share the writer.
        self._known = {**kept, inspection_id: now}


def _joined(texts: Mapping[str, str]) -> str:
    return "{" + ",".join(f"{sorted_json(k)}:{texts[k]}" for k in sorted(texts)) + "}"


_LISTED = ("findings", "layers")
"""What a photo has many of, and an edit changes few of."""


def _parts_within(inspection: Inspection) -> Iterator[Any]:
    for entry in inspection.photos:
        for name in _LISTED:
            yield from entry.measurement.get(name) or ()


def _photo(plain: Mapping[str, Any], *, before: Known, now: Known) -> str:
    """The text of a photo: of its findings and layers only those that changed are written."""
    texts = {name: sorted_json(value) for name, value in plain.items() if name != "measurement"}
    inner = {
        name: _listed(value, value, before=before, now=now)
        if name in _LISTED and isinstance(value, list)
        else sorted_json(value)
        for name, value in plain["measurement"].items()
    }
    return _joined({**texts, "measurement": _joined(inner)})


def _listed(
    parts: Iterable[Any],
    plain: Iterable[Any],
    *,
    before: Known,
    now: Known,
    text_of: Callable[[Any], str] = sorted_json,
) -> str:
    texts = []
    for part, value in zip(parts, plain, strict=True):
        known = before.get(id(part)) or now.get(id(part))
        text = known[1] if known is not None and known[0] is part else text_of(value)
        now[id(part)] = (part, text)
        texts.append(text)
    return "[" + ",".join(texts) + "]"
