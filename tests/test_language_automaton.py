"""What can be said in answer to a step, for the listeners."""

from __future__ import annotations

import itertools
import random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from handsfree.language import load_language
from handsfree.language.automaton import Net, WordAutomaton, determinised
from handsfree.language.fsg import automaton_to_fsg
from handsfree.language.samples import expectation_of
from handsfree.language.sayable import random_words
from handsfree.model import Expectation, Nothing, Readings, Text

LANGUAGE = load_language()
CHOICE = Expectation("choice", choices=("ok", "worn"), phrases={"ok": ("as new", "all good"), "worn": ("worn out",)})
EXPECTATIONS = [
    Expectation(),
    Expectation("number"),
    Expectation("quantity", "co2"),
    Expectation("quantity", "meter_index"),
    Expectation("digits"),
    Expectation("digits", length=5),
    Expectation("letters"),
    Expectation("letters", length=3),
    Expectation("serial"),
    Expectation("serial", length=7),
    Expectation("date"),
    Expectation("time"),
    Expectation("yes_no"),
    CHOICE,
]


def accepts(words: str, expectation: Expectation) -> bool:
    return LANGUAGE.automaton(expectation).accepts(words.split())


@given(st.sampled_from(EXPECTATIONS), st.integers(0, 2**32))
def test_what_it_accepts_is_understood(expectation: Expectation, seed: int) -> None:
    """Whatever can be said along the automaton comes to an answer or a question, never to nothing, but for "oh"."""
    words, outcome = LANGUAGE.sample(random.Random(seed), expectation)
    assert accepts(words, expectation)
    assert not isinstance(outcome, Nothing) or words == "oh", words


def test_samples_of_the_grammar_are_accepted() -> None:
    """Every sample that listeners should hear is on the automaton of its step."""
    heard = [s for s in LANGUAGE.grammar.samples if s.expect != "numbers" and s.heard]
    assert len(heard) > 20
    for sample in heard:
        expectation = expectation_of(sample.expect, LANGUAGE.quantities)
        assert accepts(sample.words, expectation), sample


@pytest.mark.parametrize(
    ("words", "kind", "accepted"),
    [
        ("c o two nine point two percent", "quantity", True),
        ("flow temperature sixty three over forty six", "quantity", True),
        ("minus point double oh four", "quantity", True),
        ("half a bar", "quantity", True),
        ("three quarters of a bar", "quantity", True),
        ("a bar and a half", "quantity", True),
        ("two and a half", "quantity", True),
        ("no sorry nine point four", "quantity", True),
        ("change the flue temperature to fifty four degrees", "quantity", True),
        ("i can smell gas", "digits", True),
        ("say again", "serial", True),
        ("nine point", "quantity", False),
        ("point", "quantity", False),
        ("bar", "quantity", False),
        ("alfa bravo", "quantity", False),
        ("alfa x ray double four", "serial", True),
        ("double alfa", "letters", True),
        ("alfa four", "letters", False),
        ("oh four double eight", "digits", True),
        ("alfa", "digits", False),
        ("the fifth of march twenty twenty six", "date", True),
        ("march fifth", "date", True),
        ("nine forty five", "time", True),
        ("half past three p m", "time", True),
    ],
)
def test_what_it_holds(words: str, kind: str, accepted: bool) -> None:
    """The automaton of a step holds what people answer, and not what is broken or foreign to it."""
    assert accepts(words, Expectation(kind, "co2" if kind == "quantity" else None)) is accepted  # type: ignore[arg-type]


@given(st.integers(0, 2**32))
def test_a_known_length_is_kept(seed: int) -> None:
    """Where the length of a string is known, every string on the automaton can be read with that length."""
    for expectation in (Expectation("digits", length=5), Expectation("serial", length=7)):
        words, outcome = LANGUAGE.sample(random.Random(seed), expectation)
        if isinstance(outcome, Text):
            assert len(outcome.text) == expectation.length, words


def test_choices_are_on_it() -> None:
    """The phrases of a step's answers can be said."""
    assert all(accepts(p, CHOICE) for phrases in CHOICE.phrases.values() for p in phrases)


@pytest.mark.parametrize("expectation", EXPECTATIONS, ids=lambda e: f"{e.kind}-{e.length}")
def test_it_stays_small(expectation: Expectation) -> None:
    """No step's automaton has more than 3,000 states, and every state leads to an end."""
    automaton = LANGUAGE.automaton(expectation)
    assert 10 < len(automaton) < 3000
    alive = {s for s in range(len(automaton)) if automaton.final(s)}
    while True:
        more = {s for s in range(len(automaton)) if s not in alive and alive.intersection(automaton.arcs(s).values())}
        if not more:
            break
        alive |= more
    assert len(alive) == len(automaton)


def test_it_is_compiled_once() -> None:
    """The same expectation gives the same automaton, whatever its range and qualifier."""
    first = LANGUAGE.automaton(Expectation("quantity", "co2"))
    assert LANGUAGE.automaton(Expectation("quantity", "co", "maximum")) is first


def test_the_vocabulary_is_its_words() -> None:
    """The words for a closed recogniser are those of the automaton, in order, without what nobody should listen for."""
    words = LANGUAGE.vocabulary(Expectation("quantity", "co2"))
    assert list(words) == sorted(set(words))
    assert {"nine", "bar", "percent", "repeat", "gas"} <= set(words)
    assert not {"naught", "niner", "billion", "kettle"} & set(words)


def test_spellings_are_what_is_understood() -> None:
    """Each written form of spoken words is understood as those words are, where they are a value of their own."""
    for words, written in LANGUAGE.spellings.items():
        spoken = LANGUAGE.understand(" ".join(words), Expectation("number"))
        if isinstance(spoken, Readings) and "second" not in words:
            for form in written:
                assert LANGUAGE.understand(form, Expectation("number")) == spoken, (words, form)


def test_spellings_of_figures_have_at_most_two_digits() -> None:
    """Figures but years stand in groups of two at most: speech models lose repeated digits in longer ones."""
    figures = [f for forms in LANGUAGE.spellings.values() for f in forms if f.isdigit()]
    assert len(figures) > 90
    years = [f for f in figures if len(f) == 4 and f.startswith("20")]
    assert all(len(f) <= 2 for f in figures if f not in years)
    assert LANGUAGE.spellings["c", "o", "two"][0] == "CO2"
    assert "52" in LANGUAGE.spellings["fifty", "two"]
    assert "%" in LANGUAGE.spellings[("percent",)]


LETTERS = {"a": ["a"], "b": ["b"], "c": ["c"]}


def automaton_of(form: str) -> WordAutomaton:
    net = Net()
    start, end = net.state(), net.state()
    net.form(start, form, end, LETTERS)
    return determinised(net, start, frozenset((end,)), {})


@pytest.mark.parametrize("form", ["a", "ab?c", "(a|bc)+", "[ab]*c", "a(b|c)*a?", "(ab?|c)+b", "((a|b)(c|a))?b"])
def test_forms_mean_what_regular_expressions_mean(form: str) -> None:
    """An automaton takes exactly the strings that the regular expression matches."""
    import re

    automaton = automaton_of(form)
    for length in range(6):
        for word in itertools.product("abc", repeat=length):
            assert automaton.accepts(word) is (re.fullmatch(form, "".join(word)) is not None), word


def test_the_way_to_the_end_is_known() -> None:
    """Every state knows how many words the nearest end is away."""
    automaton = automaton_of("aab|c(ab)*")
    assert automaton.distances()[automaton.start] == 1
    assert max(automaton.distances()) == 2
    assert automaton.distances() is automaton.distances()


@given(st.integers(0, 2**32))
def test_samples_come_to_an_end(seed: int) -> None:
    """A random sentence ends soon, also where the grammar has loops."""
    words = random_words(automaton_of("(a|b)*(cb)*abc"), random.Random(seed), most=5)
    assert len(words) <= 5 + 5


def test_it_is_minimal() -> None:
    """States that nothing tells apart are one."""
    assert len(automaton_of("(aa|ba|ca)b")) == 4


def test_a_form_that_does_not_read_is_refused() -> None:
    """A form with a bracket too many is a mistake of the program and raises."""
    with pytest.raises(ValueError, match="does not read"):
        automaton_of("a)b")


# ------------------------------------------------------------------------------------------------ hyphens and grammars


def test_a_hyphen_in_an_answer_parts_two_words() -> None:
    """No listener has a sound for "let-by": the answer is listened for, and found, as the two words that are said."""
    expectation = Expectation("choice", choices=("set",), phrases={"set": ("set for let-by",)})
    assert accepts("set for let by", expectation)
    assert LANGUAGE.understand("set for let by", expectation) == Text("set", "choice")
    assert LANGUAGE.understand("set for let-by", expectation) == Text("set", "choice")
    assert not [word for word in LANGUAGE.vocabulary(expectation) if "-" in word]


class ReadGrammar:
    """A Sphinx grammar read back, walked without determinising it."""

    def __init__(self, text: str) -> None:
        head, *rows, foot = text.splitlines()
        assert (head.split()[0], foot) == ("FSG_BEGIN", "FSG_END")
        cells = [row.split() for row in rows]
        self.count, self.start, self.final = (int(row[1]) for row in cells[:3])
        self.arcs: dict[int, list[tuple[str, int]]] = {}
        self.chances: dict[int, float] = {}
        for _, source, target, chance, *word in cells[3:]:
            assert max(int(source), int(target)) < self.count
            self.arcs.setdefault(int(source), []).append((word[0] if word else "", int(target)))
            self.chances[int(source)] = self.chances.get(int(source), 0.0) + float(chance)

    def accepts(self, words: list[str]) -> bool:
        states = {self.start}
        for word in words:
            states = {to for state in states for label, to in self.arcs.get(state, ()) if label == word}
        return any(("", self.final) in self.arcs.get(state, ()) for state in states)


@pytest.mark.parametrize("expectation", [Expectation(), Expectation("date"), Expectation("digits", length=5), CHOICE])
def test_a_sphinx_grammar_accepts_the_same(expectation: Expectation) -> None:
    """What is written out and read back accepts the same sentences, whole, shortened and shuffled; chances add up."""
    automaton = LANGUAGE.automaton(expectation)
    grammar = ReadGrammar(automaton_to_fsg(automaton))
    assert all(abs(chance - 1) < 0.001 for chance in grammar.chances.values())
    rng = random.Random(5)
    seen = set()
    for _ in range(300):
        words = random_words(automaton, rng)
        for tried in (words, words[:-1], words[1:], rng.sample(words, len(words))):
            seen.add(automaton.accepts(tried))
            assert grammar.accepts(list(tried)) == automaton.accepts(tried), tried
    assert seen == {True, False}
