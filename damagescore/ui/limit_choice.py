"""The limit sets that can be chosen: those in the store, and the invented one."""

from dataclasses import dataclass

from damagescore.limits import LimitSet, demo_limit_set_text, parse_limit_set
from damagescore.ui.session import store


@dataclass(frozen=True, slots=True, kw_only=True)
class Choice:
    """One entry of a list of limit sets; `stored` is False for the invented one."""

    title: str
    revision: str
    invented: bool
    stored: bool

    @property
    def label(self) -> str:
        revision = f", revision {self.revision}" if self.revision else ""
        mark = "INVENTED · " if self.invented else ""
        return f"{mark}{self.title}{revision}"


def demo_limit_set() -> LimitSet:
    """Give the invented limit set, which stands for no real part."""
    return parse_limit_set(demo_limit_set_text(), name="demo_limits.toml")


def choices() -> list[Choice]:
    """List the stored limit sets, and the invented one last unless it was stored too."""
    stored = [
        Choice(title=s.title, revision=s.revision, invented=s.invented, stored=True)
        for s in store().limit_sets()
    ]
    demo = demo_limit_set()
    if any((c.title, c.revision) == (demo.title, demo.revision) for c in stored):
        return stored
    own = Choice(title=demo.title, revision=demo.revision, invented=True, stored=False)
    return [*stored, own]


def load_choice(choice: Choice) -> LimitSet:
    """Give the limit set of an entry."""
    if not choice.stored:
        return demo_limit_set()
    return store().load_limit_set(choice.title, choice.revision)
