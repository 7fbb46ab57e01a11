"""The library, the scale of grades and the answers in the store."""

import uuid
from collections.abc import Mapping, Sequence

from damagescore.capability.detection import Site
from damagescore.records.documents import DocumentShelf
from damagescore.training.compare import compare
from damagescore.training.library import Entry, size_of
from damagescore.training.practice import Answer, Progress, difficulty, feedback_on, progress_of
from damagescore.training.scale import DEFAULT_SCALE, GradeScale


class Library:
    """What an organisation trains with.

    Parameters
    ----------
    shelf : DocumentShelf
    """

    def __init__(self, shelf: DocumentShelf) -> None:
        self._shelf = shelf

    def entries(self) -> tuple[Entry, ...]:
        """Give the newest version of each photo, last kept first."""
        return tuple(Entry.from_dict(d.body) for d in self._shelf.newest("library_photo"))

    def keep(self, entry: Entry) -> None:
        """Keep an entry; RecordError when that version is there already."""
        self._shelf.add("library_photo", entry.id, entry.to_dict(), version=entry.version)

    def scale(self) -> GradeScale:
        """Give the scale in use: the newest version, or the default."""
        return self._scales()[-1]

    def keep_scale(self, scale: GradeScale) -> None:
        """Keep a further version of the scale."""
        version = len(self._shelf.versions("grade_scale", "scale")) + 1
        self._shelf.add("grade_scale", "scale", scale.to_dict(), version=version)

    def commit(self, answer: Answer) -> None:
        """Keep an answer for good."""
        self._shelf.add("practice_answer", f"answer-{uuid.uuid4().hex}", answer.to_dict())

    def answers(self) -> tuple[Answer, ...]:
        """Give all answers, oldest first."""
        return tuple(Answer.from_dict(d.body) for d in self._shelf.versions("practice_answer"))

    def progress(self, trainee: str) -> Progress:
        """Judge a trainee's answers, each by the version that it was given on."""
        return progress_of(
            trainee, self.answers(), self._all_versions(), _by_version(self._scales())
        )

    def sites_of(self, trainee: str) -> tuple[tuple[Site, ...], int]:
        """Give the sites of a trainee's answers, and how many answers cannot give any.

        An agreed finding is a site of its size, found when it was drawn; a photo where
        nothing was agreed is one without damage. Photos from service give none.
        """
        entries = self._all_versions()
        sites: list[Site] = []
        left_out = 0
        for answer in self.answers():
            if answer.trainee != trainee:
                continue
            entry = entries[answer.entry_id, answer.entry_version]
            if entry.origin == "field":
                left_out += 1
            else:
                sites += sites_of_answer(answer, entry)
        return tuple(sites), left_out

    def difficulties(self, entries: Sequence[Entry]) -> dict[str, float]:
        """Say how hard each entry is, from how it looks and what was answered."""
        scales = self._scales()
        scale, right = scales[-1], self._right(entries, _by_version(scales))
        return {e.id: difficulty(e, scale, right=right.get(e.id, ())) for e in entries}

    def _scales(self) -> tuple[GradeScale, ...]:
        kept = self._shelf.versions("grade_scale", "scale")
        return (DEFAULT_SCALE, *(GradeScale.from_dict(d.body) for d in kept))

    def _all_versions(self) -> dict[tuple[str, int], Entry]:
        kept = self._shelf.versions("library_photo")
        return {(d.id, d.version): Entry.from_dict(d.body) for d in kept}

    def _right(
        self, entries: Sequence[Entry], scales: Mapping[tuple[str, int], GradeScale]
    ) -> dict[str, list[bool]]:
        newest = {(e.id, e.version): e for e in entries}
        right: dict[str, list[bool]] = {}
        for answer in self.answers():
            entry = newest.get((answer.entry_id, answer.entry_version))
            if entry is not None:
                scale = scales[entry.scale_name, entry.scale_version]
                judged = feedback_on(answer, entry, scale).right
                right.setdefault(entry.id, []).append(judged)
        return right


def _by_version(scales: Sequence[GradeScale]) -> dict[tuple[str, int], GradeScale]:
    return {(s.name, s.version): s for s in scales}


def sites_of_answer(answer: Answer, entry: Entry) -> list[Site]:
    """Sites of one answer; findings whose size is not known give none."""
    if not entry.findings:
        return [Site(size_mm=None, found=bool(answer.drawn), origin=entry.origin)]
    missed = set(compare(answer.drawn, entry).missed)
    sizes = {f.id: size_of(f) for f in entry.findings if f.kind != "crumbling"}
    return [
        Site(size_mm=size, found=name not in missed, origin=entry.origin)
        for name, size in sizes.items()
        if size
    ]


def new_entry_id() -> str:
    """Give an id that no other entry has."""
    return f"photo-{uuid.uuid4().hex[:12]}"
