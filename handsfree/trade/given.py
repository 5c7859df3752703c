"""Words KEY=VALUE in, numbers held against their ranges out; and what a computation promises about its keys."""

from __future__ import annotations

import datetime
import difflib
import functools
import math
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from itertools import chain
from typing import Generic, Literal, ParamSpec, TypeVar

from handsfree.errors import BadInput
from handsfree.model import Result

P = ParamSpec("P")
R = TypeVar("R")

_UNIT_OF_ENDING = (
    ("_mj_m3", "MJ/m3"),
    ("_kwh_m3", "kWh/m3"),
    ("_btu_ft3", "Btu/ft3"),
    ("_mj_kg", "MJ/kg"),
    ("_m3_h", "m3/h"),
    ("_ft3_h", "ft3/h"),
    ("_l_min", "L/min"),
    ("_l_kw", "L/kW"),
    ("_mbar", "mbar"),
    ("_bar", "bar"),
    ("_pct", "%"),
    ("_ppm", "ppm"),
    ("_ohm", "ohm"),
    ("_deg", "deg"),
    ("fittings", "%"),
    ("_kw", "kW"),
    ("_ft3", "ft3"),
    ("_m3", "m3"),
    ("_mm", "mm"),
    ("_um", "um"),
    ("_c", "degC"),
    ("_k", "K"),
    ("_l", "L"),
    ("_g", "g"),
    ("_m", "m"),
    ("_s", "s"),
)


def unit_of(name: str) -> str:
    """The unit that a key's name carries: "time_s" -> "s"; "-" where it carries none."""
    return next((unit for ending, unit in _UNIT_OF_ENDING if name.endswith(ending)), "-")


def _with_unit(value: float, unit: str) -> str:
    return f"{value:.10g}" if unit == "-" else f"{value:.10g} {unit}"


def check_range(name: str, value: float, low: float, high: float) -> None:
    """Refuse a value outside `low`..`high` (both allowed), in the unit that the key's name carries.

    Raises:
        BadInput: naming the key, the value and the range.
    """
    if not (math.isfinite(value) and low <= value <= high):
        unit = unit_of(name)
        raise BadInput(
            f"{name} is {_with_unit(value, unit)}; it must be from {low:.10g} to {_with_unit(high, unit)}",
            "read the value again, and check the unit in the key's name",
        )


class Checked(Generic[P, R]):
    """A function whose numbers are held against their ranges before it runs."""

    def __init__(self, function: Callable[P, R], ranges: Mapping[str, tuple[float, float]]) -> None:
        functools.update_wrapper(self, function)
        self._function = function
        code = function.__code__
        self._names = code.co_varnames[: code.co_argcount + code.co_kwonlyargcount]
        self.ranges = dict(ranges)
        """parameter -> lowest and highest value that it takes"""
        if unknown := self.ranges.keys() - set(self._names):
            raise TypeError(f"{function.__name__} has no parameter {', '.join(sorted(unknown))}")

    def __call__(self, *args: P.args, **kwargs: P.kwargs) -> R:
        """Check, then run. Raises BadInput for a number out of its range."""
        for name, value in chain(zip(self._names, args, strict=False), kwargs.items()):
            if name in self.ranges and isinstance(value, int | float):
                check_range(name, value, *self.ranges[name])
        return self._function(*args, **kwargs)

    def key(
        self,
        name: str,
        meaning: str,
        default: str | None = None,
        *,
        optional: bool = False,
        half_width: float | Literal["last place"] | None = None,
    ) -> Key:
        """The work-out key of one of this function's parameters, with the function's own range."""
        low, high = self.ranges[name]
        return Key(name, meaning, "number", low, high, default=default, optional=optional, half_width=half_width)


def checked(**ranges: tuple[float, float]) -> Callable[[Callable[P, R]], Checked[P, R]]:
    """Decorate a function with the range of each number it takes: `@checked(time_s=(5, 7200))`."""
    return lambda function: Checked(function, ranges)


@dataclass(frozen=True, slots=True)
class Key:
    """One KEY of a computation."""

    name: str
    meaning: str
    kind: Literal["number", "choice", "text", "date"]
    low: float = -math.inf
    """lowest value that a number may have, in `unit`"""
    high: float = math.inf
    choices: tuple[str, ...] = ()
    default: str | None = None
    """taken when the key is not given"""
    optional: bool = False
    half_width: float | Literal["last place"] | None = None
    """how far off a reading may be, in `unit`: a number, or half of its last digit's place"""

    @property
    def unit(self) -> str:
        """The unit in the key's name, "-" where there is none."""
        return unit_of(self.name) if self.kind == "number" else "-"

    def read(self, text: str) -> float | str | datetime.date:
        """The value that `text` stands for.

        Raises:
            BadInput: not a number in the key's unit, out of range, not one of the choices, not a date.
        """
        match self.kind:
            case "number":
                return self._read_number(text)
            case "choice":
                return self._read_choice(text)
            case "date":
                return self._read_date(text)
            case _:
                if not text.strip():
                    raise BadInput(f"{self.name} is empty", self.meaning)
                return text.strip()

    def bare_number(self, text: str) -> str:
        """The text without the key's own unit: "122 s" -> "122"."""
        bare = text.strip()
        if self.unit != "-" and bare.lower().endswith(self.unit.lower()):
            bare = bare[: -len(self.unit)].strip()
        return bare

    def _read_number(self, text: str) -> float:
        bare = self.bare_number(text)
        try:
            # Python would take "1_0" for ten; a slip of the finger is not a number.
            value = float("" if "_" in bare else bare)
        except ValueError:
            wanted = "a number" if self.unit == "-" else f"a number in {self.unit}"
            raise BadInput(
                f"{self.name} is {text!r}; it must be {wanted} from {self.low:.10g} to {self.high:.10g}",
                "give the number alone, in the unit of the key's name (handsfree work-out convert converts)",
            ) from None
        check_range(self.name, value, self.low, self.high)
        return value

    def _read_choice(self, text: str) -> str:
        wanted = text.strip().lower()
        for choice in self.choices:
            if choice.lower() == wanted:
                return choice
        raise BadInput(
            f"{self.name} is {text!r}; it must be one of {', '.join(self.choices)}", nearest(text, self.choices)
        )

    def _read_date(self, text: str) -> datetime.date:
        try:
            return datetime.date.fromisoformat(text.strip())
        except ValueError:
            raise BadInput(
                f"{self.name} is {text!r}; it must be a date from 0001-01-01 to 9999-12-31", "write it as 2026-11-25"
            ) from None


def text_key(name: str, meaning: str, default: str | None = None, *, optional: bool = False) -> Key:
    """A key that takes words."""
    return Key(name, meaning, "text", default=default, optional=optional)


def choice_key(
    name: str, meaning: str, choices: Iterable[str], default: str | None = None, *, optional: bool = False
) -> Key:
    """A key that takes one of a few words."""
    return Key(name, meaning, "choice", choices=tuple(choices), default=default, optional=optional)


def date_key(name: str, meaning: str, *, optional: bool = False) -> Key:
    """A key that takes a date, 2026-11-25."""
    return Key(name, meaning, "date", optional=optional)


def nearest(word: str, known: Iterable[str]) -> str:
    """A hint that offers the known word nearest to the one given, where one is near."""
    close = difflib.get_close_matches(word.lower(), list(known), n=1, cutoff=0.6)
    return f"did you mean {close[0]}?" if close else "take one of those named"


@dataclass(frozen=True, slots=True)
class Given:
    """The values of a computation's keys, checked; defaults filled in."""

    values: Mapping[str, float | str | datetime.date]

    def has(self, name: str) -> bool:
        """Whether the key was given (or has a default)."""
        return name in self.values

    def number(self, name: str) -> float:
        """The number of a key, in the unit of its name."""
        value = self.values[name]
        assert isinstance(value, float)
        return value

    def word(self, name: str) -> str:
        """The word of a text or choice key."""
        value = self.values[name]
        assert isinstance(value, str)
        return value

    def day(self, name: str) -> datetime.date:
        """The date of a key."""
        value = self.values[name]
        assert isinstance(value, datetime.date)
        return value


@dataclass(frozen=True, slots=True)
class Answer:
    """What a computation gives back; formula, source and sure only where this way of computing has its own."""

    results: tuple[Result, ...]
    formula: str | None = None
    source: str | None = None
    sure: str | None = None


def answer(name: str, value: float | str, unit: str, basis: str | None = None, spread: float | None = None) -> Answer:
    """An answer with one result."""
    return Answer((Result(name, value, unit, basis, spread),))


@dataclass(frozen=True, slots=True)
class Computation:
    """One computation of `work-out`: its keys, its results, its formula and on whose authority."""

    name: str
    about: str
    keys: tuple[Key, ...]
    results: tuple[str, ...]
    """each with its unit: "gas_rate m3/h" """
    formula: str
    source: str
    sure: str
    """published, second-hand, common practice, from memory, computed"""
    run: Callable[[Given], Answer]
    one_of: tuple[tuple[tuple[str, ...], ...], ...] = ()
    """sets of alternatives: of each set exactly one group of keys is given, whole"""

    def read(self, given: Mapping[str, str]) -> Given:
        """The words of `given`, checked against the keys.

        Raises:
            BadInput: unknown key, missing key, two alternatives at once, or a value that its key does not take.
        """
        known = {key.name: key for key in self.keys}
        for name in given:
            if name not in known:
                raise BadInput(
                    f"{self.name} has no key {name!r}; its keys are {', '.join(known)}", nearest(name, known)
                )
        self._check_alternatives(given)
        grouped = {name for groups in self.one_of for group in groups for name in group}
        values: dict[str, float | str | datetime.date] = {}
        for name, key in known.items():
            text = given.get(name, key.default)
            if text is not None:
                values[name] = key.read(text)
            elif not key.optional and name not in grouped:
                raise BadInput(f"{self.name} needs {name} ({_describe(key)})", f"add {name}=VALUE")
        return Given(values)

    def _check_alternatives(self, given: Mapping[str, str]) -> None:
        for groups in self.one_of:
            begun = [group for group in groups if any(name in given for name in group)]
            offer = " or ".join(" with ".join(group) for group in groups)
            if not begun:
                raise BadInput(f"{self.name} needs {offer}", "add one of them as KEY=VALUE")
            whole = [group for group in begun if all(name in given for name in group)]
            if not whole:
                nearly = max(begun, key=lambda group: sum(name in given for name in group))
                missing = next(name for name in nearly if name not in given)
                raise BadInput(f"{self.name} needs {missing} too: {offer}", f"add {missing}=VALUE")
            named = {name for group in begun for name in group if name in given}
            if not any(named == set(group) for group in whole):
                raise BadInput(
                    f"{self.name} was given {' and '.join(sorted(named))}; it takes {offer}", "give one way, not two"
                )


def _describe(key: Key) -> str:
    if key.kind == "number":
        return f"{key.meaning}, {key.low:.10g} to {key.high:.10g} {key.unit}"
    return f"{key.meaning}: {', '.join(key.choices)}" if key.choices else key.meaning
