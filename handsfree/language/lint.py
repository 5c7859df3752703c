"""A grammar in, what is wrong with it out: phrases that cannot be reached or sound alike, failing samples."""

from __future__ import annotations

from collections.abc import Container, Iterator
from dataclasses import dataclass
from pathlib import Path

from handsfree.language.aliases import line_of
from handsfree.language.grammar import Grammar, Sample
from handsfree.language.language import Language
from handsfree.language.phrases import THRESHOLD, LikePhrases
from handsfree.language.samples import expectation_of, outcome_line
from handsfree.model import Expectation, decimal_string


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing that is wrong."""

    where: str
    """file, and line where one is known"""
    what: str


def lint(language: Language, pronounced: Container[str] | None = None) -> tuple[Finding, ...]:
    """Everything that is wrong with a language's grammar; empty when it is sound.

    Args:
        pronounced: the words for which a listener has a pronunciation; None leaves that check out.
    """
    grammar = language.grammar
    findings = [_located(grammar, f) for f in (*_unreachable(grammar), *_alike(grammar))]
    findings += _failing_samples(language)
    if pronounced is not None:
        own = {word for phrase in grammar.aliases for word in phrase.split()}
        words = (w for w in language.vocabulary(Expectation("quantity")) if w not in own)
        findings += [Finding(str(grammar.folder), f"{w!r} has no pronunciation") for w in words if w not in pronounced]
    return tuple(findings)


def own_words_without_a_sound(language: Language, file: Path, pronounced: Container[str]) -> tuple[Finding, ...]:
    """The engineer's own words that the small speech model has no pronunciation for.

    Args:
        file: where they stand.
        pronounced: the words that it knows.
    """
    advice = "the small speech model cannot hear it and leaves it out; the other two listeners can. Another word has all three"
    return tuple(
        Finding(f"{file}, line {line_of(file.read_text(encoding='utf-8'), phrase)}", f"{word!r}: {advice}")
        for phrase in language.grammar.aliases
        for word in sorted(set(phrase.split()))
        if word not in pronounced
    )


def _located(grammar: Grammar, finding: Finding) -> Finding:
    """The finding with the line where its phrase stands last: the later entry is the one that clashes."""
    phrase = finding.what.split("'")[1] if finding.what.startswith("'") else finding.what.split('"')[1]
    lines = (grammar.folder / finding.where).read_text(encoding="utf-8").splitlines()
    at = [number for number, line in enumerate(lines, 1) if f'"{phrase}"' in line]
    return Finding(f"{finding.where}, line {at[-1]}", finding.what) if at else finding


def _unreachable(grammar: Grammar) -> Iterator[Finding]:
    """Phrases that something else takes first."""
    meanings: dict[str, str] = {}
    for command in grammar.commands:
        for phrase in command.phrases:
            other = meanings.setdefault(phrase, command.id)
            if other != command.id:
                yield Finding("commands.toml", f"{phrase!r} is {other} already, {command.id} cannot be reached by it")
    names: dict[str, str] = {}
    for quantity in grammar.quantities.values():
        for name in quantity.names:
            other = names.setdefault(name, quantity.id)
            if other != quantity.id:
                yield Finding("quantities.toml", f"{name!r} is {other} already, make it a shared name")
            if name in meanings:
                yield Finding("quantities.toml", f"{name!r} is the command {meanings[name]} already")
    for phrase in (*meanings, *names):
        for word in phrase.split():
            if word in grammar.written:
                yield Finding("traps.toml", f"{phrase!r} cannot be reached: {word!r} is rewritten")
    units: dict[str, str] = {}
    for unit in grammar.units.by_id.values():
        for name in unit.names:
            other = units.setdefault(name, unit.id)
            if other != unit.id:
                yield Finding("units.toml", f"{name!r} is {other} already, make it short in both")


def _alike(grammar: Grammar) -> Iterator[Finding]:
    """Phrases that are live together, mean different things and sound so alike that a slip turns one into another."""
    commands = [(p, c.id) for c in grammar.commands for p in c.phrases]
    names = [(n, q.id) for q in grammar.quantities.values() for n in q.names]
    allowed = {frozenset(pair) for pair in grammar.may_sound_alike}
    for file, rows in (("commands.toml", commands), ("quantities.toml", names)):
        for phrase, meaning in rows:
            others = LikePhrases((r for r in rows if r[1] != meaning), grammar.sounds)
            found = others.find(phrase)
            if found is None or found.score < THRESHOLD or frozenset((meaning, found.meaning)) in allowed:
                continue
            yield Finding(file, f"{phrase!r} ({meaning}) sounds like a phrase for {found.meaning}: {found.score:.0f}")


def _failing_samples(language: Language) -> Iterator[Finding]:
    for sample in language.grammar.samples:
        got = result_of(language, sample)
        if got != sample.outcome:
            yield Finding(
                f"{sample.file.name}, line {sample.line}", f"{sample.words!r} gives {got}, not {sample.outcome}"
            )


def result_of(language: Language, sample: Sample) -> str:
    """What a sample comes to, as it stands in the grammar files."""
    if sample.expect == "numbers":
        readings = language.grammar.numbers.parse(sample.words.split())
        return " | ".join(decimal_string(r.value) for r in readings)
    return outcome_line(language.understand(sample.words, expectation_of(sample.expect, language.quantities)))
