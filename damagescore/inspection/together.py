"""Two people on one record: whether a change touches what somebody else just changed."""

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from damagescore.inspection.patches import Patch, is_of_photo, is_patch
from damagescore.inspection.record import Edit, Inspection

_WORDS: Mapping[str, str] = {
    "replace_geometry": "reshape",
    "add_finding": "add",
    "change_kind": "change the kind of",
    "change_layer": "change the layer of",
    "leave_apart": "leave apart",
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


def edits_of_others(
    inspection: Inspection,
    *,
    photo: str | None = None,
    seen: int | None,
    own: Iterable[int] = (),
) -> tuple[Edit, ...]:
    """Edits that a person has not seen and did not make.

    Parameters
    ----------
    inspection : Inspection
    photo : str, optional
        SHA-256 of the photo that they are to be of.
    seen : int or None
        Number of edits that the person was shown; None where nothing was shown yet.
    own : iterable of int
        Numbers of edits that the same person made since, in the same place.
    """
    mine = set(own)
    return tuple(
        e
        for e in inspection.edits[len(inspection.edits) if seen is None else seen :]
        if e.number not in mine
        and (photo is None or (is_patch(e.after) and is_of_photo(e.after, photo)))
    )


def words_of_news(edits: Sequence[Edit]) -> str:
    """Say who changed how much, and what: "2 changes by A. Kern on this photo ..."."""
    many = "was" if len(edits) == 1 else "were"
    return f"{_who(edits)} on this photo {many} taken in: {_what(edits)}."


def words_of_others(edits: Sequence[Edit]) -> str:
    """Say who changed what since a page was drawn."""
    return f"{_who(edits)} since this page was drawn: {_what(edits)}."


def _who(edits: Sequence[Edit]) -> str:
    counts = Counter(e.by or "somebody" for e in edits)
    return ", ".join(
        f"{n} change{'' if n == 1 else 's'} by {name}" for name, n in counts.items()
    )


def _what(edits: Sequence[Edit]) -> str:
    shown = ", ".join(words_of_edit(e).split(", photo ")[0] for e in edits[-3:])
    return f"{'…, ' if len(edits) > 3 else ''}{shown}"


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
    of_its_own = ("part", "task", "hand")
    if a["slot"] in of_its_own or b["slot"] in of_its_own:
        return bool(a["slot"] == b["slot"])
    if not any(is_of_photo(a, p) for p in (b["photo"], b.get("instead_of", b["photo"]))):
        return False
    of_findings = ("finding", "link")
    if a["slot"] in of_findings and b["slot"] in of_findings:
        return bool(_ids(a) & _ids(b))
    # Layers are corrected on the findings as they are now, so both stand beside each other.
    return "photo" in (a["slot"], b["slot"]) or a["slot"] == b["slot"]


def _ids(patch: Patch) -> set[str]:
    """The finding, or the link and the findings that it joins."""
    return {patch["id"], *patch.get("between", ())}
