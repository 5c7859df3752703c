"""Imports between the package's rooms go one way only."""

from __future__ import annotations

import ast
from graphlib import TopologicalSorter
from pathlib import Path

import pytest

PACKAGE = Path(__file__).parents[1] / "handsfree"

ROOMS = [
    "errors",
    "model",
    "events",
    "settings",
    "language",
    "trade",
    "plans",
    "dialogue",
    "audio",
    "listeners",
    "voice",
    "record",
    "report",
    "sources",
    "session",
    "testing",
    "doctor",
    "commands",
    "cli",
    "__main__",
]
"""From the bottom up: a module imports from its own room and from rooms before it."""


def room_of(dotted: str) -> str:
    return dotted.split(".")[1]


def imported_rooms(path: Path) -> set[str]:
    """The rooms that a module names in import statements, also inside functions."""
    rooms = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"), str(path))):
        if isinstance(node, ast.Import):
            names = [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}:{node.lineno}: relative import"
            names = [f"{node.module}.{alias.name}" for alias in node.names]
        else:
            continue
        rooms |= {room_of(name) for name in names if name.startswith("handsfree.")}
    return rooms


MODULES = sorted(PACKAGE.rglob("*.py"))


@pytest.mark.parametrize("path", MODULES, ids=lambda p: str(p.relative_to(PACKAGE)))
def test_a_module_imports_only_from_its_own_room_and_those_before_it(path: Path) -> None:
    """No module imports from a room that comes after its own."""
    own = path.relative_to(PACKAGE).with_suffix("").parts[0]
    if own == "__init__":
        assert not imported_rooms(path)
        return
    later = {room for room in imported_rooms(path) if ROOMS.index(room) > ROOMS.index(own)}
    assert not later, f"{path.relative_to(PACKAGE)} imports upward from {sorted(later)}"


def dotted(path: Path) -> str:
    parts = path.relative_to(PACKAGE.parent).with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


def test_no_module_imports_itself_by_way_of_others() -> None:
    """Imports make no circle, inside a room neither, also where an import stands inside a function."""
    names = {dotted(path) for path in MODULES}
    imports: dict[str, set[str]] = {}
    for path in MODULES:
        found = imports.setdefault(dotted(path), set())
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"), str(path))):
            if isinstance(node, ast.ImportFrom) and node.module:
                members = {f"{node.module}.{alias.name}" for alias in node.names} & names
                found |= members or ({node.module} & names)
            elif isinstance(node, ast.Import):
                found |= {alias.name for alias in node.names} & names
        found.discard(dotted(path))
    assert sum(map(len, imports.values())) > len(names)
    TopologicalSorter(imports).prepare()  # raises CycleError, which names the circle


def test_the_walk_sees_every_room() -> None:
    """Every folder and module of the package has its place in the order."""
    found = {p.relative_to(PACKAGE).with_suffix("").parts[0] for p in MODULES} - {"__init__"}
    assert found <= set(ROOMS)


PURE = ["language", "trade", "plans", "dialogue"]
IMPURE = {"threading", "subprocess", "multiprocessing", "socket", "requests", "time", "random", "os"}


@pytest.mark.parametrize("room", PURE)
def test_the_pure_core_starts_nothing_and_reads_no_clock(room: str) -> None:
    """Language, trade, plans and dialogue use no threads, processes, network, clock or hidden chance."""
    for path in sorted((PACKAGE / room).rglob("*.py")):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"), str(path))):
            names = []
            if isinstance(node, ast.Import):
                names = [alias.name.split(".")[0] for alias in node.names]
            elif isinstance(node, ast.ImportFrom) and node.module:
                names = [node.module.split(".")[0]]
            bad = set(names) & IMPURE - ({"random"} if room in ("language", "plans") else set())
            assert not bad, f"{path.relative_to(PACKAGE)}:{node.lineno} imports {sorted(bad)}"
