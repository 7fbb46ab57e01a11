"""Who may do what: one table of rights, for pages, downloads, routes and changes."""

from collections.abc import Mapping
from typing import Literal

Role = Literal["viewer", "inspector", "trainer", "administrator"]

Right = Literal[
    "view", "practise", "export", "edit", "sign", "supersede", "limit_sets", "lenses",
    "orders", "library", "studies", "accounts",
]  # fmt: skip

ROLES: Mapping[Role, str] = {
    "viewer": "reads records and practises",
    "inspector": "inspects, signs, supersedes",
    "trainer": "keeps the graded library and the studies",
    "administrator": "keeps accounts and limit sets, signs nothing",
}
"""Each role, and what it is for."""

RIGHTS: Mapping[Right, frozenset[Role]] = {
    "view": frozenset(ROLES),
    "practise": frozenset(ROLES),
    "export": frozenset({"inspector", "trainer", "administrator"}),
    "edit": frozenset({"inspector", "trainer"}),
    "sign": frozenset({"inspector"}),
    "supersede": frozenset({"inspector"}),
    "limit_sets": frozenset({"inspector", "administrator"}),
    "lenses": frozenset({"inspector", "trainer", "administrator"}),
    "orders": frozenset({"inspector"}),
    "library": frozenset({"trainer", "administrator"}),
    "studies": frozenset({"inspector", "trainer", "administrator"}),
    "accounts": frozenset({"administrator"}),
}
"""What each right is held by; what a right covers stands in docs/records.md."""


def holds(role: Role, right: Right) -> bool:
    """Whether a role holds a right."""
    return role in RIGHTS[right]
