"""Grammar files in, checked tables and the samples in them out."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from decimal import Decimal, InvalidOperation
from pathlib import Path
from typing import Any

from handsfree.errors import BadInput
from handsfree.language.numbers import Numbers
from handsfree.language.phrases import Sounds
from handsfree.language.units import Quantity, Unit, Units

FILES = ("numbers", "units", "quantities", "commands", "letters", "dates", "traps", "sounds")
_WORDS = re.compile(r"[a-z']+( [a-z']+)*")


@dataclass(frozen=True, slots=True)
class SpokenCommand:
    """A command and its phrases."""

    id: str
    takes: str
    """empty, "value", "target" or "words": what may follow in the same breath"""
    phrases: tuple[str, ...]
    before: tuple[str, ...]
    """phrases behind which that may follow"""
    emergency: bool = False
    by_likeness: bool = True
    """False: asked, never taken, when it was only nearly said"""
    asked: tuple[str, ...] = ()
    """phrases that may mean it or may be talk: asked, never taken"""


@dataclass(frozen=True, slots=True)
class Qualifier:
    """The run or state that a value belongs to."""

    id: str
    said: str
    names: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class GenericName:
    """A name that tells no more than the dimension."""

    names: tuple[str, ...]
    dimension: str


@dataclass(frozen=True, slots=True)
class Sample:
    """A sentence with what it must come to."""

    words: str
    outcome: str
    """as `language.samples.outcome_line` writes it; for numbers.toml the readings joined by " | " """
    expect: str
    """as on the command line: any, number, digits ..., or a quantity"""
    heard: bool
    """whether listeners must be able to hear it; False for talk that only has to be understood rightly"""
    file: Path
    line: int


@dataclass(frozen=True, slots=True)
class Grammar:
    """One language, loaded."""

    folder: Path
    numbers: Numbers
    units: Units
    quantities: Mapping[str, Quantity]
    qualifiers: tuple[Qualifier, ...]
    generics: tuple[GenericName, ...]
    commands: tuple[SpokenCommand, ...]
    denials: frozenset[str]
    """words that deny an emergency"""
    fillers: tuple[str, ...]
    separators: tuple[str, ...]
    hedges: tuple[str, ...]
    nothing: tuple[str, ...]
    below: tuple[str, ...]
    """phrases that make the value before them negative"""
    announce: tuple[str, ...]
    """fillers that announce a reading"""
    remarks: tuple[str, ...]
    """fillers behind which a qualifier may be a remark"""
    unfinished: tuple[str, ...]
    """phrases that never end what is said"""
    pairs: tuple[tuple[str, str], ...]
    alike: tuple[tuple[tuple[str, ...], frozenset[str]], ...]
    """groups of quantity ids that listeners take for one another, and their names that cannot be mistaken"""
    letters: Mapping[str, str]
    """word -> letter or mark"""
    letter_lead_ins: tuple[str, ...]
    dates: Mapping[str, Any]
    homophones: Mapping[str, str]
    """word -> the number word that it sounds like"""
    sounds_like_unit: Mapping[str, str]
    """word -> the short unit that it sounds like behind a number"""
    written: Mapping[str, str]
    """word as a listener or a keyboard writes it -> spoken words"""
    sounds: Sounds
    """how spelling sounds"""
    not_listened_for: frozenset[str]
    """number words and letters that `understand` takes but no listener needs"""
    may_sound_alike: tuple[tuple[str, str], ...]
    """pairs of meanings whose phrases may sound alike, because something else keeps them apart"""
    samples: tuple[Sample, ...]
    aliases: Mapping[str, str] = field(default_factory=dict)
    """the engineer's own words -> quantity or command id"""


class _File:
    """One grammar file with located complaints."""

    def __init__(self, path: Path) -> None:
        self.path = path
        try:
            self.text = path.read_text(encoding="utf-8")
            self.table = tomllib.loads(self.text)
        except FileNotFoundError:
            raise BadInput(
                f"grammar file {path} does not exist", "a language is a folder with all of its files"
            ) from None
        except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
            raise BadInput(f"grammar file {path}: {error}", "mend the line; the file is TOML in UTF-8") from None

    def line_of(self, table: str, index: int = 0) -> int:
        """Line number of the `index`-th [table] or [[table]]."""
        found = -1
        for number, line in enumerate(self.text.splitlines(), 1):
            if line.strip().startswith((f"[[{table}]]", f"[{table}]")):
                found += 1
                if found == index:
                    return number
        return 1

    def bad(self, table: str, index: int, what: str, hint: str) -> BadInput:
        return BadInput(f"grammar file {self.path}, line {self.line_of(table, index)}: [{table}] {what}", hint)

    def rows(self, table: str) -> Iterator[tuple[int, Mapping[str, Any]]]:
        rows = self.table.get(table, [])
        if not isinstance(rows, list) or not all(isinstance(row, dict) for row in rows):
            raise self.bad(table, 0, "must be a list of tables", f"write [[{table}]]")
        return enumerate(rows)

    def section(self, table: str) -> Mapping[str, Any]:
        row = self.table.get(table)
        if not isinstance(row, dict):
            raise BadInput(f"grammar file {self.path}: [{table}] is missing", f"add a [{table}] table")
        return row

    def text_of(self, table: str, index: int, row: Mapping[str, Any], key: str, default: str | None = None) -> str:
        value = row.get(key, default)
        if not isinstance(value, str) or (default is None and not value):
            raise self.bad(table, index, f"{key} must be a text", f'add {key} = "..."')
        return value

    def words_of(self, table: str, index: int, row: Mapping[str, Any], key: str, need: bool = False) -> tuple[str, ...]:
        value = row.get(key, [])
        if not isinstance(value, list) or (need and not value):
            raise self.bad(table, index, f"{key} must be a list of phrases", f'add {key} = ["..."]')
        for phrase in value:
            if not isinstance(phrase, str) or not _WORDS.fullmatch(phrase):
                raise self.bad(
                    table, index, f"{key}: {phrase!r} is no phrase", "use lower case words, one space between"
                )
        return tuple(value)

    def number_of(self, table: str, index: int, value: object, key: str) -> Decimal:
        try:
            if not isinstance(value, str):
                raise InvalidOperation
            return Decimal(value)
        except InvalidOperation:
            raise self.bad(table, index, f"{key}: {value!r} is no number", 'write it in quotes: "0.5"') from None

    def range_of(self, table: str, index: int, row: Mapping[str, Any], key: str) -> tuple[Decimal, Decimal] | None:
        value = row.get(key)
        if value is None:
            return None
        if not isinstance(value, list) or len(value) != 2:
            raise self.bad(table, index, f"{key} must be two numbers", f'write {key} = ["0", "10"]')
        low, high = (self.number_of(table, index, v, key) for v in value)
        if low > high:
            raise self.bad(table, index, f"{key}: {low} is above {high}", "put the lower number first")
        return low, high


def load_grammar(folder: Path) -> Grammar:
    """The grammar of one language.

    Raises:
        BadInput: a file is missing or wrong; the message names file, line and what was expected.
    """
    files = {name: _File(folder / f"{name}.toml") for name in FILES}
    numbers = _load_numbers(files["numbers"])
    units = _load_units(files["units"])
    quantities = files["quantities"]
    around = quantities.section("around")
    commands = files["commands"]
    letters = files["letters"]
    traps = files["traps"]

    def around_words(key: str) -> tuple[str, ...]:
        return quantities.words_of("around", 0, around, key)

    return Grammar(
        folder=folder,
        numbers=numbers,
        units=units,
        quantities=_load_quantities(quantities, units),
        qualifiers=tuple(
            Qualifier(
                quantities.text_of("qualifier", i, row, "id"),
                quantities.text_of("qualifier", i, row, "said"),
                quantities.words_of("qualifier", i, row, "names", need=True),
            )
            for i, row in quantities.rows("qualifier")
        ),
        generics=tuple(
            GenericName(
                quantities.words_of("generic", i, row, "names", need=True),
                quantities.text_of("generic", i, row, "dimension"),
            )
            for i, row in quantities.rows("generic")
        ),
        commands=_load_commands(commands),
        denials=frozenset(commands.words_of("emergency", 0, commands.section("emergency"), "denials", need=True)),
        fillers=around_words("fillers"),
        separators=around_words("separators"),
        hedges=around_words("hedges"),
        nothing=around_words("nothing"),
        below=around_words("below"),
        announce=around_words("announce"),
        remarks=around_words("remarks"),
        unfinished=around_words("unfinished"),
        pairs=tuple((str(first), str(second)) for first, second in around.get("pairs", [])),
        alike=tuple(
            (tuple(row["quantities"]), frozenset(quantities.words_of("alike", i, row, "clear")))
            for i, row in quantities.rows("alike")
        ),
        letters=_load_letters(letters),
        letter_lead_ins=letters.words_of("spelling", 0, letters.section("spelling"), "lead_ins"),
        dates=files["dates"].table,
        homophones=_load_homophones(traps, numbers),
        sounds_like_unit=_load_spoken(traps, "sounds_like_unit"),
        written=_load_spoken(traps, "written"),
        sounds=_load_sounds(files["sounds"]),
        not_listened_for=frozenset(traps.words_of("listening", 0, traps.section("listening"), "leave_out")),
        may_sound_alike=tuple(
            (str(a), str(b)) for a, b in files["sounds"].section("sounds").get("may_sound_alike", [])
        ),
        samples=tuple(sample for file in files.values() for sample in _load_samples(file)),
    )


def _load_numbers(file: _File) -> Numbers:
    for table in ("digits", "zeros", "teens", "tens", "scales", "repeats", "fractions", "signs", "joints", "ordinals"):
        file.section(table)
    try:
        return Numbers(file.table)
    except (KeyError, TypeError, AttributeError, ValueError) as error:
        raise BadInput(
            f"grammar file {file.path}: {error!r} does not fit", "compare with the file as it came"
        ) from None


def _load_units(file: _File) -> Units:
    units: dict[str, Unit] = {}
    for i, row in file.rows("unit"):
        names = file.words_of("unit", i, row, "names", need=True)
        unit = Unit(
            id=file.text_of("unit", i, row, "id"),
            dimension=file.text_of("unit", i, row, "dimension"),
            factor=file.number_of("unit", i, row.get("factor"), "factor"),
            names=names,
            plural=file.text_of("unit", i, row, "plural", names[0]),
            short=file.words_of("unit", i, row, "short"),
            written=tuple(row.get("written", ())),
            heard=file.words_of("unit", i, row, "heard"),
        )
        if unit.id in units:
            raise file.bad("unit", i, f"{unit.id} is there twice", "keep one")
        if unit.factor <= 0:
            raise file.bad("unit", i, f"factor: {unit.factor} must be above zero", "give the factor to the base unit")
        units[unit.id] = unit
    return Units(units)


def _load_quantities(file: _File, units: Units) -> Mapping[str, Quantity]:
    quantities: dict[str, Quantity] = {}
    for i, row in file.rows("quantity"):
        hard = file.range_of("quantity", i, row, "hard")
        typical = file.range_of("quantity", i, row, "typical")
        if hard is None or typical is None:
            raise file.bad("quantity", i, "needs hard and typical", 'write hard = ["0", "10"]')
        decimals = row.get("decimals")
        if type(decimals) is not int or not 0 <= decimals <= 6:
            raise file.bad("quantity", i, "decimals must be a whole number from 0 to 6", "add decimals = 1")
        quantity = Quantity(
            id=file.text_of("quantity", i, row, "id"),
            unit=file.text_of("quantity", i, row, "unit"),
            said=file.text_of("quantity", i, row, "said"),
            names=file.words_of("quantity", i, row, "names", need=True),
            hard_low=hard[0],
            hard_high=hard[1],
            typical_low=typical[0],
            typical_high=typical[1],
            decimals=decimals,
            shared=file.words_of("quantity", i, row, "shared"),
            zero=file.words_of("quantity", i, row, "zero"),
            digit_by_digit=bool(row.get("digits", False)),
            written=tuple(row.get("written", ())),
            heard=file.words_of("quantity", i, row, "heard"),
            scales=_load_scales(file, i, row, units),
            hard_lpg=file.range_of("quantity", i, row, "hard_lpg"),
            typical_lpg=file.range_of("quantity", i, row, "typical_lpg"),
        )
        if quantity.id in quantities:
            raise file.bad("quantity", i, f"{quantity.id} is there twice", "keep one")
        if quantity.unit != "-" and quantity.unit not in units.by_id:
            raise file.bad("quantity", i, f"unit {quantity.unit!r} is not in units.toml", "add the unit there first")
        if not (quantity.hard_low <= quantity.typical_low and quantity.typical_high <= quantity.hard_high):
            raise file.bad("quantity", i, "typical reaches beyond hard", "widen hard or narrow typical")
        quantities[quantity.id] = quantity
    return quantities


def _load_scales(file: _File, index: int, row: Mapping[str, Any], units: Units) -> tuple[str, ...]:
    scales, own = row.get("scales", []), str(row.get("unit"))
    fit = isinstance(scales, list) and all(
        s in units.by_id and own in units.by_id and units.fits(s, own) for s in scales
    )
    if not fit:
        raise file.bad("quantity", index, f"scales: {scales!r} must be units like its own", 'write scales = ["kohm"]')
    return tuple(scales)


def _load_commands(file: _File) -> tuple[SpokenCommand, ...]:
    commands = []
    for i, row in file.rows("command"):
        takes = file.text_of("command", i, row, "takes", "")
        if takes not in ("", "value", "target", "words"):
            raise file.bad("command", i, f"takes: {takes!r} is not known", "use value, target or words")
        commands.append(
            SpokenCommand(
                id=file.text_of("command", i, row, "id"),
                takes=takes,
                phrases=file.words_of("command", i, row, "phrases", need=True),
                before=file.words_of("command", i, row, f"before_{takes}") if takes else (),
                by_likeness=bool(row.get("by_likeness", True)),
                asked=file.words_of("command", i, row, "asked"),
                emergency=bool(row.get("emergency", False)),
            )
        )
    return tuple(commands)


def _load_letters(file: _File) -> Mapping[str, str]:
    letters: dict[str, str] = {}
    for table in ("plain", "code", "marks"):
        for word, letter in file.section(table).items():
            if not isinstance(letter, str) or len(letter) != 1:
                raise file.bad(table, 0, f"{word}: {letter!r} must be one character", 'write bravo = "B"')
            letters[word] = letter
    return letters


def _load_homophones(file: _File, numbers: Numbers) -> Mapping[str, str]:
    homophones = _load_spoken(file, "homophones")
    for word, number in homophones.items():
        if number not in numbers.classes:
            raise file.bad("homophones", 0, f"{word}: {number!r} is no number word", "use a word of numbers.toml")
    return homophones


def _load_spoken(file: _File, table: str) -> Mapping[str, str]:
    for word, spoken in file.section(table).items():
        if not isinstance(spoken, str):
            raise file.bad(table, 0, f"{word}: {spoken!r} must be spoken words", 'write ppm = "p p m"')
    return dict(file.section(table))


def _load_sounds(file: _File) -> Sounds:
    rules = file.section("sounds").get("rules", [])
    for rule in rules:
        if not (isinstance(rule, list) and len(rule) == 2 and all(isinstance(part, str) for part in rule) and rule[0]):
            raise file.bad("sounds", 0, f"{rule!r} is no rule", 'write ["ph", "f"]')
    sounds = file.section("sounds")
    return Sounds(
        ((str(written), str(sounded)) for written, sounded in rules),
        file.words_of("sounds", 0, sounds, "negations"),
        file.words_of("sounds", 0, sounds, "negating_prefixes"),
    )


def _load_samples(file: _File) -> Iterator[Sample]:
    for i, row in file.rows("sample"):
        outcome = " | ".join(row["readings"]) if "readings" in row else file.text_of("sample", i, row, "outcome")
        yield Sample(
            words=file.text_of("sample", i, row, "words"),
            outcome=outcome,
            expect=file.text_of("sample", i, row, "expect", "numbers" if "readings" in row else "any"),
            heard=bool(row.get("heard", True)),
            file=file.path,
            line=file.line_of("sample", i),
        )
