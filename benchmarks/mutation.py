"""A module and its tests in, which small faults in the module the tests do not notice out.

    python benchmarks/mutation.py handsfree/language/numbers.py tests/test_language_numbers.py

One fault at a time is put into a copy of the checkout: a comparison turned, an operator or a number changed, a
condition denied, a text changed, `and` and `or` swapped. A fault that no test notices survives; each is printed with
its line.
"""

from __future__ import annotations

import argparse
import ast
import copy
import os
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

TURNED: dict[type[ast.cmpop], type[ast.cmpop]] = {
    ast.Lt: ast.LtE,
    ast.LtE: ast.Lt,
    ast.Gt: ast.GtE,
    ast.GtE: ast.Gt,
    ast.Eq: ast.NotEq,
    ast.NotEq: ast.Eq,
    ast.Is: ast.IsNot,
    ast.IsNot: ast.Is,
    ast.In: ast.NotIn,
    ast.NotIn: ast.In,
}
CHANGED: dict[type[ast.operator], type[ast.operator]] = {
    ast.Add: ast.Sub,
    ast.Sub: ast.Add,
    ast.Mult: ast.FloorDiv,
    ast.Div: ast.Mult,
    ast.FloorDiv: ast.Mult,
    ast.Mod: ast.FloorDiv,
    ast.Pow: ast.Mult,
}


def faults(tree: ast.Module) -> Iterator[tuple[int, str, ast.Module]]:
    """(line, what was changed, the tree with that change), for every place where one can be made."""
    places = [node for node in ast.walk(tree) if hasattr(node, "lineno")]
    docstrings = {id(n.value) for n in ast.walk(tree) if isinstance(n, ast.Expr) and isinstance(n.value, ast.Constant)}
    for index, node in enumerate(places):
        for what in _kinds(node, docstrings):
            changed = copy.deepcopy(tree)
            target = [n for n in ast.walk(changed) if hasattr(n, "lineno")][index]
            _apply(target, what)
            yield node.lineno, f"{what}: {ast.unparse(node)[:80]}", ast.fix_missing_locations(changed)


def _kinds(node: ast.AST, docstrings: set[int]) -> list[str]:
    if isinstance(node, ast.Compare) and type(node.ops[0]) in TURNED:
        return ["comparison turned"]
    if isinstance(node, ast.BinOp | ast.AugAssign) and type(node.op) in CHANGED:
        return ["operator changed"]
    if isinstance(node, ast.BoolOp):
        return ["and, or swapped"]
    if isinstance(node, ast.If | ast.IfExp | ast.While):
        return ["condition denied"]
    if isinstance(node, ast.Return) and node.value is not None and not isinstance(node.value, ast.Constant):
        return ["nothing returned"]
    if isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.USub | ast.Not):
        return ["sign or not dropped"]
    if isinstance(node, ast.Constant) and id(node) not in docstrings:
        if type(node.value) is int:
            return ["number plus one"]
        if isinstance(node.value, str) and node.value:
            return ["text changed"]
    if isinstance(node, ast.Continue | ast.Break):
        return ["jump changed"]
    return []


def _apply(node: ast.AST, what: str) -> None:
    if isinstance(node, ast.Compare):
        node.ops[0] = TURNED[type(node.ops[0])]()
    elif isinstance(node, ast.BinOp | ast.AugAssign):
        node.op = CHANGED[type(node.op)]()
    elif isinstance(node, ast.BoolOp):
        node.op = ast.Or() if isinstance(node.op, ast.And) else ast.And()
    elif isinstance(node, ast.If | ast.IfExp | ast.While):
        node.test = ast.UnaryOp(ast.Not(), node.test)
    elif isinstance(node, ast.Return):
        node.value = ast.Constant(None)
    elif isinstance(node, ast.UnaryOp):
        node.op = ast.UAdd() if isinstance(node.op, ast.USub) else ast.Not()
        if isinstance(node.op, ast.Not):
            node.operand = ast.UnaryOp(ast.Not(), node.operand)
    elif isinstance(node, ast.Constant):
        node.value = node.value + 1 if what == "number plus one" else f"{node.value}~"  # type: ignore[operator]
    elif isinstance(node, ast.Continue | ast.Break):
        node.__class__ = ast.Pass  # type: ignore[assignment]


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("module", type=Path)
    parser.add_argument("tests", nargs="+")
    parser.add_argument("--every", type=int, default=1, help="try only every n-th fault")
    options = parser.parse_args()
    root = Path(__file__).resolve().parents[1]
    tree = ast.parse((root / options.module).read_text(encoding="utf-8"))
    tried = killed = 0
    with tempfile.TemporaryDirectory() as folder:
        copy_root = Path(folder)
        for part in ("handsfree", "grammars", "tests", "benchmarks", "pyproject.toml"):
            source = root / part
            if source.is_dir():
                shutil.copytree(source, copy_root / part, ignore=shutil.ignore_patterns("__pycache__", "live"))
            else:
                shutil.copy(source, copy_root / part)
        command = [sys.executable, "-m", "pytest", "-x", "-q", "-p", "no:cacheprovider", *options.tests]
        environment = {**os.environ, "PYTHONPATH": folder, "PYTHONDONTWRITEBYTECODE": "1"}
        for number, (line, what, changed) in enumerate(faults(tree)):
            if number % options.every:
                continue
            (copy_root / options.module).write_text(ast.unparse(changed), encoding="utf-8")
            try:
                done = subprocess.run(command, cwd=folder, env=environment, capture_output=True, timeout=120)
                noticed = done.returncode != 0
            except subprocess.TimeoutExpired:
                noticed = True
            tried += 1
            killed += noticed
            if not noticed:
                print(f"survived, line {line}, {what}", flush=True)
    print(f"{killed} of {tried} faults noticed: {killed / max(tried, 1):.1%}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
