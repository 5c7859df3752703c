"""Grammar files and the engineer's own words: what is wrong is found and located."""

from __future__ import annotations

import shutil
import subprocess
import sys
from dataclasses import replace
from decimal import Decimal
from pathlib import Path

import pytest

from handsfree.errors import BadInput, MissingPart
from handsfree.language import Language, grammar_folder, load_language
from handsfree.language import language as language_module
from handsfree.language.grammar import FILES, Sample
from handsfree.language.lint import lint, result_of
from handsfree.language.samples import KINDS, expectation_of, outcome_line
from handsfree.language.units import Units
from handsfree.model import Expectation, Nothing

LANGUAGE = load_language()
FOLDER = grammar_folder() / "en-GB"


@pytest.mark.parametrize("sample", LANGUAGE.grammar.samples, ids=lambda s: s.words)
def test_samples(sample: Sample) -> None:
    """Every sample in the grammar files comes to what stands beside it."""
    assert result_of(LANGUAGE, sample) == sample.outcome


def test_every_file_has_samples() -> None:
    """Each grammar file carries samples of its own, but the one of sounds."""
    with_samples = {s.file.stem for s in LANGUAGE.grammar.samples}
    assert with_samples == set(FILES) - {"sounds"}


def test_the_grammar_is_sound() -> None:
    """The linter finds nothing in the grammar as it ships."""
    assert lint(LANGUAGE) == ()


INTERFACE_QUANTITIES = {
    "m3": "meter_index gas_volume",
    "s": "test_time",
    "m3/h": "gas_rate",
    "kW": "heat_input",
    "mbar": "standing_pressure working_pressure inlet_pressure tightness_drop let_by_rise",
    "ppm": "co room_co hardness",
    "%": "co2 o2 efficiency air_inlet_o2 air_inlet_co2",
    "-": "co_co2_ratio excess_air ph condensate_ph",
    "degC": "flue_temperature air_temperature flow_temperature return_temperature cold_temperature hot_temperature",
    "bar": "system_pressure vessel_charge relief_pressure mains_pressure",
    "L": "vessel_size system_volume",
    "uS/cm": "conductivity",
    "m": "pump_head",
    "L/min": "hot_water_flow",
    "V": "mains_voltage neutral_earth_voltage",
    "uA": "flame_current",
    "ohm": "sensor_resistance",
    "Mohm": "insulation_resistance",
    "rpm": "fan_speed",
    "mm": "electrode_gap",
    "A": "fuse_rating",
}
INTERFACE_COMMANDS = """yes no repeat back hold carry_on defer where why help cancel change mark note
    louder quieter slower faster finish no_reading not_fitted no_access smell_of_gas unsafe"""


def test_the_quantities_of_the_interface() -> None:
    """Every quantity that others rely on is there, in its unit, and no other."""
    expected = {quantity: unit for unit, row in INTERFACE_QUANTITIES.items() for quantity in row.split()}
    assert {q.id: q.unit for q in LANGUAGE.quantities.values()} == expected


def test_the_commands_of_the_interface() -> None:
    """Every command that others rely on is there with several phrasings, each understood, and no other."""
    commands = {c.id: c for c in LANGUAGE.grammar.commands}
    assert set(commands) == set(INTERFACE_COMMANDS.split())
    for command in commands.values():
        assert len(command.phrases) >= 4
        for phrase in command.phrases:
            assert outcome_line(LANGUAGE.understand(phrase)) == f"command {command.id}"


def test_every_name_is_understood() -> None:
    """Every name of every quantity, with a typical value, comes to that quantity, certain or asked."""
    for quantity in LANGUAGE.quantities.values():
        value = LANGUAGE.say_number(quantity.typical_high.quantize(Decimal(1).scaleb(-quantity.decimals)))
        for name in quantity.names:
            line = outcome_line(LANGUAGE.understand(f"{name} {value}"))
            assert f"{quantity.id} " in line, (name, line)


def test_every_unit_is_understood() -> None:
    """Every full name of every unit, behind a number, is that unit."""
    for unit in LANGUAGE.grammar.units.by_id.values():
        for name in unit.names:
            assert outcome_line(LANGUAGE.understand(f"seventeen {name}")) == f"17 {unit.id}", name


# ------------------------------------------------------------------------------------------ what the linter finds


def changed(tmp_path: Path, file: str, old: str, new: str) -> Path:
    """A copy of the grammar with one thing changed."""
    folder = tmp_path / "en-GB"
    shutil.copytree(FOLDER, folder)
    path = folder / f"{file}.toml"
    text = path.read_text(encoding="utf-8")
    assert old in text
    path.write_text(text.replace(old, new, 1), encoding="utf-8")
    return folder


@pytest.mark.parametrize(
    ("file", "old", "new", "what"),
    [
        ("commands", '"pardon"', '"pardon", "carry on"', "'carry on' is repeat already"),
        ("commands", '"pardon"', '"pardon", "carry onn"', "'carry onn' (repeat) sounds like a phrase for carry_on"),
        ("quantities", '"lambda"', '"lambda", "oxygen"', "'oxygen' is o2 already"),
        ("quantities", '"lambda"', '"lambda", "repeat"', "'repeat' is the command repeat already"),
        ("quantities", '"lambda"', '"lambda", "ppm level"', "'ppm level' cannot be reached: 'ppm' is rewritten"),
        ("units", '"pascal", ', '"pascal", "volts", ', "'volts' is Pa already, make it short in both"),
        ("dates", '"text 09:20"', '"text 09:21"', "'twenty past nine' gives text 09:20, not text 09:21"),
    ],
)
def test_the_linter_finds(tmp_path: Path, file: str, old: str, new: str, what: str) -> None:
    """Entries that cannot be reached or sound alike, and samples that fail, are found and named."""
    findings = lint(load_language(changed(tmp_path, file, old, new)))
    assert any(what in f.what for f in findings), findings


def test_the_linter_finds_words_without_a_pronunciation() -> None:
    """A word that no listener can pronounce is found."""
    words = set(LANGUAGE.vocabulary(Expectation("quantity"))) - {"millibar"}
    assert [f.what for f in lint(LANGUAGE, words)] == ["'millibar' has no pronunciation"]


@pytest.mark.parametrize(
    ("file", "old", "new", "message"),
    [
        ("units", 'factor = "1000"', 'factor = "many"', "line 19: [unit] factor: 'many' is no number"),
        ("units", 'factor = "1000"', "factor = 1000", "factor: 1000 is no number"),
        ("units", 'factor = "1000"', 'factor = "-1"', "factor: -1 must be above zero"),
        ("units", 'id = "bar"', 'id = "mbar"', "[unit] mbar is there twice"),
        ("units", 'id = "bar"', 'id = ""', "[unit] id must be a text"),
        ("units", 'names = ["bar", "bars"]', "names = []", "names must be a list of phrases"),
        ("units", 'names = ["bar", "bars"]', 'names = ["Bar"]', "'Bar' is no phrase"),
        ("units", "[[unit]]", "[unit]", "units.toml"),
        ("quantities", 'hard = ["0", "9999999"]', 'hard = ["9", "1"]', "line 10: [quantity] hard: 9 is above 1"),
        ("quantities", 'hard = ["0", "9999999"]', 'hard = ["0"]', "hard must be two numbers"),
        ("quantities", 'hard = ["0", "9999999"]', "", "needs hard and typical"),
        ("quantities", 'hard = ["0", "9999999"]', 'hard = ["0", "5"]', "typical reaches beyond hard"),
        ("quantities", "decimals = 3\ndigits", "decimals = 9\ndigits", "decimals must be a whole number"),
        ("quantities", 'id = "co2"', 'id = "co"', "co is there twice"),
        ("quantities", 'unit = "ppm"', 'unit = "drops"', "unit 'drops' is not in units.toml"),
        ("quantities", "[around]", "[round]", "[around] is missing"),
        ("quantities", 'scales = ["kohm"]', 'scales = ["drops"]', "scales: ['drops'] must be units like its own"),
        ("quantities", 'scales = ["kohm"]', 'scales = ["bar"]', "scales: ['bar'] must be units like its own"),
        ("quantities", 'scales = ["kohm"]', 'scales = "kohm"', "scales: 'kohm' must be units like its own"),
        ("traps", 'to = "two"', 'to = "tow"', "[homophones] to: 'tow' is no number word"),
        ("commands", 'takes = "value"', 'takes = "money"', "takes: 'money' is not known"),
        ("letters", 'bravo = "B"', 'bravo = "BB"', "bravo: 'BB' must be one character"),
        ("traps", 'rpm = "r p m"', "rpm = 3", "rpm: 3 must be spoken words"),
        ("sounds", '["tch", "C"]', '["tch"]', "is no rule"),
        ("numbers", "[teens]", "[teenagers]", "[teens] is missing"),
        ("numbers", "hundred = 2", "hundred = 5", "does not fit"),
        ("numbers", 'language = "en-GB"', "language = en", "numbers.toml: "),
        ("commands", "[[command]]", "[[commands", "commands.toml: "),
    ],
)
def test_broken_grammars_are_located(tmp_path: Path, file: str, old: str, new: str, message: str) -> None:
    """A grammar file that is wrong names itself, the line or table, and what was expected; the exit code is 2."""
    with pytest.raises(BadInput) as caught:
        load_language(changed(tmp_path, file, old, new))
    assert message in caught.value.message
    assert f"{file}.toml" in caught.value.message
    assert caught.value.exit_code == 2


def test_tables_must_be_lists(tmp_path: Path) -> None:
    """A table where a list of tables belongs is refused with the way to write it."""
    folder = changed(tmp_path, "quantities", 'language = "en-GB"', 'language = "en-GB"\nalike = 3')
    text = (folder / "quantities.toml").read_text(encoding="utf-8")
    (folder / "quantities.toml").write_text(text.replace("[[alike]]", "[[unlike]]"), encoding="utf-8")
    with pytest.raises(BadInput, match=r"\[alike\] must be a list of tables"):
        load_language(folder)


def test_a_missing_file_is_named(tmp_path: Path) -> None:
    """A language without one of its files says which."""
    folder = tmp_path / "en-GB"
    shutil.copytree(FOLDER, folder)
    (folder / "units.toml").unlink()
    with pytest.raises(BadInput, match=r"units\.toml does not exist"):
        load_language(folder)


def test_missing_grammars_are_a_missing_part(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A package without grammars says so, with exit code 3."""
    monkeypatch.setattr(language_module, "__file__", str(tmp_path / "handsfree" / "language" / "language.py"))
    with pytest.raises(MissingPart) as caught:
        grammar_folder()
    assert caught.value.exit_code == 3


def test_the_wheels_grammars_come_first(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Grammars inside the package are taken before those of a checkout."""
    (tmp_path / "handsfree" / "_grammars" / "en-GB").mkdir(parents=True)
    (tmp_path / "grammars" / "en-GB").mkdir(parents=True)
    monkeypatch.setattr(language_module, "__file__", str(tmp_path / "handsfree" / "language" / "language.py"))
    assert grammar_folder() == tmp_path / "handsfree" / "_grammars"


# ---------------------------------------------------------------------------------------------------- own words


def with_words(tmp_path: Path, text: str) -> Language:
    path = tmp_path / "words.toml"
    path.write_text(text, encoding="utf-8")
    return load_language(aliases=path)


def test_own_words_are_understood(tmp_path: Path) -> None:
    """A phrase of the engineer's own stands for a quantity or a command, with or without "the"."""
    language = with_words(tmp_path, '[words]\n"the bottle" = "vessel_charge"\n"crack it" = "carry_on"\n')
    assert outcome_line(language.understand("the bottle nought point eight bar")) == "vessel_charge 0.8 bar"
    assert outcome_line(language.understand("bottle point eight")) == "vessel_charge 0.8 bar"
    assert outcome_line(language.understand("crack it")) == "command carry_on"
    assert language.automaton(Expectation("quantity")).accepts(["bottle", "one", "bar"])
    assert lint(language) == ()


def test_no_file_of_own_words_is_needed(tmp_path: Path) -> None:
    """A word file that does not exist, or is empty, adds nothing."""
    assert load_language(aliases=tmp_path / "none.toml").grammar.aliases == {}
    assert with_words(tmp_path, "").grammar.aliases == {}


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ('[words]\n\n"oxygen" = "co2"', "line 3: 'oxygen' means o2 already"),
        ('[words]\n"inlet presure" = "co2"', "line 2: 'inlet presure' sounds like a phrase for inlet_pressure"),
        ('[words]\n"number two" = "co2"', "line 2: 'number two' holds the number word 'two'"),
        ('[words]\n"Bottle" = "vessel_charge"', "line 2: 'Bottle' is no phrase"),
        ('[words]\nbottle = "kettle"', "line 2: 'bottle': 'kettle' is neither a quantity nor a command"),
        ('[words]\n"flow" = "hot_water_flow"', "line 2: 'flow' means flow_temperature or hot_water_flow already"),
        ('[words]\n"about" = "co"', "line 2: 'about' means a word that makes a value uncertain already"),
        ('[words]\n"the" = "co"', "line 2: 'the' means a word said with values already"),
        ('[words]\n"a" = "co"', "line 2: 'a' means a number word already"),
        ('[words]\n"to" = "co"', "line 2: 'to' means a number word already"),
        ('[words]\n"co level" = "co"', "line 2: 'co level' cannot be heard: 'co' is said 'c o'"),
        ('[words]\nbottle = "vessel_charge"\nbottel = "co"', "line 3: 'bottel' sounds like a phrase for vessel_charge"),
        ('[words]\n"b\\u006fttle" = "kettle"', "line 1: 'bottle': 'kettle' is neither"),
        ("[words]\nbottle = 3", "line 2: 'bottle': 3 is neither a quantity nor a command"),
        ('[word]\nbottle = "co"', "only a table [words] is known"),
        ("words = 3", "only a table [words] is known"),
        ("[words", "words.toml: "),
    ],
)
def test_own_words_that_clash_are_refused(tmp_path: Path, text: str, message: str) -> None:
    """A word file that does not read, or whose words clash, names file, line and what to do; the exit code is 2."""
    with pytest.raises(BadInput) as caught:
        with_words(tmp_path, text)
    assert message in caught.value.message
    assert caught.value.hint
    assert caught.value.exit_code == 2


@pytest.mark.parametrize(
    ("meaning", "hint"),
    [
        ("expansion vessel", "did you mean vessel_charge? "),
        ("vessel charge", "did you mean vessel_charge? "),
        ("vessel_charg", "did you mean vessel_charge? "),
        ("flow", "did you mean flow_temperature or hot_water_flow? "),
        ("kettle", ""),
    ],
)
def test_a_meaning_that_is_unknown_gets_the_nearest(tmp_path: Path, meaning: str, hint: str) -> None:
    """A meaning that is a name, or nearly an id, is answered with the id; any other with where to look."""
    with pytest.raises(BadInput) as caught:
        with_words(tmp_path, f'[words]\nbottle = "{meaning}"')
    assert caught.value.hint == f"{hint}handsfree grammar list shows what can stand there"


# ------------------------------------------------------------------------------------------------------- units


UNITS: Units = LANGUAGE.grammar.units


@pytest.mark.parametrize(
    ("value", "unit", "to", "expected"),
    [
        # exact by definition (ISO 80000: bar, litre, kilo-, milli-)
        ("2.1", "kPa", "mbar", "21"),
        ("1.20", "bar", "mbar", "1200"),
        ("35", "mbar", "bar", "0.035"),
        ("1.5", "min", "s", "90.0"),
        ("10", "kohm", "ohm", "10000"),
        ("500", "L", "m3", "0.500"),
        # NIST SP 811 appendix B: psi 6.894757 kPa, inch of water 249.0889 Pa, cubic foot 0.02831685 m3,
        # BTU(IT)/h 0.2930711 W
        ("1", "psi", "mbar", "68.95"),
        ("8", "inH2O", "mbar", "19.93"),
        ("100", "ft3", "m3", "2.832"),
        ("90000", "Btu/h", "kW", "26.3764"),
    ],
)
def test_conversions(value: str, unit: str, to: str, expected: str) -> None:
    """A value changes its unit without losing digits that were spoken."""
    converted = UNITS.convert(Decimal(value), unit, to)
    assert converted == Decimal(expected)
    if expected != "90.0":
        assert format(converted, "f") == expected


def test_units_of_different_things_do_not_convert() -> None:
    """A pressure is never given in litres, and a pure number in nothing but itself."""
    with pytest.raises(ValueError, match="cannot be given"):
        UNITS.convert(Decimal(1), "bar", "L")
    assert not UNITS.fits("-", "%")
    assert UNITS.fits("-", "-")


# ------------------------------------------------------------------------------------------------------ doors


def test_expectations_by_name() -> None:
    """A kind or a quantity is an expectation by its name; a slip gets the nearest name."""
    assert expectation_of("digits", LANGUAGE.quantities) == Expectation("digits")
    assert expectation_of("co2", LANGUAGE.quantities, "lpg") == Expectation("quantity", "co2", gas="lpg")
    assert "quantity" not in KINDS
    with pytest.raises(BadInput) as caught:
        expectation_of("system_presure", LANGUAGE.quantities)
    assert "did you mean system_pressure?" in caught.value.hint
    with pytest.raises(BadInput):
        expectation_of("qqqqqqqqqq", LANGUAGE.quantities)


def test_nothing_has_a_line() -> None:
    """Every outcome can be written as one line."""
    assert outcome_line(Nothing("why")) == "nothing"


def test_ranges_follow_the_gas() -> None:
    """The ranges of a quantity that burns differently follow the gas."""
    co2 = LANGUAGE.quantities["co2"]
    assert co2.hard("lpg")[1] > co2.hard()[1]
    assert co2.typical("lpg") != co2.typical()
    same = replace(co2, hard_lpg=None, typical_lpg=None)
    assert same.hard("lpg") == same.hard("ng")


def test_the_import_stays_light() -> None:
    """Loading the language needs neither numpy nor an engine, and likeness is imported only when it is needed."""
    code = (
        "import sys; from handsfree.language import load_language; load_language().understand('nine point two');"
        "print(sorted({'numpy', 'onnxruntime', 'vosk', 'rapidfuzz', 'pydantic', 'CoolProp'} & set(sys.modules)))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
