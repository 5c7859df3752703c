"""The grammar as a speech model writes it: what is let through, what it stands for, and what is kept out."""

from __future__ import annotations

import random

import pytest

from handsfree.language import load_language
from handsfree.listeners.spelling import Surfaces, spellings_for
from handsfree.listeners.tokens import SurfaceAutomaton, TokenGrammar, TokenTrie
from handsfree.model import Expectation, Readings, Text

LANGUAGE = load_language()
SURFACES = Surfaces(LANGUAGE)
ANY, DIGITS, SERIAL = Expectation(), Expectation("digits"), Expectation("serial")

WRITTEN = [
    ("CO2 9.2%", "c o two nine point two percent"),
    ("CO2: 9.2 %.", "c o two nine point two percent"),
    ("Carbon dioxide, 9.2 percent", "carbon dioxide nine point two percent"),
    ("Flow temperature 65 degrees.", "flow temperature sixty five degrees"),
    ("Mains voltage 230 volts", "mains voltage two hundred and thirty volts"),
    ("Mains voltage 205 volts", "mains voltage two hundred and five volts"),
    ("200 volts", "two hundred volts"),
    ("2000 rpm", "two thousand r p m"),
    ("2,010 rpm", "two thousand and ten r p m"),
    ("Sensor resistance 21,478 ohms", "sensor resistance twenty one thousand four hundred and seventy eight ohms"),
    ("0.0026", "nought point nought nought two six"),
    (".5 millibar", "point five millibar"),
    ("I can smell gas!", "i can smell gas"),
    ("No, 9.4", "no nine point four"),
]


def walk(grammar: SurfaceAutomaton, text: str) -> int | None:
    """The state behind `text`, or None when the grammar does not let it through."""
    state: int | None = grammar.start
    for letter in text:
        if state is None:
            return None
        state = grammar.moves(state).get(letter)
    return state


@pytest.mark.parametrize(("written", "spoken"), WRITTEN)
def test_what_a_model_writes_means_what_was_said(written: str, spoken: str) -> None:
    """Figures, signs and capitals come to the same outcome as the spoken words."""
    surface = SURFACES.surface(ANY)
    state = walk(surface, written)
    assert state is not None
    assert surface.final(state)
    wanted = LANGUAGE.understand(spoken)
    assert wanted in [LANGUAGE.understand(" ".join(words)) for words in surface.words_of(written)]


@pytest.mark.parametrize(
    ("written", "expectation"),
    [
        ("524954", DIGITS),
        ("5249 54", DIGITS),
        ("230", DIGITS),
        ("did you see the match", ANY),
        ("nine point", ANY),
        ("9.", ANY),
        ("2 30~", ANY),
        ("yesno", ANY),
        ("1.2.3", ANY),
        ("", ANY),
    ],
)
def test_what_is_not_in_the_grammar_is_kept_out(written: str, expectation: Expectation) -> None:
    """Long groups of figures in digit strings, talk, and half-said numbers are no complete text of the grammar."""
    surface = SURFACES.surface(expectation)
    state = walk(surface, written)
    meant = [LANGUAGE.understand(" ".join(w), expectation) for w in surface.words_of(written)]
    assert (
        state is None
        or not surface.final(state)
        or not any(isinstance(m, Readings | Text) for m in meant)
        or (written == "9.")
    )


@pytest.mark.parametrize("kind", ["any", "digits", "serial", "date", "time"])
def test_every_sentence_of_the_language_is_let_through(kind: str) -> None:
    """Whatever the language can take, a listener can hear, word for word."""
    expectation = Expectation(kind)  # type: ignore[arg-type]
    surface = SURFACES.surface(expectation)
    rng = random.Random(5)
    for _ in range(60):
        sentence, _outcome = LANGUAGE.sample(rng, expectation)
        state = walk(surface, sentence)
        assert state is not None, sentence
        assert surface.final(state), sentence
        assert tuple(sentence.split()) in surface.words_of(sentence, most=40), sentence


def test_figures_of_a_digit_string_stand_in_pairs_at_most() -> None:
    """ "52 14 9" is five two one four nine; nothing longer hides a lost digit."""
    surface = SURFACES.surface(DIGITS)
    meant = {LANGUAGE.understand(" ".join(w), DIGITS) for w in surface.words_of("52 14 9")}
    assert Text("52149", "digits") in meant


def test_letters_are_joined_as_capitals_only() -> None:
    """ "AB 12" is a spelled serial number, "yes" is not."""
    surface = SURFACES.surface(SERIAL)
    assert LANGUAGE.understand(" ".join(surface.words_of("AB12")[0]), SERIAL) == Text("AB12", "serial")
    assert ("y", "e", "s") not in surface.words_of("yes")


def test_tokens_lead_where_their_letters_lead() -> None:
    """The token automaton lets through exactly the tokens whose letters the grammar lets through, in any case."""
    texts = ["", " nine", " Nine", "9", ".", "2", " point", "ine", " n", " match", "%", " nineteen"]
    grammar = TokenGrammar(SURFACES.surface(ANY), TokenTrie(texts))
    tokens, states = grammar.arcs(grammar.start)
    allowed = {t: walk(grammar.surface, text) for t, text in enumerate(texts) if text}
    assert dict(zip(tokens.tolist(), states.tolist(), strict=True)) == {
        t: state for t, state in allowed.items() if state is not None
    }
    assert texts.index(" match") not in tokens
    assert grammar.text_of([1, 4, 5]) == " nine.2"


def test_spellings_come_from_the_language() -> None:
    """Digit strings use the language's own spellings; numbers as a whole may be written in figures too."""
    assert dict(spellings_for(LANGUAGE, DIGITS)) == {k: tuple(v) for k, v in LANGUAGE.spellings.items()}
    assert ("two", "hundred") in spellings_for(LANGUAGE, ANY)


def test_one_automaton_serves_all_listeners() -> None:
    """The same expectation gives the same object, so that it is compiled once."""
    assert SURFACES.surface(Expectation("quantity", quantity="co2")) is SURFACES.surface(ANY)
