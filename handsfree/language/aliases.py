"""The engineer's own words in ("the bottle" = vessel_charge), a grammar that knows them out; checked for clashes.

The file is TOML: a table [words] of phrase = "id of a quantity or a command".
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
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
    like = LikePhrases(known.items(), grammar.sounds)
    aliases = {}
    for phrase, meaning in words.items():
        problem = _problem(grammar, known, like, phrase, meaning)
        if problem:
            raise BadInput(f"word file {path}, line {_line_of(text, phrase)}: {problem[0]}", problem[1])
        aliases[phrase] = str(meaning)
    quantities = {id: replace(q, names=q.names + _phrases_for(aliases, id)) for id, q in grammar.quantities.items()}
    commands = tuple(replace(c, phrases=c.phrases + _phrases_for(aliases, c.id)) for c in grammar.commands)
    return replace(grammar, quantities=quantities, commands=commands, aliases=aliases)


def _meanings(grammar: Grammar) -> dict[str, str]:
    """Every phrase that has a meaning of its own."""
    known = {phrase: c.id for c in grammar.commands for phrase in c.phrases}
    known |= {name: q.id for q in grammar.quantities.values() for name in (*q.names, *q.shared)}
    known |= {name: u.id for u in grammar.units.by_id.values() for name in (*u.names, *u.short)}
    known |= {name: q.id for q in grammar.qualifiers for name in q.names}
    return known


def _phrases_for(aliases: Mapping[str, str], meaning: str) -> tuple[str, ...]:
    phrases = [phrase for phrase, of in aliases.items() if of == meaning]
    return tuple(dict.fromkeys(p for phrase in phrases for p in (phrase, phrase.removeprefix("the "))))


def _problem(
    grammar: Grammar, known: Mapping[str, str], like: LikePhrases, phrase: str, meaning: object
) -> tuple[str, str] | None:
    """(what is wrong, what to do), or None."""
    ids = {*grammar.quantities, *(c.id for c in grammar.commands)}
    if not _PHRASE.fullmatch(phrase):
        return f"{phrase!r} is no phrase", "use lower case words, one space between, no figures"
    if meaning not in ids:
        return f"{phrase!r}: {meaning!r} is neither a quantity nor a command", f"use one of {', '.join(sorted(ids))}"
    numbers = [w for w in phrase.split() if w in grammar.numbers.classes and grammar.numbers.classes[w] not in "a&"]
    if numbers:
        return f"{phrase!r} holds the number word {numbers[0]!r}", "a name must not swallow a digit: use other words"
    if known.get(phrase, meaning) != meaning:
        return f"{phrase!r} means {known[phrase]} already", "use other words"
    found = like.find(phrase)
    if found is not None and found.meaning != meaning and found.score >= THRESHOLD:
        return f"{phrase!r} sounds like a phrase for {found.meaning}", "use words that sound different"
    return None


def _line_of(text: str, phrase: str) -> int:
    for number, line in enumerate(text.splitlines(), 1):
        if line.lstrip().removeprefix('"').startswith(phrase):
            return number
    return 1
