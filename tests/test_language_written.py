"""What keyboards and speech models write, as spoken words."""

from __future__ import annotations

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from handsfree.language import load_language
from handsfree.language.samples import outcome_line
from handsfree.language.written import MOST_CHARACTERS, Written
from handsfree.model import Expectation

LANGUAGE = load_language()
WRITTEN = Written(LANGUAGE.grammar)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("System pressure, 1.2 bar.", "system pressure one point two bar"),
        ("CO2 9.20%", "c o two nine point two zero percent"),
        ("CO₂: 8.6 %", "c o two eight point six percent"),
        ("CO29.2%", "c o two nine point two percent"),
        ("C02 8.6", "c o two eight point six"),
        ("O2 4.6", "o two four point six"),
        ("CO 52ppm", "c o fifty two p p m"),
        ("12 k", "twelve k"),
        ("21mbar", "twenty one millibar"),
        ("2.5 m³/h", "two point five cubic metres an hour"),
        ("2.5 m3/h", "two point five cubic metres an hour"),
        ("10 L/min", "ten litres a minute"),
        ("4.2 µA", "four point two microamps"),
        ("65°C", "sixty five degrees"),
        ("65° over 48°", "sixty five degrees over forty eight degrees"),
        ("-2.5", "minus two point five"),
        ("−2", "minus two"),
        ("twenty-one", "twenty one"),
        ("2-3", "two three"),
        (".5 bar", "point five bar"),
        ("1,250 rpm", "one thousand two hundred and fifty r p m"),
        ("04812.345", "zero four eight one two point three four five"),
        ("48123", "four eight one two three"),
        ("2026", "two thousand and twenty six"),
        ("9½", "nine and a half"),
        ("9 ¼", "nine and a quarter"),
        ("¾ bar", "three quarters bar"),
        ("2026-11-05", "fifth of november two thousand and twenty six"),
        ("65/48", "sixty five over forty eight"),
        ("C.O.2 9.2", "c o two nine point two"),
        ("21/3/26", "twenty first of march two thousand and twenty six"),
        ("30.06.2026", "thirtieth of june two thousand and twenty six"),
        ("the 21st of March", "the twenty first of march"),
        ("30th", "thirtieth"),
        ("14:30", "fourteen thirty"),
        ("09:05", "zero nine zero five"),
        ("9:00", "zero nine hundred"),
        ("3 p.m.", "three p m"),
        ("it’s 3", "it's three"),
        ("pH 7.2", "p h seven point two"),
        ("café", "caf ?"),
        ("九", "?"),
        ("a\x00b\tc\u200bd", "a b c d"),
        ("£5", "? five"),
        ("'quoted'", "quoted"),
        ("... !", ""),
        ("5 mile", "five mile"),
        ("1.2.3", "one point two point three"),
    ],
)
def test_written_as_spoken(text: str, words: str) -> None:
    """Figures, signs, units and names as they are written become the words that people say, digits kept."""
    assert " ".join(WRITTEN.words(text)) == words


@pytest.mark.parametrize(
    ("text", "expect", "line"),
    [
        ("CO2 9.2%", None, "co2 9.2 %"),
        ("Flow 65, return 48", None, "flow_temperature 65 degC; return_temperature 48 degC"),
        ("52", "co", "co 52 ppm"),
        ("No, 9.4.", "co2", "command no: co2 9.4 %"),
        ("0.0008", "co_co2_ratio", "co_co2_ratio 0.0008"),
        ("19.5 mbar", "inlet_pressure", "inlet_pressure 19.5 mbar"),
        ("Where am I?", "co2", "command where"),
        ("九 9.2", "co2", "unsure co2 9.2 %"),
    ],
)
def test_written_lines_are_understood(text: str, expect: str | None, line: str) -> None:
    """A written line comes to the same outcome as the spoken one; what has no spoken form makes it unsure."""
    expectation = Expectation("quantity", expect) if expect else Expectation()
    assert outcome_line(LANGUAGE.understand(text, expectation)) == line


@pytest.mark.parametrize(
    ("text", "kind", "line"),
    [
        ("AB12 C3", "serial", "text AB12C3"),
        ("ab12", "serial", "text AB12"),
        ("O0-7", "serial", "text O0-7"),
        ("ABC", "letters", "text ABC"),
        ("AB1", "letters", "nothing"),
        ("A B 1 2", "serial", "text AB12"),
        ("YES", "serial", "command yes"),
        ("KILO 7", "serial", "text K7"),
        ("9 kilo", "serial", "text 9K"),
        ("SEVEN", "serial", "text 7"),
        ("sausages", "serial", "nothing"),
        ("14.30", "time", "text 14:30"),
        ("14:30", "time", "text 14:30"),
    ],
)
def test_typed_characters_and_times(text: str, kind: str, line: str) -> None:
    """Serial numbers and letters may be typed as they stand, times with a full stop."""
    assert outcome_line(LANGUAGE.understand(text, Expectation(kind))) == line  # type: ignore[arg-type]


@given(st.decimals(min_value=0, max_value=9999, places=3, allow_nan=False, allow_infinity=False))
def test_figures_keep_their_digits(value: Decimal) -> None:
    """A figure is read as the number it shows, with the digits it shows."""
    outcome = LANGUAGE.understand(f"meter reading {value}", Expectation())
    assert outcome_line(outcome) == f"meter_index {value} m3"


@given(st.text(max_size=200))
def test_any_text_has_words(text: str) -> None:
    """Any text gives a list of words without spaces, and never raises."""
    assert all(word and not word.isspace() for word in WRITTEN.words(text))


def test_long_lines_are_cut() -> None:
    """Of a very long line only the beginning is read."""
    assert len(WRITTEN.words("9 " * 10 * MOST_CHARACTERS)) == MOST_CHARACTERS // 2
