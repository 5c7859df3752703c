"""Number words to decimals and back."""

from __future__ import annotations

from decimal import Decimal

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from num2words import num2words  # LGPL, only an oracle
from text_to_num import alpha2digit, text2num

from handsfree.language import load_language
from handsfree.language.numbers import LOOSE_FRACTION, NumberReading, Numbers

NUMBERS: Numbers = load_language().grammar.numbers
WORDS = sorted([*NUMBERS.classes, *NUMBERS.ordinals])


def readings(words: str) -> list[str]:
    return [format(r.value, "f") for r in NUMBERS.parse(words.split())]


@pytest.mark.parametrize(
    ("words", "value"),
    [
        ("eight", "8"),
        ("nought", "0"),
        ("seventeen", "17"),
        ("ninety three", "93"),
        ("hundred", "100"),
        ("a hundred and nine", "109"),
        ("two hundred sixty", "260"),
        ("sixteen hundred", "1600"),
        ("fourteen hundred and twelve", "1412"),
        ("sixty hundred", "6000"),
        ("a thousand and three", "1003"),
        ("seventy one thousand two hundred and six", "71206"),
        ("three million and forty", "3000040"),
        ("one billion two million three thousand and four", "1002003004"),
        ("seven trillion", "7000000000000"),
        ("two thousand million", "2000000000"),
        ("minus twelve", "-12"),
        ("plus three", "3"),
        ("negative nought", "-0"),
        ("six point two", "6.2"),
        ("six point two zero", "6.20"),
        ("point nine", "0.9"),
        ("nil point four", "0.4"),
        ("minus point five", "-0.5"),
        ("oh point triple oh six", "0.0006"),
        ("point double four", "0.44"),
        ("seven point fifteen", "7.15"),
        ("seven point thirty", "7.30"),
        ("seven point thirty six", "7.36"),
        ("four one point two", "41.2"),
        ("two forty point one", "240.1"),
        ("oh six one point five", "61.5"),
        ("one point six million", "1600000"),
        ("nineteen eighty point five", "1980.5"),
        ("a trillion and a half billion", "1000500000000"),
        ("a trillion and a half thousand", "1000000000500"),
        ("half", "0.5"),
        ("a quarter", "0.25"),
        ("three quarters", "0.75"),
        ("five halves", "2.5"),
        ("four and a half", "4.5"),
        ("four and three quarters", "4.75"),
        ("four and quarter", "4.25"),
        ("two sixty and a half", "260.5"),
        ("two and a half thousand", "2500"),
        ("two and three quarters million", "2750000"),
        ("half a million", "500000"),
        ("three million and a half thousand", "3000500"),
        ("two billion and three quarters million", "2000750000"),
        ("four million and twelve hundred", "4001200"),
        ("quarter million", "250000"),
        ("minus one and a half", "-1.5"),
        ("twelve point", None),
        ("point", None),
        ("minus", None),
        ("and four", None),
        ("four and", None),
        ("four and a", None),
        ("a", None),
        ("double", None),
        ("four double", None),
        ("double twenty", None),
        ("treble double one", None),
        ("hundred hundred", None),
        ("two thousand thousand", None),
        ("million thousand", None),
        ("one point two point three", None),
        ("one minus two", None),
        ("nine nine hundred", None),
        ("point five and a half", None),
        ("fifty and six", None),
        ("banana", None),
    ],
)
def test_one_reading(words: str, value: str | None) -> None:
    """A run of number words has the one reading that people give it, with its digits, or none at all."""
    assert readings(words) == ([] if value is None else [value])


@pytest.mark.parametrize(
    ("words", "expected"),
    [
        ("four one", ["41", "4.1"]),
        ("oh four", ["4", "0.04", "0.4"]),
        ("double oh six", ["6", "0.006", "0.06", "0.6"]),
        ("three oh five", ["305", "3.05", "30.5"]),
        ("one two three four", ["1234", "1.234", "12.34", "123.4"]),
        ("one two three four five", ["12345"]),
        ("two eighty", ["280", "2.80"]),
        ("two eighty six", ["286", "2.86"]),
        ("two sixteen", ["216", "2.16"]),
        ("fourteen sixty", ["1460", "14.60"]),
        ("fourteen oh six", ["1406", "14.06"]),
        ("minus two eighty", ["-280", "-2.80"]),
        ("twenty one five", ["215", "21.5"]),
        ("twenty one five three", ["2153", "21.53"]),
        ("a hundred and a half", ["100.5", "150"]),
        ("minus two million and a quarter", ["-2000000.25", "-2250000"]),
    ],
)
def test_two_readings(words: str, expected: list[str]) -> None:
    """What can be read in more than one way gives every way, the plainest first."""
    assert readings(words) == expected


@pytest.mark.parametrize(
    ("words", "form"),
    [
        ("nine", "cardinal"),
        ("nine point two", "decimal"),
        ("nine two", "digits"),
        ("nine twenty", "joined"),
        ("nine twenty two", "joined"),
        ("nine twelve", "joined"),
        ("twelve twenty", "pair"),
        ("twelve twenty two", "pair"),
        ("twelve twelve", "pair"),
        ("twelve oh two", "pair"),
        ("one point two million", "scaled"),
        ("two thousand million", "thousand_million"),
        ("a half", "fraction"),
        ("a thousand and a half", "scale_and_fraction"),
        ("two and a half", "mixed"),
        ("one million and a half thousand", "scale_and_part"),
        ("two and a half million", "mixed_scaled"),
        ("half a million", "fraction_of_scale"),
        ("twelve two", "groups"),
        ("twenty twenty", "groups"),
        ("third", "ordinal"),
    ],
)
def test_forms(words: str, form: str) -> None:
    """A reading says in which form the number was spoken; others say that a point was dropped."""
    found = NUMBERS.parse(words.split())
    assert found[0].form == form
    assert {r.form for r in found[1:]} <= {"dropped_point", "scale_and_fraction"}


@pytest.mark.parametrize(
    ("words", "expected"),
    [
        ("nine half", ["4.5", "9.5"]),
        ("nine quarter", ["2.25", "9.25"]),
        ("two quarter", ["0.5", "2.25"]),
        ("minus three half", ["-1.5", "-3.5"]),
        ("quarters", ["0.25"]),
        ("halves", ["0.5"]),
        ("a quarters", ["0.25"]),
        ("two and quarters", ["2.25"]),
        ("two and three halves", ["3.5"]),
        ("two and two halves", ["3"]),
        ("four and five quarters", ["5.25"]),
        ("a hundred and three half", ["101.5", "250"]),
        ("three half million", ["1500000"]),
        ("two million and three half thousand", ["2001500"]),
    ],
)
def test_fractions_that_nobody_forms(words: str, expected: list[str]) -> None:
    """A fraction of which a part may be missing is marked as such, whatever it comes to."""
    assert readings(words) == expected
    assert {r.form for r in NUMBERS.parse(words.split())} == {LOOSE_FRACTION}


@pytest.mark.parametrize(
    "words",
    ["one half", "half", "a quarter", "three quarter", "three quarters", "two quarters", "five quarters", "two halves"],
)
def test_fractions_that_people_form(words: str) -> None:
    """A half, a quarter, three quarters, and several halves or quarters are fractions with nothing to ask about."""
    assert [r.form for r in NUMBERS.parse(words.split())] == ["fraction"]


@pytest.mark.parametrize("words", ["two and three quarter", "six and a half", "two and one quarter", "a bar and half"])
def test_mixed_numbers_that_people_form(words: str) -> None:
    """A whole number and a half, a quarter or three quarters is a mixed number with nothing to ask about."""
    assert [r.form for r in NUMBERS.parse(words.replace("a bar", "one").split())] == ["mixed"]


@pytest.mark.parametrize("words", ["fifteen six", "seventy seventeen", "eleven twelve thirteen", "nineteen oh"])
def test_teens_and_tens_side_by_side_are_never_added(words: str) -> None:
    """Groups that make no number are offered as the digits that were said, marked as groups, and never as a sum."""
    found = NUMBERS.parse(words.split())
    assert found[0].form == "groups"
    assert format(found[0].value, "f") == "".join(NUMBERS.digit_string([w]) or "" for w in words.split())


@pytest.mark.parametrize(
    ("words", "value"),
    [
        ("ninth", "9"),
        ("twelfth", "12"),
        ("twentieth", "20"),
        ("forty second", "42"),
        ("hundredth", "100"),
        ("two hundred and ninth", "209"),
        ("three thousandth", "3000"),
        ("minus third", "-3"),
        ("millionth", "1000000"),
        ("two hundredth", "200"),
        ("two tenth", None),
        ("twenty tenth", None),
        ("two third", None),
        ("first second", None),
    ],
)
def test_ordinals(words: str, value: str | None) -> None:
    """An ordinal is its number, of the form "ordinal"; ordinals that people do not form are none."""
    found = NUMBERS.parse(words.split())
    assert found == (() if value is None else (NumberReading(Decimal(value), "ordinal"),))


@pytest.mark.parametrize(
    ("words", "text"),
    [
        ("oh four seven", "047"),
        ("treble nine", "999"),
        ("double oh seven", "007"),
        ("forty seven eleven three", "47113"),
        ("forty seven one three", "4713"),
        ("two hundred and five", "205"),
        ("plus four four", "44"),
        ("oh one two point three four", "012.34"),
        ("ninety", "90"),
        ("one point twenty", "1.20"),
        ("one point", None),
        ("point four", None),
        ("minus four", None),
        ("four and five", None),
        ("x", None),
        ("", None),
    ],
)
def test_digit_strings(words: str, text: str | None) -> None:
    """Words as a string of digits keep leading zeros and groups; anything else is none."""
    assert NUMBERS.digit_string(words.split()) == text


def test_nothing_is_no_number() -> None:
    """No words are no number."""
    assert NUMBERS.parse([]) == ()


FINITE = st.decimals(
    allow_nan=False, allow_infinity=False, places=None, min_value=-(10**15) + 1, max_value=10**15 - 1
).filter(lambda x: -12 <= int(x.as_tuple().exponent) <= 0)


@given(FINITE)
def test_what_is_said_is_read_back(value: Decimal) -> None:
    """Every value below 10 ** 15, said, has exactly one reading: itself, with all of its digits."""
    found = NUMBERS.parse(NUMBERS.say(value).split())
    assert [format(r.value, "f") for r in found] == [format(value, "f")]


def test_every_small_number_is_read_back() -> None:
    """Every whole number up to 2,200, and each power of ten with its neighbours, is read back as itself."""
    edges = [n for power in range(3, 15) for n in (10**power - 1, 10**power, 10**power + 1, 11 * 10**power // 10)]
    for number in [*range(2201), *edges]:
        assert readings(NUMBERS.say(Decimal(number))) == [str(number)]


@given(st.integers(10**15, 10**20))
def test_very_large_numbers_are_said_digit_by_digit(value: int) -> None:
    """From 10 ** 15 on a number is said, and read, digit by digit."""
    assert readings(NUMBERS.say(Decimal(value))) == [str(value)]


@pytest.mark.parametrize("text", ["NaN", "Infinity", "-Infinity"])
def test_what_is_no_number_cannot_be_said(text: str) -> None:
    """A value that is not finite has no words."""
    with pytest.raises(ValueError, match="no number"):
        NUMBERS.say(Decimal(text))


@pytest.mark.parametrize(
    ("value", "words"),
    [
        ("0", "zero"),
        ("-4", "minus four"),
        ("13", "thirteen"),
        ("30", "thirty"),
        ("109", "one hundred and nine"),
        ("500", "five hundred"),
        ("1006", "one thousand and six"),
        ("1250", "one thousand two hundred and fifty"),
        ("1100", "one thousand one hundred"),
        ("1099", "one thousand and ninety nine"),
        ("2000000", "two million"),
        ("3000000001", "three billion and one"),
        ("4.50", "four point five zero"),
        ("0.008", "zero point zero zero eight"),
        ("1E+3", "one thousand"),
    ],
)
def test_how_a_number_is_said(value: str, words: str) -> None:
    """The whole part is a British cardinal, the digits after the point follow one by one."""
    assert NUMBERS.say(Decimal(value)) == words


def test_how_digits_are_said() -> None:
    """A string of digits is said digit by digit, leading zeros and point included."""
    assert NUMBERS.say_digits("0481.50") == "zero four eight one point five zero"


@given(st.integers(0, 10**12 - 1))
def test_agrees_with_what_num2words_writes(value: int) -> None:
    """Cardinals as num2words writes them are read as the number they came from."""
    words = num2words(value, lang="en").replace("-", " ").replace(",", "").split()
    assert [r.value for r in NUMBERS.parse(words)] == [value]


@given(st.integers(1, 10**6))
def test_agrees_with_the_ordinals_that_num2words_writes(value: int) -> None:
    """Ordinals as num2words writes them are read as the number they came from."""
    words = num2words(value, to="ordinal", lang="en").replace("-", " ").replace(",", "").split()
    assert [r.value for r in NUMBERS.parse(words)] == [value]


@given(st.integers(0, 10**9))
def test_text2num_agrees_on_what_is_said(value: int) -> None:
    """A reader of number words that is not ours reads our words as the same number."""
    assert text2num(NUMBERS.say(Decimal(value)), "en") == value


@given(st.decimals(min_value=-999999, max_value=999999, places=3, allow_nan=False, allow_infinity=False))
def test_agrees_with_decimals_that_num2words_writes(value: Decimal) -> None:
    """Decimals and negatives as num2words writes them are read as the number they came from, digits kept."""
    assume(value <= -1 or value >= 0)  # num2words loses the sign between minus one and zero
    words = num2words(value, lang="en").replace("-", " ").replace(",", "").split()
    found = NUMBERS.parse(words)
    assert [r.value for r in found] == [value]
    said = "".join(w for w in words if w in NUMBERS.classes and NUMBERS.classes[w] == "p")
    assert not said or -int(found[0].value.as_tuple().exponent) == len(words) - words.index(said) - 1


@given(st.decimals(min_value=-(10**9), max_value=10**9, places=4, allow_nan=False, allow_infinity=False))
def test_text2num_agrees_on_decimals(value: Decimal) -> None:
    """Within a sentence, a reader of number words that is not ours reads our decimals and negatives as the same number."""
    written = alpha2digit(NUMBERS.say(value), "en", threshold=0)
    assert Decimal(written.replace("minus ", "-").replace(" ", "")) == value


@given(st.text("123456789", min_size=1, max_size=1), st.text("0123456789", min_size=4, max_size=7))
def test_text2num_agrees_on_indexes(first: str, rest: str) -> None:
    """An index said digit by digit is the same string of digits to a reader that is not ours."""
    said = NUMBERS.say_digits(first + rest)
    assert NUMBERS.digit_string(said.split()) == first + rest
    assert alpha2digit(said, "en", threshold=0).replace(" ", "") == first + rest


@given(st.lists(st.sampled_from(WORDS), max_size=9))
def test_any_list_of_number_words_is_answered(words: list[str]) -> None:
    """No list of number words raises; every reading is finite, and the first is not repeated."""
    found = NUMBERS.parse(words)
    assert all(r.value.is_finite() for r in found)
    assert len({format(r.value, "f") for r in found}) == len(found)


@given(st.lists(st.sampled_from(WORDS), max_size=9))
def test_digits_are_kept(words: list[str]) -> None:
    """A certain reading of single digits shows exactly the digits that were said."""
    if words and all(NUMBERS.classes.get(w) in ("d", "o", "p") for w in words):
        found = NUMBERS.parse(words)
        if len(found) == 1:
            said = "".join("." if NUMBERS.classes[w] == "p" else NUMBERS.digit_string([w]) or "" for w in words)
            assert found[0].value == Decimal(said)
            assert len(said.partition(".")[2]) == -int(found[0].value.as_tuple().exponent)


def test_unknown_words_have_no_class() -> None:
    """A word that is part of no number has the class of others, in its place."""
    assert NUMBERS.classes_of(["nine", "kettle", "point"]) == "dxp"


@pytest.mark.parametrize(
    ("words", "classes"),
    [("double", "D"), ("treble triple", "RR"), ("half halves", "HH"), ("quarter quarters", "QQ"), ("minus plus", "-+")],
)
def test_words_that_change_a_number_have_classes_of_their_own(words: str, classes: str) -> None:
    """Double and triple, half and quarter, minus and plus are told apart by their classes: spelling builds on them."""
    assert NUMBERS.classes_of(words.split()) == classes


def test_every_word_has_one_class() -> None:
    """A number word belongs to one class, and the words of a class can be listed with the preferred one first."""
    assert NUMBERS.words_of("o")[0] == "zero"
    assert {w for letter in "doeThkmbtpDR-+&aHQ" for w in NUMBERS.words_of(letter)} == set(NUMBERS.classes)
