"""The rooms stay in order, and the documents in step with the code."""

import ast
import re
from pathlib import Path

import pytest

from damagescore import cli
from damagescore.orders import commands as order_commands

ROOT = Path(__file__).parents[2]
PACKAGE = ROOT / "damagescore"

# A room imports only from rooms before it in this list.
ORDER = (
    "errors", "quantity", "ranks", "runs", "side_by_side", "photo", "scale", "quality", "edge",
    "damage", "totals", "measurement", "measure", "layers", "joined", "around",
    "limits", "inspection", "history", "endurance", "chart", "capability",
    "records", "report", "training", "scenes", "batch", "orders", "follow",
    "ui", "record_commands", "cli_records", "cli_follow", "cli_lens", "cli_studies",
    "cli", "__main__",
)  # fmt: skip

MODULES = sorted(PACKAGE.rglob("*.py"))


def _room(path: Path) -> str:
    return path.relative_to(PACKAGE).parts[0].removesuffix(".py")


def _imports(path: Path) -> set[str]:
    names = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            names |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}: relative import"
            names.add(node.module or "")
    return names


@pytest.mark.parametrize("path", MODULES, ids=lambda p: str(p.relative_to(PACKAGE)))
def test_a_room_imports_only_from_rooms_above_it(path: Path) -> None:
    room = _room(path)
    if room == "__init__":
        return
    allowed = set(ORDER[: ORDER.index(room) + 1])
    used = {n.split(".")[1] for n in _imports(path) if n.startswith("damagescore.")}
    assert used <= allowed, f"{room} must not import {sorted(used - allowed)}"


@pytest.mark.parametrize("path", MODULES, ids=lambda p: str(p.relative_to(PACKAGE)))
def test_only_the_faces_know_streamlit(path: Path) -> None:
    if _room(path) == "ui":
        return
    assert not any(n.split(".")[0] == "streamlit" for n in _imports(path))


@pytest.mark.parametrize("path", MODULES, ids=lambda p: str(p.relative_to(PACKAGE)))
def test_modules_stay_readable(path: Path) -> None:
    # 400 lines is the house limit for a module.
    assert len(path.read_text(encoding="utf-8").splitlines()) <= 400


def test_every_command_is_in_the_readme() -> None:
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    texts = [Path(cli.__file__).read_text(), Path(order_commands.__file__).read_text()]
    texts.append((PACKAGE / "cli_follow.py").read_text(encoding="utf-8"))
    names = re.findall(r'commands\.add_parser\(\s*"(\w+)"', "".join(texts))
    texts.append((PACKAGE / "cli_studies.py").read_text(encoding="utf-8"))
    records = (PACKAGE / "cli_records.py").read_text(encoding="utf-8")
    names += re.findall(r'_command\(commands, "(\w+)"', records)
    assert len(names) >= 16
    missing = [n for n in names if f"damagescore {n}" not in readme]
    assert not missing


def test_every_room_is_in_the_developers_guide() -> None:
    guide = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    rooms = {_room(p) for p in MODULES} - {"__init__", "__main__"}
    assert not [r for r in sorted(rooms) if f"`{r}" not in guide]


def test_every_requirement_has_a_tested_range() -> None:
    lines = (ROOT / "requirements.txt").read_text(encoding="utf-8").splitlines()
    names = [x for x in lines if x and not x.startswith("#")]
    assert names
    assert all(re.fullmatch(r"[\w-]+>=[\d.]+(,<[\d.]+)?", x) for x in names)
