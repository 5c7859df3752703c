"""Words to outcomes: what is certain, what is asked, what is nothing."""

from __future__ import annotations

import random
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from handsfree.language import load_language
from handsfree.language.samples import expectation_of, outcome_line
from handsfree.model import Command, Expectation, Nothing, Reading, Readings, Text, Unsure

LANGUAGE = load_language()


def come_to(words: str, expect: str = "any", **more: object) -> str:
    expectation = expectation_of(expect, LANGUAGE.quantities, more.pop("gas", "ng"))  # type: ignore[arg-type]
    if more:
        expectation = Expectation(expectation.kind, expectation.quantity, **more)  # type: ignore[arg-type]
    return outcome_line(LANGUAGE.understand(words, expectation))


CERTAIN = [
    # names, units, qualifiers
    ("c o two eight point six percent", "any", "co2 8.6 %"),
    ("c o two is eight point six", "any", "co2 8.6 %"),
    ("c o two at max eight point six", "any", "co2 maximum 8.6 %"),
    ("carbon monoxide fifty one parts", "any", "co 51 ppm"),
    ("o two five point three percent", "any", "o2 5.3 %"),
    ("room c o two hundred", "any", "room_co 200 ppm"),
    ("eight point six", "co2", "co2 8.6 %"),
    ("eight point six at low fire", "co2", "co2 minimum 8.6 %"),
    ("the inlet pressure is nineteen point three millibar", "any", "inlet_pressure 19.3 mbar"),
    ("nineteen point three mil", "inlet_pressure", "inlet_pressure 19.3 mbar"),
    ("water pressure when cold one point one bar", "any", "system_pressure cold 1.1 bar"),
    ("nineteen mil", "standing_pressure", "standing_pressure 19 mbar"),
    ("gas rate two point six cubes", "any", "gas_rate 2.6 m3/h"),
    ("gas rate two point six cubic metres an hour", "any", "gas_rate 2.6 m3/h"),
    ("ratio point double oh one one", "any", "co_co2_ratio 0.0011"),
    ("lambda one point three four", "any", "excess_air 1.34"),
    ("p h seven point nine", "any", "ph 7.9"),
    ("two hundred and forty one volts", "mains_voltage", "mains_voltage 241 V"),
    ("two forty one", "mains_voltage", "mains_voltage 241 V"),
    ("four point two micro amps", "flame_current", "flame_current 4.2 uA"),
    ("twelve k", "sensor_resistance", "sensor_resistance 12000 ohm"),
    ("two hundred meg", "insulation_resistance", "insulation_resistance 200 Mohm"),
    ("five thousand two hundred revs", "fan_speed", "fan_speed 5200 rpm"),
    ("minus three", "air_temperature", "air_temperature -3 degC"),
    ("three degrees below zero", "air_temperature", "air_temperature -3 degC"),
    ("four below freezing", "air_temperature", "air_temperature -4 degC"),
    ("flow sixty three return forty six", "any", "flow_temperature 63 degC; return_temperature 46 degC"),
    ("sixty three flow forty six return", "any", "flow_temperature 63 degC; return_temperature 46 degC"),
    ("sixty three over forty six", "any", "flow_temperature 63 degC; return_temperature 46 degC"),
    ("sixty three over forty six", "flow_temperature", "flow_temperature 63 degC; return_temperature 46 degC"),
    ("flow temperature sixty three over forty six", "any", "flow_temperature 63 degC; return_temperature 46 degC"),
    ("eight six at max eight four at min", "co2", "co2 maximum 8.6 %; co2 minimum 8.4 %"),
    ("flow ten litres a minute", "any", "hot_water_flow 10 L/min"),
    ("gas pressure twenty one millibar", "working_pressure", "working_pressure 21 mbar"),
    ("pressure one point one bar", "system_pressure", "system_pressure 1.1 bar"),
    ("five point three percent oxygen", "co2", "o2 5.3 %"),
    # fractions with units
    ("half a bar", "vessel_charge", "vessel_charge 0.5 bar"),
    ("three quarters of a bar", "vessel_charge", "vessel_charge 0.75 bar"),
    ("a bar and a half", "system_pressure", "system_pressure 1.5 bar"),
    ("one bar and a quarter", "system_pressure", "system_pressure 1.25 bar"),
    ("two minutes ten seconds", "test_time", "test_time 130 s"),
    ("one minute and a half", "test_time", "test_time 90 s"),
    ("four and a half mil", "tightness_drop", "tightness_drop 4.5 mbar"),
    # a point left out
    ("eight six", "co2", "co2 8.6 %"),
    ("one two", "system_pressure", "system_pressure 1.2 bar"),
    ("one twenty", "system_pressure", "system_pressure 1.20 bar"),
    ("oh four seven one two", "meter_index", "meter_index 4712 m3"),
    ("four seven", "meter_index", "meter_index 47 m3"),
    # zero in words
    ("no drop", "tightness_drop", "tightness_drop 0 mbar"),
    ("no drop at all", "any", "tightness_drop 0 mbar"),
    ("eight point six no drop", "co2", "co2 8.6 %; tightness_drop 0 mbar"),
    ("nought", "let_by_rise", "let_by_rise 0 mbar"),
    # converted, the spoken value kept beside it
    ("two kilopascals", "inlet_pressure", "unsure inlet_pressure 20 mbar"),
    ("sixteen p s i", "system_pressure", "system_pressure 1.103 bar"),
    ("eight inches water gauge", "standing_pressure", "standing_pressure 19.93 mbar"),
    ("ninety cubic feet an hour", "gas_rate", "gas_rate 2.549 m3/h"),
    # bare numbers
    ("seventeen", "any", "17"),
    ("two hundred and six point five", "number", "206.5"),
    ("forty second", "number", "42"),
    ("the ninth", "number", "9"),
    ("three kelvin", "any", "3 K"),
    ("one sixty", "number", "160"),
    # sound and spelling
    ("inlet presure nineteen point three", "any", "inlet_pressure 19.3 mbar"),
    ("see oh two eight point six percent", "any", "co2 8.6 %"),
    ("efficency ninety seven percent", "any", "efficiency 97 %"),
    ("one point one bah", "system_pressure", "system_pressure 1.1 bar"),
    ("eight point for", "co2", "co2 8.4 %"),
]


@pytest.mark.parametrize(("words", "expect", "line"), [row for row in CERTAIN if not row[2].startswith("unsure")])
def test_certain(words: str, expect: str, line: str) -> None:
    """What can be read in one way only is that reading."""
    assert come_to(words, expect) == line


@pytest.mark.parametrize(
    ("words", "expect", "line"),
    [
        # the name or the value
        ("c o two point six", "any", "unsure co 2.6 ppm"),
        ("c o two eight p p m", "any", "unsure co 28 ppm"),
        ("c o two six percent", "any", "unsure co2 6 %"),
        ("c o two", "any", "unsure co 2 ppm"),
        ("c o two at p p m", "any", "unsure co 2 ppm"),
        ("o two point six", "any", "unsure o2 0.6 % | 2.6"),
        # CO or CO2, flow or flue
        ("c o nine", "co2", "unsure co 9 ppm | co2 9 %"),
        (
            "flue temperature sixty three",
            "flow_temperature",
            "unsure flue_temperature 63 degC | flow_temperature 63 degC",
        ),
        (
            "flow temperature sixty three",
            "flue_temperature",
            "unsure flow_temperature 63 degC | flue_temperature 63 degC",
        ),
        # a point left out, two places
        ("eight six", "any", "unsure 86 | 8.6"),
        ("oh six", "any", "unsure 6 | 0.06 | 0.6"),
        ("six three", "flow_temperature", "unsure flow_temperature 63 degC | flow_temperature 6.3 degC"),
        ("double oh one", "co_co2_ratio", "unsure co_co2_ratio 0.001 | co_co2_ratio 0.01 | co_co2_ratio 0.1"),
        ("two seven", "vessel_charge", "unsure vessel_charge 2.7 bar"),
        # single digits or one number
        ("nineteen six", "any", "unsure 196 | 19.6"),
        ("nineteen six", "mains_voltage", "unsure mains_voltage 196 V"),
        ("two million and a half", "any", "unsure 2000000.5 | 2500000"),
        # out of range, wrong unit, wrong name
        ("fourteen", "co2", "unsure co2 14 %"),
        ("two bar", "co2", "unsure 2 bar"),
        ("nineteen point three", "ph", "unsure ph 19.3"),
        ("two bar", "ph", "unsure 2 bar"),
        ("temperature fifty", "system_pressure", "unsure 50"),
        ("temperature two bar", "any", "unsure 2 bar"),
        ("seventy c", "any", "unsure 70 degC"),
        ("nineteen mil", "any", "unsure 19 mbar | 19 mL | 19 mm"),
        # several where one is asked
        ("eight point six and eight point four", "co2", "unsure co2 8.6 %; co2 8.4 %"),
        ("eight point six no eight point four", "co2", "unsure co2 8.6 %; co2 8.4 %"),
        ("c o two c o forty", "any", "unsure co 40 ppm"),
        ("sixty three over forty six", "co2", "unsure co2 63 %; co2 46 %"),
        # no exact value
        ("about eight point six", "co2", "unsure co2 8.6 %"),
        ("over two hundred meg", "insulation_resistance", "unsure insulation_resistance 200 Mohm"),
        ("greater than two hundred", "insulation_resistance", "unsure insulation_resistance 200 Mohm"),
        ("nearly two bar", "system_pressure", "unsure system_pressure 2 bar"),
        ("not eight point six", "co2", "unsure co2 8.6 %"),
        ("a litre", "any", "unsure 1 L"),
        ("none", "tightness_drop", "unsure tightness_drop 0 mbar | command no_reading"),
        ("none at all please", "co", "unsure co 0 ppm | command no_reading"),
        # seams
        ("and six", "any", "unsure 6"),
        ("sixty and", "any", "unsure 60"),
        ("six and a", "any", "unsure 6"),
        ("ten a", "any", "unsure 10"),
        ("a and a half", "any", "unsure 0.5"),
        ("six a now", "any", "unsure 6"),
        ("six and that's it", "any", "unsure 6"),
        ("was oh", "co", "unsure co 0 ppm"),
        ("five with efficiency", "system_pressure", "unsure system_pressure 5 bar"),
        # words around
        ("the kettle says eight point six", "co2", "unsure co2 8.6 %"),
        ("he came third", "any", "unsure 3"),
        ("thirty third lads", "any", "unsure 33"),
        ("half of it went", "any", "unsure 0.5"),
        ("flow sixty three a bar and a half", "any", "unsure flow_temperature 63 degC; 1.5 bar"),
        ("the third one", "any", "unsure 3"),
        # shared names
        ("flow two", "any", "unsure hot_water_flow 2 L/min"),
        ("volume ten litres", "any", "unsure gas_volume 0.010 m3 | system_volume 10 L"),
        # emergencies denied
        ("there's no smell of gas", "co2", "unsure command smell_of_gas"),
        ("is it at risk if i leave it not at risk", "co2", "command unsafe"),
        # commands that may be talk
        ("okay", "co2", "unsure command yes"),
        ("hang on a sec", "co2", "unsure command hold"),
        ("no fourteen", "co2", "unsure command no: co2 14 %"),
        ("change the c o two to fourteen", "any", "unsure command change co2: co2 14 %"),
        ("change the flow temperature to the kettle", "any", "unsure command change flow_temperature"),
    ],
)
def test_asked(words: str, expect: str, line: str) -> None:
    """What can be read in two ways, or cannot be true, is unsure with every reading that fits."""
    assert come_to(words, expect) == line


@pytest.mark.parametrize(
    ("words", "expect", "line"),
    [
        ("yes", "co2", "command yes"),
        ("that's right", "yes_no", "command yes"),
        ("er no", "co2", "command no"),
        ("say that again please", "digits", "command repeat"),
        ("skip it", "date", "command defer"),
        ("can't get a reading", "serial", "command no_reading"),
        ("not fitted", "time", "command not_fitted"),
        ("no access", "co2", "command no_access"),
        ("mark", "test_time", "command mark"),
        ("no eight point four", "co2", "command no: co2 8.4 %"),
        ("no sorry eight point four percent", "co2", "command no: co2 8.4 %"),
        ("make that one point one bar", "system_pressure", "command no: system_pressure 1.1 bar"),
        ("yes eight point six", "co2", "command yes: co2 8.6 %"),
        ("change the flue temperature", "co2", "command change flue_temperature"),
        ("change the c o two at max", "any", "command change co2 maximum"),
        (
            "change the flue temperature to fifty four",
            "co2",
            "command change flue_temperature: flue_temperature 54 degC",
        ),
        ("change the serial number", "co2", "command change serial number"),
        ("change the c o two is nine point four", "any", "command change co2: co2 9.4 %"),
        ("change it from nine point two to nine point four", "co2", "command change it: co2 9.4 %"),
        ("change the flow from sixty to fifty", "any", "command change flow: 50"),
        ("amend the boiler name", "co2", "command change boiler name"),
        ("change the pressure to two bar", "co2", "unsure command change pressure: 2 bar"),
        ("where is the gas valve", "co2", "command where gas valve"),
        ("why the c o two", "any", "command why co2"),
        ("note the lagging is loose at five places", "co2", "command note the lagging is loose at five places"),
        ("note", "co2", "command note"),
        ("i can smell gas", "digits", "command smell_of_gas"),
        ("mate i can smell gas by the meter two", "co2", "command smell_of_gas"),
        ("this is dangerous", "letters", "command unsafe"),
        ("repeet", "co2", "command repeat"),
        ("louda", "co2", "command louder"),
        ("can't gead it", "co2", "command no_reading"),
        ("can't reat it", "co2", "unsure command no_reading | command no_access"),
        ("carrying on", "co2", "unsure command carry_on"),
        ("that's write", "co2", "unsure command yes"),
        ("corect", "co2", "unsure command yes | command no"),
        ("yes oh", "co2", "unsure command yes"),
        ("yes yes", "co2", "command yes"),
        ("no no please", "co2", "command no"),
        ("yep that's right", "co2", "command yes"),
        ("yes that is wrong", "co2", "unsure command no"),
        ("no that's wrong eight point four", "co2", "command no: co2 8.4 %"),
        ("skip this one", "co2", "command defer"),
    ],
)
def test_commands(words: str, expect: str, line: str) -> None:
    """Commands are understood under every expectation, with what follows them in the same breath."""
    assert come_to(words, expect) == line


@pytest.mark.parametrize(
    ("words", "expect"),
    [
        ("", "any"),
        ("   ", "co2"),
        ("o", "co2"),
        ("oh", "any"),
        ("oh dear", "co2"),
        ("the other one drips", "any"),
        ("no one told me about it", "co2"),
        ("yes but it was the other lad", "co2"),
        ("pass me the big spanner", "co2"),
        ("he went for it too", "any"),
        ("there are two kettles and three mugs on that shelf over there", "co2"),
        ("bar", "any"),
        ("flow temperature", "any"),
        ("double first", "any"),
        ("one point first", "any"),
        ("double and five", "any"),
        ("c o two nine point nine point", "any"),
        ("third", "co2"),
        ("going back", "co2"),
        ("nine point", "any"),
        ("double check it", "any"),
        ("at this point", "co2"),
        ("raise the bar", "any"),
        ("first of all mate", "any"),
        ("whether or not", "any"),
        ("word " * 200, "any"),
        ("two " * 200, "co2"),
    ],
)
def test_nothing(words: str, expect: str) -> None:
    """Talk, exclamations, names and units without a number are nothing."""
    assert come_to(words, expect) == "nothing"


def test_broken_numbers_are_asked_for_again_where_a_value_is_due() -> None:
    """A number that is not complete is unsure, without a reading, when the step waits for a value."""
    outcome = LANGUAGE.understand("nine point", Expectation("quantity", "co2"))
    assert outcome == Unsure((), "nine point is no complete number")
    outcome = LANGUAGE.understand("c o two minus", Expectation("quantity", "co2"))
    assert isinstance(outcome, Unsure)


def test_converted_values_keep_what_was_said() -> None:
    """A value in another unit of the same kind is converted, the spoken value and unit stay beside it."""
    outcome = LANGUAGE.understand("eighteen p s i", Expectation("quantity", "system_pressure"))
    expected = Reading(Decimal("1.241"), "system_pressure", "bar", None, Decimal(18), "psi")
    assert outcome == Readings((expected,))


def test_the_step_narrows_the_range() -> None:
    """The plausible range of a step refuses what the quantity would allow, and says why."""
    step = Expectation("quantity", "system_pressure", low=Decimal("1.2"), high=Decimal("2.0"))
    outcome = LANGUAGE.understand("one point one", step)
    assert isinstance(outcome, Unsure)
    assert outcome.reason == "1.1 is outside 1.2 to 2.0 for system pressure"
    assert outcome_line(LANGUAGE.understand("one point three", step)) == "system_pressure 1.3 bar"


@pytest.mark.parametrize(
    ("words", "kind", "line"),
    [
        ("six", "number", "6"),
        ("four", "number", "unsure 4"),
        ("ten", "number", "unsure 10"),
        ("oh six", "digits", "text 06"),
        ("oh four", "digits", "unsure text 04"),
    ],
)
def test_bounds_of_a_step_without_a_quantity(words: str, kind: str, line: str) -> None:
    """A bare number or a string of digits outside the step's bounds is asked."""
    step = Expectation(kind, low=Decimal(5), high=Decimal(9))  # type: ignore[arg-type]
    assert outcome_line(LANGUAGE.understand(words, step)) == line


def test_the_gas_sets_the_range() -> None:
    """CO2 that only LPG can give is refused for natural gas."""
    assert come_to("twelve point nine", "co2") == "unsure co2 12.9 %"
    assert come_to("twelve point nine", "co2", gas="lpg") == "co2 12.9 %"


def test_the_steps_qualifier_is_taken_when_none_is_said() -> None:
    """A value without a qualifier gets the step's, a spoken one wins, another quantity gets none."""
    step = Expectation("quantity", "co2", "maximum")
    assert outcome_line(LANGUAGE.understand("eight point six", step)) == "co2 maximum 8.6 %"
    assert outcome_line(LANGUAGE.understand("eight point six min", step)) == "co2 minimum 8.6 %"
    assert outcome_line(LANGUAGE.understand("c o forty one", step)) == "co 41 ppm"
    assert outcome_line(LANGUAGE.understand("none", step)).startswith("unsure co2 maximum 0 %")


@pytest.mark.parametrize(
    ("words", "kind", "length", "line"),
    [
        ("four eight two", "digits", None, "text 482"),
        ("oh four eight two point one", "digits", None, "text 0482.1"),
        ("meter reading oh four eight", "digits", None, "text 048"),
        ("for to one", "digits", None, "text 421"),
        ("eight six two", "digits", 3, "text 862"),
        ("eight six two", "digits", 5, "unsure text 862"),
        ("one forty two", "digits", None, "unsure text 142 | text 1402"),
        ("one forty two", "digits", 4, "text 1402"),
        ("ten four", "digits", None, "unsure text 104"),
        ("ten four", "digits", 3, "text 104"),
        ("the kettle", "digits", None, "nothing"),
        ("alfa bravo", "letters", None, "text AB"),
        ("a b zed", "letters", 3, "text ABZ"),
        ("a and b", "letters", None, "text AB"),
        ("a b zed", "letters", 2, "unsure text ABZ"),
        ("double t x ray", "letters", None, "text TTX"),
        ("serial number alfa four oh", "serial", None, "unsure text A40 | text A4O"),
        ("alfa four zero", "serial", None, "text A40"),
        ("b for bravo seventeen", "serial", None, "text B17"),
        ("b for zulu", "serial", None, "nothing"),
        ("kilo twenty three dash nine", "serial", None, "unsure text K23-9 | text K203-9"),
        ("kilo twenty", "serial", None, "text K20"),
        ("kilo to", "serial", None, "text K2"),
        ("kilo sausage", "serial", None, "nothing"),
        ("double twenty", "serial", None, "unsure"),
        ("fifth of march twenty twenty six", "date", None, "text 2026-03-05"),
        ("thursday the fifth of march", "date", None, "text 03-05"),
        ("march the fifth twenty six", "date", None, "text 2026-03-05"),
        ("thirty first of june", "date", None, "unsure"),
        ("oh five oh three twenty six", "date", None, "text 2026-03-05"),
        ("oh five oh three two oh two six", "date", None, "text 2026-03-05"),
        ("oh five thirteen twenty six", "date", None, "unsure"),
        ("twenty twenty six", "date", None, "text 2026"),
        ("two thousand and nineteen", "date", None, "text 2019"),
        ("march two thousand and nineteen", "date", None, "text 2019-03"),
        ("oh three oh three two", "date", None, "unsure"),
        ("nineteen ninety", "date", None, "text 1990"),
        ("may june", "date", None, "unsure"),
        ("banana of may", "date", None, "unsure"),
        ("nineteen oh five of may", "date", None, "unsure"),
        ("oh nine may", "date", None, "text 05-09"),
        ("nine forty five", "time", None, "text 09:45"),
        ("quarter past three p m", "time", None, "text 15:15"),
        ("quarter past three", "time", None, "unsure text 15:15 | text 03:15"),
        ("ten to nine in the morning", "time", None, "text 08:50"),
        ("ten to one", "time", None, "text 12:50"),
        ("half eleven", "time", None, "text 11:30"),
        ("fourteen hundred hours", "time", None, "text 14:00"),
        ("fourteen hundred", "time", None, "text 14:00"),
        ("oh eight thirty", "time", None, "text 08:30"),
        ("nine o'clock", "time", None, "text 09:00"),
        ("noon", "time", None, "text 12:00"),
        ("midnight", "time", None, "text 00:00"),
        ("ten past midnight", "time", None, "text 00:10"),
        ("ten past noon", "time", None, "text 12:10"),
        ("ten to midnight", "time", None, "text 23:50"),
        ("thirteen p m", "time", None, "unsure"),
        ("twenty nine thirty", "time", None, "unsure"),
        ("nine seventy", "time", None, "unsure"),
        ("banana o'clock", "time", None, "unsure"),
        ("banana past three", "time", None, "nothing"),
        ("at p m", "time", None, "unsure"),
    ],
)
def test_texts(words: str, kind: str, length: int | None, line: str) -> None:
    """Strings, dates and times are text; two ways to read them are asked; a length that is known settles or refuses."""
    assert come_to(words, kind, **({"length": length} if length else {})) == line


CHOICE = Expectation(
    "choice",
    choices=("condensate_frozen", "condensate_clear", "three_amp"),
    phrases={
        "condensate_frozen": ("frozen", "it's frozen up"),
        "condensate_clear": ("running clear", "yes"),
        "three_amp": ("three amp", "three"),
    },
)


@pytest.mark.parametrize(
    ("words", "line"),
    [
        ("it's frozen up", "text condensate_frozen"),
        ("er frozen", "text condensate_frozen"),
        ("runing cleer", "text condensate_clear"),
        ("yes", "text condensate_clear"),
        ("three", "text three_amp"),
        ("er three amp please", "text three_amp"),
        ("no", "command no"),
        ("not fitted", "command not_fitted"),
        ("five", "5"),
        ("i can smell gas", "command smell_of_gas"),
        ("sausages", "nothing"),
        ("the other one", "nothing"),
        ("it's frozen cup", "text condensate_frozen"),
        ("not it's frozen up", "unsure text condensate_frozen"),
        ("it's unfrozen up", "unsure text condensate_frozen"),
    ],
)
def test_choices(words: str, line: str) -> None:
    """An answer of the step is its id, exactly or by likeness; it stands before commands, not before emergencies."""
    assert outcome_line(LANGUAGE.understand(words, CHOICE)) == line


def test_a_phrase_of_two_answers_is_asked() -> None:
    """A phrase that two answers share, or that sounds like both, is unsure with both."""
    phrases = {"a": ("lagged", "it is lagged"), "b": ("lagged", "it is tagged")}
    step = Expectation("choice", choices=("a", "b"), phrases=phrases)
    both = (Text("a", "choice"), Text("b", "choice"))
    exact = LANGUAGE.understand("lagged", step)
    assert isinstance(exact, Unsure)
    assert exact.alternatives == both
    near = LANGUAGE.understand("it is nagged", step)
    assert isinstance(near, Unsure)
    assert set(near.alternatives) == set(both)


def test_only_answers_that_are_near_are_offered() -> None:
    """What is like one answer of the step is asked with that one alone, and says that it is only like it."""
    step = Expectation("choice", choices=("a", "b"), phrases={"a": ("running clear",), "b": ("running slowly",)})
    assert LANGUAGE.understand("ruling clearly", step) == Unsure((Text("a", "choice"),), "it sounds like an answer")


@pytest.mark.parametrize("words", ["undamaged", "not damaged"])
def test_a_denial_is_never_taken_for_the_phrase_that_it_denies(words: str) -> None:
    """Words that deny an answer are near it in sound and spelling, and are asked."""
    step = Expectation("choice", choices=("damaged",), phrases={"damaged": ("damaged",)})
    outcome = LANGUAGE.understand(words, step)
    assert not isinstance(outcome, Text)


def test_letters_are_never_commands_by_likeness() -> None:
    """What is nearly a command stays nothing where letters are spelled."""
    assert come_to("repeet", "serial") == "nothing"


@pytest.mark.parametrize(
    ("words", "expect", "reason"),
    [
        ("no point two", "system_pressure", "only the part behind the point was said"),
        ("change the flow temperature to the kettle", "any", "what it changes to is not clear"),
        ("no reading nine", "co2", "it can be read two ways"),
        ("eight six", "any", "it can be read two ways"),
        ("it went from nine to nine point two", "co2", "talk that is no value"),
        ("it is what", "co2", "no value was said"),
        ("two bar", "date", "that is no date"),
        ("one two and", "digits", "that is no digits"),
        (
            "kettle van lads spanner radio weather mind nine point two percent",
            "co2",
            "other words were said: kettle van lads spanner radio weather",
        ),
        ("no one", "system_pressure", "no one, or the number"),
        ("none", "co", "a measured zero, or no reading"),
        ("forty over sixty", "flow_temperature", "flow temperature is the lower of the two"),
        ("sixty flow fifty flow", "any", "two values were said for one quantity"),
        ("c o two nine point two c o two nine point four", "any", "two values were said for one quantity"),
        ("nine point two at", "co2", "the end is missing"),
        ("one thirty", "test_time", "seconds, or minutes and seconds"),
        ("ten", "sensor_resistance", "ohms or kilohms"),
        ("ten okay", "sensor_resistance", "kilohms may have been said"),
        ("nine nine", "co2", "it may be one number said again"),
        ("fifteen fifty", "co", "fifteen fifty may be a correction"),
        ("fifty two", "fan_speed", "no unit was said, and that is far below the usual"),
        ("it's low one bar", "system_pressure", "it may be a remark"),
        ("nine half", "co2", "a part of the number is missing"),
        ("minus nought", "air_temperature", "minus zero is no reading"),
        ("the right one", "system_pressure", "one may be no value"),
        ("oh nine sorry", "co2", "other words were said: sorry"),
        ("yes oh", "co", "an exclamation, or a zero"),
        ("nineteen six", "any", "single digits or one number"),
        ("sorry four eight one", "digits", "sorry was said before it"),
        ("hundred and ninety nine point", "co2", "hundred and ninety nine point is no complete number"),
    ],
)
def test_reasons(words: str, expect: str, reason: str) -> None:
    """What is not certain says why, in plain words that can be spoken."""
    outcome = LANGUAGE.understand(words, expectation_of(expect, LANGUAGE.quantities))
    assert isinstance(outcome, Unsure | Nothing)
    assert outcome.reason == reason


def test_the_longest_answer() -> None:
    """Eighty words are looked at, one more is talk."""
    words = ["nine", "point", "two", *["er"] * 77]
    step = Expectation("quantity", "co2")
    assert outcome_line(LANGUAGE.understand(" ".join(words), step)) == "co2 9.2 %"
    assert LANGUAGE.understand(" ".join([*words, "er"]), step) == Nothing("too long for an answer")


@given(st.text(max_size=60), st.sampled_from(["any", "co2", "digits", "serial", "date", "time", "number", "yes_no"]))
def test_any_text_is_answered(text: str, expect: str) -> None:
    """No text raises, whatever is expected."""
    come_to(text, expect)


TALK = [
    "kettle",
    "van",
    "lads",
    "weather",
    "where",
    "radio",
    "mind",
    "spanner",
    "loose",
    "over",
    "there",
    "with",
    "that",
]
ALL_WORDS = sorted({*LANGUAGE.vocabulary(Expectation()), *TALK, *LANGUAGE.grammar.numbers.classes, "to", "for", "won"})


@given(st.lists(st.sampled_from(ALL_WORDS), max_size=12), st.sampled_from(["any", "co2", "system_pressure", "number"]))
def test_word_salad_is_answered(words: list[str], expect: str) -> None:
    """No list of words raises, and an unknown word never comes with a certain value."""
    outcome = LANGUAGE.understand(" ".join(words), expectation_of(expect, LANGUAGE.quantities))
    if isinstance(outcome, Readings):
        assert not {"kettle", "van", "lads", "weather", "radio", "spanner"} & set(words)


@given(st.lists(st.sampled_from(TALK), max_size=10), st.sampled_from(["any", "co2", "meter_index", "digits"]))
def test_talk_holds_no_value(words: list[str], expect: str) -> None:
    """Talk without number words never comes to a value."""
    outcome = LANGUAGE.understand(" ".join(words), expectation_of(expect, LANGUAGE.quantities))
    assert isinstance(outcome, Nothing | Unsure | Command)
    assert not isinstance(outcome, Command) or not outcome.readings


@given(st.sampled_from(sorted(LANGUAGE.quantities)), st.integers(0, 10**6))
def test_a_read_back_is_understood_as_what_was_read(quantity_id: str, seed: int) -> None:
    """What the program says for a reading, said by the engineer, comes to the same reading or is asked with it."""
    quantity = LANGUAGE.quantities[quantity_id]
    rng = random.Random(seed)
    steps = int((quantity.typical_high - quantity.typical_low) * 10**quantity.decimals)
    value = quantity.typical_low + Decimal(rng.randint(0, steps)).scaleb(-quantity.decimals)
    reading = Reading(value, quantity_id, quantity.unit, rng.choice([None, "maximum", "cold"]))
    said = LANGUAGE.say_reading(reading).lower().replace(",", "")
    outcome = LANGUAGE.understand(said, Expectation("quantity", quantity_id))
    expected = Readings((reading,))
    assert outcome == expected or (isinstance(outcome, Unsure) and expected in outcome.alternatives)


@pytest.mark.parametrize(
    ("reading", "said"),
    [
        (Reading(Decimal("9.20"), "co2", "%", "maximum"), "C O two at maximum, nine point two zero percent"),
        (Reading(Decimal(1), "system_pressure", "bar", "cold"), "system pressure cold, one bar"),
        (Reading(Decimal("0.0011"), "co_co2_ratio", "-"), "ratio, zero point zero zero one one"),
        (
            Reading(Decimal("1.241"), "system_pressure", "bar", None, Decimal(18), "psi"),
            "system pressure, eighteen p s i",
        ),
        (Reading(Decimal(7)), "seven"),
    ],
)
def test_read_backs(reading: Reading, said: str) -> None:
    """A read-back names quantity and qualifier, then digits and unit, as they were spoken."""
    assert LANGUAGE.say_reading(reading) == said


@pytest.mark.parametrize("words", ["the reading is", "flow temperature", "um"])
def test_only_what_comes_before_digits_is_no_answer(words: str) -> None:
    """A name or a filler without the digits it announces comes to nothing."""
    assert isinstance(LANGUAGE.understand(words, Expectation("digits")), Nothing)
