"""Every public function of the trade says what it gives and where that comes from."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

from handsfree import trade

ROOM = Path(trade.__file__).parent
SUBJECTS = [
    "gas",
    "combustion",
    "flue",
    "water",
    "vessel",
    "tightness",
    "pipes",
    "heat",
    "electrical",
    "dates",
    "convert",
]
"""modules of sums; the others look things up, read words or word questions"""


def public_functions(path: Path) -> list[ast.FunctionDef]:
    tree = ast.parse(path.read_text(encoding="utf-8"))
    return [node for node in tree.body if isinstance(node, ast.FunctionDef) and not node.name.startswith("_")]


def gives_a_number(node: ast.FunctionDef) -> bool:
    return node.returns is not None and ast.unparse(node.returns) in ("float", "float | None", "datetime.date")


SUMS = [
    pytest.param(node, id=f"{name}.{node.name}")
    for name in SUBJECTS
    for node in public_functions(ROOM / f"{name}.py")
    if gives_a_number(node)
]


@pytest.mark.parametrize("node", SUMS)
def test_every_sum_names_its_source(node: ast.FunctionDef) -> None:
    """Each function that gives a number or a date names its source, and its arguments and result are typed."""
    text = ast.get_docstring(node) or ""
    assert "Source" in text or "source as for" in text, node.name
    assert all(argument.annotation is not None for argument in (*node.args.args, *node.args.kwonlyargs))


@pytest.mark.parametrize("path", sorted(ROOM.glob("*.py")), ids=lambda path: path.stem)
def test_every_public_function_is_described(path: Path) -> None:
    """Each public function of the room has a docstring, and each module says what goes in and what comes out."""
    assert ast.get_docstring(ast.parse(path.read_text(encoding="utf-8")))
    for node in public_functions(path):
        assert ast.get_docstring(node), node.name
