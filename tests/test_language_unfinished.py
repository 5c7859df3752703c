"""What was said so far is told from a whole answer: the endpointing waits longer for the rest of the first."""

from __future__ import annotations

from decimal import Decimal

import pytest

from handsfree.language import load_language
from handsfree.language.samples import expectation_of
from handsfree.language.unfinished import Rest, Unfinished

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
        ("digits", "oh"),
        ("flow_temperature", "sixty"),
    ],
)
def test_the_beginning_of_an_answer_is_unfinished(step: str, words: str) -> None:
    """Words that only begin an answer, or are likely to, are waited for."""
    assert UNFINISHED(words, expectation_of(step, LANGUAGE.quantities)) is Rest.DUE


@pytest.mark.parametrize(
    ("step", "words"),
    [
        ("working_pressure", "eighteen"),
        ("hot_temperature", "forty eight"),
        ("inlet_pressure", "pressure at the valve reads twenty one"),
        ("co", "carbon monoxide is two"),
        ("co", "no one"),
        ("mains_voltage", "two"),
        ("sensor_resistance", "thirty six"),
        ("system_pressure", "one point two"),
        ("sensor_resistance", "thermistor resistance reads one five eight two"),
        ("sensor_resistance", "four thousand five"),
    ],
)
def test_an_answer_that_may_go_on_is_waited_for_a_little(step: str, words: str) -> None:
    """A whole number where a point or hundreds may follow is an answer already, and may be the beginning of one; so are
    a first decimal where two are read, and digits said one by one."""
    assert UNFINISHED(words, expectation_of(step, LANGUAGE.quantities)) is Rest.POSSIBLE


@pytest.mark.parametrize(
    ("step", "words"),
    [
        ("digits", "one three three fourth"),
        ("co", "one hundred night"),
        ("co2", "nine point who"),
        ("date", "fourteen"),
    ],
)
def test_a_number_that_goes_on_as_none_does_is_unclear(step: str, words: str) -> None:
    """Words that begin as an answer with a number does, and go on as none does, may be a number heard wrong."""
    assert UNFINISHED(words, expectation_of(step, LANGUAGE.quantities)) is Rest.UNCLEAR


@pytest.mark.parametrize(
    ("step", "words"),
    [
        ("co2", "nine point two"),
        ("co2", "nine point two percent"),
        ("system_pressure", "one point two bar"),
        ("system_pressure", "one point two five"),
        ("co2", "shares in the company fell by nine percent"),
        ("digits", "we only moved in about nine months ago"),
        ("co", "eighty five"),
        ("mains_voltage", "two hundred and forty six"),
        ("flow_temperature", "sixty two degrees"),
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
    assert UNFINISHED(words, expectation_of(step, LANGUAGE.quantities)) is Rest.NONE


def test_every_first_half_of_a_decimal_is_waited_for() -> None:
    """Whatever number stands before "point", the rest is waited for."""
    for whole in range(100):
        words = f"{LANGUAGE.say_number(Decimal(whole))} point"
        assert UNFINISHED(words, expectation_of("co2", LANGUAGE.quantities)) is Rest.DUE, words
