"""A module and its tests in, which small faults in the module the tests do not notice out.

    python benchmarks/mutation.py handsfree/language/numbers.py tests/test_language_numbers.py [--jobs 4]
    python benchmarks/mutation.py MODULE TESTS --part 1/3 --out first.jsonl    (the parts on several machines)
    python benchmarks/mutation.py --merge first.jsonl second.jsonl third.jsonl

One fault at a time is put into a copy of the checkout: a comparison turned, an operator or a number changed, a
condition denied, a text changed, `and` and `or` swapped. A fault that no test notices survives; each is printed with
its line.
"""

from __future__ import annotations

import argparse
import ast
import copy
import json
import multiprocessing
import os
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Iterator, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path

LONGEST_S = 240
"""s: tests that take longer on a fault have noticed it"""

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
        node.value = node.value + 1 if what == "number plus one" else f"{node.value}~"  # type: ignore[operator,str-bytes-safe]
    elif isinstance(node, ast.Continue | ast.Break):
        node.__class__ = ast.Pass  # type: ignore[assignment]


@dataclass(frozen=True, slots=True)
class Trial:
    """One fault, tried."""

    number: int
    line: int
    what: str
    noticed: bool


def try_faults(module: Path, tests: Sequence[str], numbers: Sequence[int]) -> Iterator[Trial]:
    """Put the faults of these numbers, one after the other, into a copy of the checkout and run the tests on it."""
    root = Path(__file__).resolve().parents[1]
    tree = ast.parse((root / module).read_text(encoding="utf-8"))
    wanted = frozenset(numbers)
    with tempfile.TemporaryDirectory() as folder:
        copy_root = Path(folder)
        for part in ("handsfree", "grammars", "tests", "benchmarks", "pyproject.toml"):
            source = root / part
            if source.is_dir():
                shutil.copytree(source, copy_root / part, ignore=shutil.ignore_patterns("__pycache__", "live"))
            else:
                shutil.copy(source, copy_root / part)
        command = [sys.executable, "-m", "pytest", "-x", "-q", "-p", "no:cacheprovider", *tests]
        environment = {**os.environ, "PYTHONPATH": folder, "PYTHONDONTWRITEBYTECODE": "1"}
        for number, (line, what, changed) in enumerate(faults(tree)):
            if number not in wanted:
                continue
            (copy_root / module).write_text(ast.unparse(changed), encoding="utf-8")
            try:
                done = subprocess.run(command, cwd=folder, env=environment, capture_output=True, timeout=LONGEST_S)
                noticed = done.returncode != 0
            except subprocess.TimeoutExpired:
                noticed = True
            yield Trial(number, line, what, noticed)


def _try_all(work: tuple[Path, Sequence[str], Sequence[int], Path | None]) -> list[Trial]:
    module, tests, numbers, out = work
    trials = []
    for trial in try_faults(module, tests, numbers):
        trials.append(trial)
        if not trial.noticed:
            print(f"survived, line {trial.line}, {trial.what}", flush=True)
        if out is not None:
            with out.open("a", encoding="utf-8") as file:
                file.write(json.dumps(asdict(trial)) + "\n")
    return trials


def part_of(text: str) -> tuple[int, int]:
    """ "2/5": the second of five parts."""
    first, _, count = text.partition("/")
    if not (first.isdigit() and count.isdigit() and 1 <= int(first) <= int(count)):
        raise argparse.ArgumentTypeError(f"{text!r} is no part: write 2/5 for the second of five")
    return int(first), int(count)


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("module", type=Path, help="with --merge: the first of the result files")
    parser.add_argument("tests", nargs="+", help="with --merge: the other result files")
    parser.add_argument("--every", type=int, default=1, help="try only every n-th fault")
    parser.add_argument("--jobs", type=int, default=1, help="how many faults at a time")
    parser.add_argument("--part", type=part_of, default=(1, 1), metavar="I/N", help="try only the I-th of N parts")
    parser.add_argument("--out", type=Path, help="add a JSON line for each fault to this file")
    parser.add_argument("--again", type=Path, metavar="FILE", help="try only the faults that survived in this file")
    parser.add_argument("--merge", action="store_true", help="count what result files of several parts hold")
    options = parser.parse_args()
    if options.merge:
        trials = _read([options.module, *map(Path, options.tests)])
    else:
        tree = ast.parse((Path(__file__).resolve().parents[1] / options.module).read_text(encoding="utf-8"))
        count = sum(1 for _ in faults(tree))
        part, parts = options.part
        every = range(0, count, options.every) if options.again is None else _survivors(options.again)
        numbers = list(every)[part - 1 :: parts]
        shares = [numbers[job :: options.jobs] for job in range(options.jobs)]
        work = [(options.module, options.tests, share, options.out) for share in shares if share]
        with multiprocessing.Pool(options.jobs) as pool:
            trials = [trial for share in pool.imap_unordered(_try_all, work) for trial in share]
    killed = sum(trial.noticed for trial in trials)
    print(f"{killed} of {len(trials)} faults noticed: {killed / max(len(trials), 1):.1%}")
    return 0


def _survivors(file: Path) -> list[int]:
    rows = map(json.loads, file.read_text(encoding="utf-8").splitlines())
    return [row["number"] for row in rows if not row["noticed"]]


def _read(files: Sequence[Path]) -> list[Trial]:
    """The trials of several files, each fault once; what survived is printed."""
    lines = [line for file in files for line in file.read_text(encoding="utf-8").splitlines()]
    trials = {row["number"]: Trial(**row) for row in map(json.loads, lines)}
    for trial in sorted(trials.values(), key=lambda t: t.number):
        if not trial.noticed:
            print(f"survived, line {trial.line}, {trial.what}")
    return list(trials.values())


if __name__ == "__main__":
    sys.exit(main())
