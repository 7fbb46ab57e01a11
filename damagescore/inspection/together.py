"""Two people on one record: whether a change touches what somebody else just changed."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from damagescore.inspection.patches import is_patch
from damagescore.inspection.record import Edit, Inspection

_WORDS: Mapping[str, str] = {
    "replace_geometry": "reshape",
    "add_finding": "add",
    "change_kind": "change the kind of",
    "change_layer": "change the layer of",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Clash:
    """Edits of other people that a change would go over without having seen them."""

    edits: tuple[Edit, ...]

    @property
    def text(self) -> str:
        """Who changed what, in one sentence."""
        last = self.edits[-1]
        more = len(self.edits) - 1
        others = f" and {more} more change{'s' if more > 1 else ''}" if more else ""
        who = last.by or "Somebody"
        return f"{who} changed this meanwhile: {words_of_edit(last)}{others}."


def clash_of(
    before: Inspection, after: Inspection, *, seen: int, own: Iterable[int] = ()
) -> Clash | None:
    """Say whether a change touches what others changed since it was decided on.

    Parameters
    ----------
    before : Inspection
        The record as it is stored now.
    after : Inspection
        `before` with the change.
    seen : int
        Number of edits that whoever decided on the change had seen.
    own : iterable of int
        Numbers of edits that the same person made since, in the same place.

    Returns
    -------
    Clash or None
        None where nothing that was not seen is gone over: changes to other
        findings, other photos or other fields stand beside each other.
    """
    mine = set(own)
    unseen = [e for e in before.edits[seen:] if e.number not in mine]
    new = after.edits[len(before.edits) :]
    hit = tuple(e for e in unseen if any(_touch(e, n) for n in new))
    return Clash(edits=hit) if hit else None


def words_of_edit(edit: Edit) -> str:
    """Name an edit in a few words: "reject crack-2, photo 1 (edge.jpg)"."""
    words = _WORDS.get(edit.action, edit.action.replace("_", " "))
    return words if words.endswith(edit.target) else f"{words} {edit.target}"


def _touch(one: Edit, other: Edit) -> bool:
    # Who signs decides on all of it.
    if "sign" in (one.action, other.action):
        return True
    a, b = one.after, other.after
    if not is_patch(a) or not is_patch(b):
        return one.action == other.action == "assess"
    if a["slot"] in ("part", "hand") or b["slot"] in ("part", "hand"):
        return bool(a["slot"] == b["slot"])
    if a["photo"] != b["photo"]:
        return False
    return "photo" in (a["slot"], b["slot"]) or a["id"] == b["id"]
