"""The engineer's own words in ("the bottle" = vessel_charge), a grammar that knows them out; checked for clashes.

The file is TOML: a table [words] of phrase = "id of a quantity or a command".
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from pathlib import Path

from handsfree.errors import BadInput
from handsfree.language.grammar import Grammar
from handsfree.language.phrases import THRESHOLD, LikePhrases

_PHRASE = re.compile(r"[a-z']+( [a-z']+)*")


def with_aliases(grammar: Grammar, path: Path) -> Grammar:
    """The grammar with the words of an alias file added.

    Raises:
        BadInput: the file does not read, a phrase is none, its meaning is unknown, or it clashes: it means something
            else already, sounds like something else, or holds a number word. The message names file, line and what
            was expected.
    """
    try:
        text = path.read_text(encoding="utf-8")
        table = tomllib.loads(text)
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        raise BadInput(f"word file {path}: {error}", "mend the line; the file is TOML in UTF-8") from None
    words = table.get("words", {})
    if not isinstance(words, dict) or set(table) - {"words"}:
        raise BadInput(
            f"word file {path}: only a table [words] is known", 'write [words], then "the bottle" = "vessel_charge"'
        )
    known = _meanings(grammar)
    aliases: dict[str, str] = {}
    for phrase, meaning in words.items():
        problem = _problem(grammar, known, phrase, meaning)
        if problem:
            raise BadInput(f"word file {path}, line {line_of(text, phrase)}: {problem[0]}", problem[1])
        aliases[phrase] = str(meaning)
        known.setdefault(phrase, set()).add(str(meaning))
    quantities = {id: replace(q, names=q.names + _phrases_for(aliases, id)) for id, q in grammar.quantities.items()}
    commands = tuple(replace(c, phrases=c.phrases + _phrases_for(aliases, c.id)) for c in grammar.commands)
    return replace(grammar, quantities=quantities, commands=commands, aliases=aliases)


def _meanings(grammar: Grammar) -> dict[str, set[str]]:
    """Every phrase that has a meaning of its own, or several."""
    known: dict[str, set[str]] = {}
    for meaning, phrases in _phrases(grammar):
        for phrase in phrases:
            known.setdefault(phrase, set()).add(meaning)
    return known


def _phrases(grammar: Grammar) -> Iterator[tuple[str, Iterable[str]]]:
    for command in grammar.commands:
        yield command.id, (*command.phrases, *command.asked)
    for quantity in grammar.quantities.values():
        yield quantity.id, (*quantity.names, *quantity.shared, *quantity.zero)
    for unit in grammar.units.by_id.values():
        yield unit.id, (*unit.names, *unit.short)
    for qualifier in grammar.qualifiers:
        yield qualifier.id, qualifier.names
    for generic in grammar.generics:
        yield f"any {generic.dimension}", generic.names
    yield "a word said with values", (*grammar.fillers, *grammar.separators, *grammar.below, *grammar.nothing)
    yield "a word that makes a value uncertain", grammar.hedges
    yield "a number word", (*grammar.numbers.classes, *grammar.numbers.ordinals, *grammar.homophones)


def _phrases_for(aliases: Mapping[str, str], meaning: str) -> tuple[str, ...]:
    phrases = [phrase for phrase, of in aliases.items() if of == meaning]
    return tuple(dict.fromkeys(p for phrase in phrases for p in (phrase, phrase.removeprefix("the "))))


def _problem(grammar: Grammar, known: Mapping[str, set[str]], phrase: str, meaning: object) -> tuple[str, str] | None:
    """(what is wrong, what to do), or None."""
    if not _PHRASE.fullmatch(phrase):
        return f"{phrase!r} is no phrase", "use lower case words, one space between, no figures"
    ids = sorted({*grammar.quantities, *(c.id for c in grammar.commands)})
    if meaning not in ids:
        hint = f"{_nearest(str(meaning), ids, known)}handsfree grammar list shows what can stand there"
        return f"{phrase!r}: {meaning!r} is neither a quantity nor a command", hint
    written = [w for w in phrase.split() if w in grammar.written]
    if written:
        spoken = grammar.written[written[0]]
        return f"{phrase!r} cannot be heard: {written[0]!r} is said {spoken!r}", f"write {spoken!r} in it"
    numbers = [w for w in phrase.split() if w in grammar.numbers.classes and grammar.numbers.classes[w] not in "a&"]
    if numbers:
        return f"{phrase!r} holds the number word {numbers[0]!r}", "a name must not swallow a digit: use other words"
    own = known.get(phrase, {meaning})
    if own != {meaning}:
        return f"{phrase!r} means {' or '.join(sorted(map(str, own)))} already", "use other words"
    others = ((p, m) for p, meanings in known.items() for m in meanings if m != meaning)
    found = LikePhrases(others, grammar.sounds).find(phrase)
    if found is not None and found.score >= THRESHOLD:
        return f"{phrase!r} sounds like a phrase for {found.meaning}", "use words that sound different"
    return None


def _nearest(meaning: str, ids: Sequence[str], known: Mapping[str, set[str]]) -> str:
    """ "did you mean ...? ", from a name or a slip; empty when nothing is near."""
    from rapidfuzz import fuzz, process  # late: only to help with a slip

    named = [m for m in known.get(meaning, ()) if m in ids]
    near = process.extractOne(meaning.replace(" ", "_"), ids, scorer=fuzz.ratio, score_cutoff=70)
    found = named or ([near[0]] if near else [])
    return f"did you mean {' or '.join(sorted(found))}? " if found else ""


def line_of(text: str, phrase: str) -> int:
    """Number of the line of a word file on which a phrase stands; 1 when it is written in another way."""
    for number, line in enumerate(text.splitlines(), 1):
        if line.lstrip().removeprefix('"').startswith(phrase):
            return number
    return 1
