"""One language, ready for use: words to outcomes, values to words, and the grammar that constrains the listeners."""

from __future__ import annotations

import random
from collections.abc import Mapping
from decimal import Decimal
from pathlib import Path

from handsfree.errors import MissingPart
from handsfree.language.aliases import with_aliases
from handsfree.language.automaton import WordAutomaton
from handsfree.language.grammar import Grammar, load_grammar
from handsfree.language.interpret import Interpreter
from handsfree.language.plausible import plausibility
from handsfree.language.sayable import compile_automaton, random_words, spellings_of
from handsfree.language.units import Quantity
from handsfree.model import Expectation, Outcome, Reading, decimal_string

DEFAULT_LANGUAGE = "en-GB"


class Language:
    """The door of this room. Everything is pure; an instance may be shared by threads that only read."""

    def __init__(self, grammar: Grammar) -> None:
        self.grammar = grammar
        self.quantities: Mapping[str, Quantity] = grammar.quantities
        self._interpreter = Interpreter(grammar)
        self._automata: dict[object, WordAutomaton] = {}
        self.spellings: Mapping[tuple[str, ...], tuple[str, ...]] = spellings_of(grammar)
        """words -> other surface forms that a speech model writes for them"""

    def understand(self, words: str, expectation: Expectation = Expectation()) -> Outcome:  # noqa: B008 - frozen
        """The outcome of one utterance, spoken or written. Never raises, whatever the words are."""
        return self._interpreter.understand(words, expectation)

    def plausibility(self, outcome: Outcome, expectation: Expectation) -> float:
        """How likely it is that this is said in answer to the step, in nats against a usual answer: 0 or less."""
        return plausibility(outcome, expectation, self.grammar)

    def say_number(self, value: Decimal) -> str:
        """Spoken words of a finite number; `understand` gives the number back with the same digits."""
        return self.grammar.numbers.say(value)

    def say_digits(self, digits: str) -> str:
        """Digit by digit."""
        return self.grammar.numbers.say_digits(digits)

    def say_reading(self, reading: Reading) -> str:
        """Quantity, qualifier, digits and unit as one read-back ("C O two at maximum, nine point two percent")."""
        value, unit = reading.value, reading.unit
        if reading.spoken_value is not None:
            value, unit = reading.spoken_value, reading.spoken_unit
        parts = []
        if reading.quantity is not None:
            parts.append(self.quantities[reading.quantity].said)
        for qualifier in self.grammar.qualifiers:
            if qualifier.id == reading.qualifier:
                parts.append(qualifier.said)
        named = " ".join(parts)
        number = self.say_number(value)
        spoken = self.grammar.units.by_id.get(unit or "")
        if spoken is not None:
            number += f" {spoken.names[0] if decimal_string(value) == '1' else spoken.plural}"
        return f"{named}, {number}" if named else number

    def automaton(self, expectation: Expectation) -> WordAutomaton:
        """What can be said in answer to a step, deterministic over words; compiled once for each expectation."""
        key = (
            expectation.kind,
            expectation.length,
            tuple((c, tuple(expectation.phrases.get(c, ()))) for c in expectation.choices),
        )
        found = self._automata.get(key)
        if found is None:
            found = self._automata[key] = compile_automaton(self.grammar, expectation)
        return found

    def vocabulary(self, expectation: Expectation) -> tuple[str, ...]:
        """Every word that `automaton` can take, in alphabetical order."""
        return self.automaton(expectation).words()

    def sample(self, rng: random.Random, expectation: Expectation) -> tuple[str, Outcome]:
        """A random sentence of what can be said in answer, and what it comes to."""
        words = " ".join(random_words(self.automaton(expectation), rng))
        return words, self.understand(words, expectation)


def grammar_folder() -> Path:
    """Where the grammars are: in the installed package, or beside it in a checkout.

    Raises:
        MissingPart: neither place holds them.
    """
    package = Path(__file__).resolve().parent.parent
    for folder in (package / "_grammars", package.parent / "grammars"):
        if (folder / DEFAULT_LANGUAGE).is_dir():
            return folder
    raise MissingPart("the grammar files are missing", "install the package again")


def load_language(grammars: Path | None = None, aliases: Path | None = None) -> Language:
    """The language in `grammars` (a folder of one language, or of languages; the package's own by default).

    Args:
        aliases: the engineer's own words; a file that does not exist adds none.

    Raises:
        BadInput: a grammar or alias file is wrong: file, line and what was expected.
        MissingPart: the package's grammars are missing.
    """
    folder = grammars or grammar_folder()
    if (folder / DEFAULT_LANGUAGE).is_dir():
        folder = folder / DEFAULT_LANGUAGE
    grammar = load_grammar(folder)
    return Language(with_aliases(grammar, aliases) if aliases is not None and aliases.exists() else grammar)
