"""Graded photos with agreed findings: where they come from, who agreed, which version."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Any, Literal

from damagescore.capability.detection import Origin
from damagescore.damage.record import Finding, FindingKind
from damagescore.errors import TrainingError
from damagescore.quantity import Measured

Call = Literal["within", "borderline", "exceeded"]
CALLS: tuple[Call, ...] = ("within", "borderline", "exceeded")

SIZES: Mapping[FindingKind, str] = {
    "crack": "length", "bond_gap": "length", "crumbling": "area", "bulge": "peak",
}  # fmt: skip
"""Which quantity of a finding is its size."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """One photo of the library, in one version.

    Parameters
    ----------
    id : str
        The same in all versions.
    version : int
        From 1; a correction adds a version, none is changed.
    photo_sha256, photo_name : str
    width, height : int
        Pixels of the upright photo.
    mm_per_px : float
        At the middle of the judged area.
    measurement : mapping
        Scale, layers and quality of the photo, schema damagescore/measurement/1, without
        findings and totals; empty for a photo that came without. Drawing needs it.
    origin : "prepared", "rendered" or "field"
        Whether the damage was made for study, rendered, or found in service: only of the
        first two is it known that nothing was overlooked.
    findings : tuple of Finding
        What was agreed; an empty one says that nothing is there.
    grade : int
        On the scale `scale_name`, version `scale_version`.
    usage : float or None
        Largest usage of a limit, where limits were compared.
    call : str or None
        What limits say: "within", "borderline" or "exceeded".
    agreed_by : tuple of str
    agreed_at : str
        ISO 8601, UTC.
    provenance : str
        Where the photo comes from, in words.
    permission : str
        Who allowed its use, and for what.
    may_leave : bool
        Whether that permission covers giving it to others.
    note, source_inspection : str
    """

    id: str
    version: int
    photo_sha256: str
    photo_name: str
    width: int
    height: int
    mm_per_px: float
    measurement: Mapping[str, Any]
    findings: tuple[Finding, ...]
    grade: int
    scale_name: str
    scale_version: int
    usage: float | None
    call: Call | None
    agreed_by: tuple[str, ...]
    agreed_at: str
    provenance: str
    permission: str
    origin: Origin = "field"
    may_leave: bool = False
    note: str = ""
    source_inspection: str = ""

    def __post_init__(self) -> None:
        for name, words in (("provenance", "where the photo comes from"),
                            ("permission", "who allowed its use")):  # fmt: skip
            if not getattr(self, name).strip():
                raise TrainingError(
                    f"The photo {self.photo_name!r} has no word on {words}.",
                    remedy=f"Write the {name} into its field.",
                )
        if not self.agreed_by:
            raise TrainingError(
                f"Nobody is named who agreed on the photo {self.photo_name!r}.",
                remedy="Name at least one person.",
            )

    def corrected(self, **changes: Any) -> "Entry":
        """Return the next version with some fields changed."""
        return replace(self, **{"version": self.version + 1, **changes})

    def to_dict(self) -> dict[str, Any]:
        plain = {name: getattr(self, name) for name in self.__slots__}
        plain["findings"] = [finding.to_dict() for finding in self.findings]
        plain["agreed_by"] = list(self.agreed_by)
        return plain

    @classmethod
    def from_dict(cls, plain: Mapping[str, Any]) -> "Entry":
        """Read back what `to_dict` wrote."""
        fields = dict(plain)
        fields["findings"] = tuple(Finding.from_dict(f) for f in plain["findings"])
        fields["agreed_by"] = tuple(plain["agreed_by"])
        return cls(**fields)


def size_of(finding: Finding) -> float | None:
    """Size of a finding, mm, or mm2 for crumbling; None where it was not measured."""
    quantity = finding.quantities.get(SIZES[finding.kind])
    return quantity.value if isinstance(quantity, Measured) else None


def agreed_entry(
    photo: Mapping[str, Any],
    reviews: Mapping[str, str],
    **described: Any,
) -> Entry:
    """Make an entry from a measured photo whose findings were reviewed.

    Parameters
    ----------
    photo : mapping
        The measurement of the photo, schema damagescore/measurement/1.
    reviews : mapping of str to str
        State of each finding by id: only confirmed ones become agreed findings.
    **described
        The other fields of `Entry`.

    Raises
    ------
    TrainingError
        When a finding is neither confirmed nor rejected, or the photo has no scale.
    """
    open_ones = [f["id"] for f in photo["findings"] if reviews.get(f["id"]) not in _DECIDED]
    if open_ones:
        raise TrainingError(
            f"{len(open_ones)} findings of the photo are still open, {open_ones[0]} first.",
            remedy="Confirm or reject each finding, then take the photo into the library.",
        )
    if photo.get("scale") is None:
        raise TrainingError(
            "The photo has no scale.", remedy="Take a photo with a scale mark into the library."
        )
    agreed = [f for f in photo["findings"] if reviews[f["id"]] == "confirmed"]
    return Entry(
        photo_sha256=photo["photo"]["sha256"],
        width=photo["photo"]["width"],
        height=photo["photo"]["height"],
        mm_per_px=photo["scale"]["mm_per_px"],
        measurement=without_answer(photo),
        findings=tuple(Finding.from_dict(f) for f in agreed),
        **described,
    )


def without_answer(photo: Mapping[str, Any]) -> dict[str, Any]:
    """Measurement of a photo with nothing in it that was found."""
    return {**photo, "findings": [], "totals": {}}


_DECIDED = ("confirmed", "rejected")


@dataclass(frozen=True, slots=True, kw_only=True)
class Search:
    """What a person looks for in the library; None and empty let all through."""

    kind: FindingKind | None = None
    layer: int | None = None
    smallest: float | None = None
    largest: float | None = None
    grades: tuple[int, ...] = ()
    text: str = ""

    def finds(self, entry: Entry) -> bool:
        """Whether an entry has what is looked for; kind, layer and size in one finding."""
        if self.grades and entry.grade not in self.grades:
            return False
        words = f"{entry.photo_name} {entry.note} {entry.provenance}".casefold()
        if not all(word in words for word in self.text.casefold().split()):
            return False
        wants_finding = any(
            x is not None for x in (self.kind, self.layer, self.smallest, self.largest)
        )
        return not wants_finding or any(self._fits(f) for f in entry.findings)

    def _fits(self, finding: Finding) -> bool:
        if self.kind is not None and finding.kind != self.kind:
            return False
        if self.layer is not None and finding.layer != self.layer:
            return False
        if self.smallest is None and self.largest is None:
            return True
        size = size_of(finding)
        return size is not None and (self.smallest or 0.0) <= size <= (
            float("inf") if self.largest is None else self.largest
        )


def newest(entries: Iterable[Entry]) -> tuple[Entry, ...]:
    """Keep the newest version of each entry, in the order of first appearance."""
    kept: dict[str, Entry] = {}
    for entry in entries:
        if entry.id not in kept or entry.version > kept[entry.id].version:
            kept[entry.id] = entry
    return tuple(kept.values())
