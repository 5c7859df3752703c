"""What was said so far is told from a whole answer: the endpointing waits longer for the rest of the first."""

from __future__ import annotations

from decimal import Decimal

import pytest

from handsfree.language import load_language
from handsfree.language.samples import expectation_of
from handsfree.language.unfinished import Unfinished

LANGUAGE = load_language()
UNFINISHED = Unfinished(LANGUAGE)


@pytest.mark.parametrize(
    ("step", "words"),
    [
        ("co2", "nine point"),
        ("co2", "c o two"),
        ("co2", "c o two nine point"),
        ("system_pressure", "pressure"),
        ("system_pressure", "nought point"),
        ("system_pressure", "one"),
        ("gas_rate", "twenty two point"),
        ("digits", "oh four eight"),
        ("flow_temperature", "sixty"),
    ],
)
def test_the_beginning_of_an_answer_is_unfinished(step: str, words: str) -> None:
    """Words that only begin an answer, or are likely to, are waited for."""
    assert UNFINISHED(words, expectation_of(step, LANGUAGE.quantities))


@pytest.mark.parametrize(
    ("step", "words"),
    [
        ("co2", "nine point two"),
        ("co2", "nine point two percent"),
        ("system_pressure", "one point two bar"),
        ("yes_no", "yes"),
        ("yes_no", "no"),
        ("any", "carry on"),
        ("any", "whose van is that"),
        ("any", ""),
        ("co2", "blah blah"),
    ],
)
def test_a_whole_answer_and_talk_are_not_waited_for(step: str, words: str) -> None:
    """Whole answers end after the usual pause, and what is not for the program holds nothing open."""
    assert not UNFINISHED(words, expectation_of(step, LANGUAGE.quantities))


def test_every_first_half_of_a_decimal_is_waited_for() -> None:
    """Whatever number stands before "point", the rest is waited for."""
    for whole in range(100):
        words = f"{LANGUAGE.say_number(Decimal(whole))} point"
        assert UNFINISHED(words, expectation_of("co2", LANGUAGE.quantities)), words
