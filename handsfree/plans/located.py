"""TOML text in, tables out whose every key knows its line.

The standard parser gives values without their place. An engineer who mistypes a plan needs the line, so a second,
small scan of the text finds where each key stands; keys inside an inline table count as standing where the table
begins, or on their own line.
"""

from __future__ import annotations

import difflib
import re
import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from decimal import Decimal, InvalidOperation
from pathlib import Path
from typing import Any

from handsfree.errors import BadInput

KeyPath = tuple[str | int, ...]

_HEADER = re.compile(r"^\s*(\[\[|\[)\s*([^\]]+?)\s*(\]\]|\])\s*(#.*)?$")
_KEY = re.compile(r"""^\s*((?:"[^"]*"|'[^']*'|[A-Za-z0-9_-]+)(?:\s*\.\s*(?:"[^"]*"|'[^']*'|[A-Za-z0-9_-]+))*)\s*=""")
_PART = re.compile(r""""([^"]*)"|'([^']*)'|([A-Za-z0-9_-]+)""")


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing wrong with a file: where, what, and what to do."""

    line: int
    """1 = first line"""
    message: str
    hint: str = ""

    def located(self, path: Path | str) -> str:
        """`file:line: message`."""
        return f"{path}:{self.line}: {self.message}"


def nearest(word: str, valid: Iterable[str]) -> str:
    """A hint that offers the valid name nearest to `word`, or lists the valid ones when none is near."""
    names = sorted(valid)
    if close := difflib.get_close_matches(word, names, 1, 0.6):
        return f"did you mean {close[0]!r}?"
    if not names:
        return ""
    shown = ", ".join(names[:12]) + (", ..." if len(names) > 12 else "")
    return f"use one of: {shown}"


def _parts(dotted: str) -> list[str]:
    return [a or b or c for a, b, c in _PART.findall(dotted)]


def lines_of(text: str) -> dict[KeyPath, int]:
    """The line of every table header and key of a TOML text that parses. Arrays of tables are numbered from 0."""
    found: dict[KeyPath, int] = {(): 1}
    counts: dict[KeyPath, int] = {}
    here: KeyPath = ()
    depth = 0
    quote = ""
    opened: KeyPath = ()
    for number, line in enumerate(text.splitlines(), 1):
        if not depth and not quote and (header := _HEADER.match(line)) and "=" not in header[2]:
            here = _enter(_parts(header[2]), header[1] == "[[", counts)
            found.setdefault(here, number)
            continue
        if not quote and (key := _KEY.match(line)):
            if not depth:
                opened = (*here, *_parts(key[1]))
                for length in range(len(here) + 1, len(opened) + 1):
                    found.setdefault(opened[:length], number)
            else:
                found.setdefault((*opened, *_parts(key[1])), number)
        depth, quote = _scan(line, depth, quote)
    return found


def _enter(parts: list[str], is_array: bool, counts: dict[KeyPath, int]) -> KeyPath:
    path: KeyPath = ()
    for index, part in enumerate(parts):
        path = (*path, part)
        last = index == len(parts) - 1
        if last and is_array:
            counts[path] = counts.get(path, -1) + 1
        if path in counts:
            path = (*path, counts[path])
    return path


def _scan(line: str, depth: int, quote: str) -> tuple[int, str]:
    """Bracket depth and open multi-line quote after the line."""
    position = 0
    while position < len(line):
        if quote:
            end = line.find(quote, position)
            if end < 0:
                return depth, quote if len(quote) == 3 else ""
            escaped = quote == '"' and line[end - 1] == "\\"
            position, quote = (end + 1, quote) if escaped else (end + len(quote), "")
            continue
        mark = line[position]
        if mark == "#":
            break
        if mark in "\"'":
            quote = mark * 3 if line.startswith(mark * 3, position) else mark
            position += len(quote)
            continue
        depth += (mark in "[{") - (mark in "]}")
        position += 1
    return depth, quote if len(quote) == 3 else ""


def read_toml(path: Path, what: str) -> tuple[str, dict[str, Any]]:
    """The text and the tables of a TOML file; numbers with a point become Decimal, so that 9.80 keeps its digits.

    Raises:
        BadInput: the file cannot be read, is not UTF-8, or is not TOML (with the line).
    """
    try:
        text = path.read_text(encoding="utf-8")
    except UnicodeDecodeError as error:
        raise BadInput(f"{what} {path} is not UTF-8 text (byte {error.start})", "save it as UTF-8") from None
    except OSError as error:
        reason = error.strerror or str(error)
        raise BadInput(f"{what} {path} cannot be read: {reason}", "check the path") from None
    return text, parse_toml(text, path, what)


def parse_toml(text: str, path: Path, what: str) -> dict[str, Any]:
    """As `read_toml`, from text."""
    try:
        return tomllib.loads(text, parse_float=Decimal)
    except (tomllib.TOMLDecodeError, InvalidOperation) as error:
        reason = str(error)
        where = re.search(r"\(at line (\d+), column (\d+)\)", reason)
        line = where[1] if where else str(max(1, len(text.splitlines())))
        reason = re.sub(r"\s*\(at [^)]*\)", "", reason)
        raise BadInput(f"{path}:{line}: {what} is not TOML: {reason}", "mend that line") from None


@dataclass(slots=True)
class Table:
    """A table of the file, read key by key; every complaint lands in `findings` with its line."""

    data: Mapping[str, Any]
    path: KeyPath
    lines: Mapping[KeyPath, int]
    findings: list[Finding]
    used: set[str] = field(default_factory=set)

    def line(self, *keys: str | int) -> int:
        """The line of the key, or of the nearest enclosing table."""
        path: KeyPath = (*self.path, *keys)
        while path and path not in self.lines:
            path = path[:-1]
        return self.lines.get(path, 1)

    def complain(self, key: str, message: str, hint: str = "") -> None:
        self.findings.append(Finding(self.line(key), message, hint))

    def has(self, key: str) -> bool:
        self.used.add(key)
        return key in self.data

    def _take(self, key: str, kinds: tuple[type, ...], expected: str, required: bool) -> Any:
        self.used.add(key)
        if key not in self.data:
            if required:
                self.findings.append(Finding(self.line(), f"{self.name()} lacks {key!r}", f"add {key} = {expected}"))
            return None
        value = self.data[key]
        if not isinstance(value, kinds) or (isinstance(value, bool) and bool not in kinds):
            self.complain(
                key, f"{self.name()}: {key} must be {expected}, not {_shown(value)}", f"write {key} = {expected}"
            )
            return None
        return value

    def name(self) -> str:
        """The table in words, for messages."""
        shown = ".".join(str(p) for p in self.path if isinstance(p, str)) or "the file"
        label = self.data.get("id")
        return f"{shown} {label!r}" if isinstance(label, str) else shown

    def text(self, key: str, required: bool = True, default: str = "") -> str:
        value = self._take(key, (str,), "a text in quotes", required)
        if value is None:
            return default
        if not value.strip() and required:
            self.complain(key, f"{self.name()}: {key} is empty", "write the words")
        return str(value)

    def one_of(self, key: str, valid: Iterable[str], default: str | None = None) -> str:
        names = tuple(valid)
        value = self._take(key, (str,), " or ".join(f'"{n}"' for n in names), default is None)
        if value is None:
            return default or names[0]
        if value not in names:
            self.complain(key, f"{self.name()}: {key} = {value!r} is not known", nearest(value, names))
            return default or names[0]
        return str(value)

    def flag(self, key: str, default: bool = False) -> bool:
        value = self._take(key, (bool,), "true or false", False)
        return default if value is None else bool(value)

    def number(self, key: str, low: Decimal | int | None = None, required: bool = False) -> Decimal | None:
        value = self._take(key, (int, Decimal), "a number", required)
        if value is None:
            return None
        amount = Decimal(value)
        if not amount.is_finite() or (low is not None and amount < low):
            self.complain(key, f"{self.name()}: {key} = {value} is not {low} or more", "correct the number")
            return None
        return amount

    def texts(self, key: str, required: bool = False) -> tuple[str, ...]:
        value = self._take(key, (list, str), 'a list of texts, ["...", "..."]', required)
        if value is None:
            return ()
        row = [value] if isinstance(value, str) else value
        if any(not isinstance(v, str) for v in row):
            self.complain(key, f"{self.name()}: {key} must hold texts only", f'write {key} = ["...", "..."]')
            return ()
        return tuple(row)

    def table(self, key: str, required: bool = False) -> Table | None:
        value = self._take(key, (dict,), "a table", required)
        return None if value is None else Table(value, (*self.path, key), self.lines, self.findings)

    def tables(self, key: str, required: bool = False) -> list[Table]:
        value = self._take(key, (list,), "tables, each headed [[...]]", required)
        if value is None:
            return []
        if any(not isinstance(v, dict) for v in value):
            self.complain(key, f"{self.name()}: {key} must hold tables", f"head each with [[{key}]]")
            return []
        return [Table(v, (*self.path, key, i), self.lines, self.findings) for i, v in enumerate(value)]

    def finish(self) -> None:
        """Complain of every key that nobody asked for."""
        for key in self.data:
            if key not in self.used:
                self.complain(key, f"{self.name()}: unknown key {key!r}", nearest(key, self.used))


def _shown(value: object) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return f"the text {value!r}"
    if isinstance(value, dict):
        return "a table"
    if isinstance(value, list):
        return "a list"
    return str(value)


def raise_first(findings: Iterable[Finding], path: Path, what: str) -> None:
    """BadInput with the first finding (by line), and how many more there are."""
    ordered = sorted(findings, key=lambda f: f.line)
    if not ordered:
        return
    first = ordered[0]
    more = f" ({len(ordered) - 1} more)" if len(ordered) > 1 else ""
    raise BadInput(f"{first.located(path)}{more}", first.hint or f"correct the {what}")
