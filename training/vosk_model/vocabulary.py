"""Words that the model must know, and random sentences made of them.

`python vocabulary.py COUNT SEED` prints sentences.  The lists are the place to edit when the domain grows: every
word needs a
pronunciation in the dictionary or a guess by espeak-ng (lexicon.py), nothing else.
"""

import random
import re
import sys
import tomllib
from pathlib import Path

ONES = ["zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine"]
TEENS = ["ten", "eleven", "twelve", "thirteen", "fourteen", "fifteen", "sixteen", "seventeen", "eighteen", "nineteen"]
TENS = ["twenty", "thirty", "forty", "fifty", "sixty", "seventy", "eighty", "ninety"]
NUMBER_EXTRA = [
    "hundred",
    "thousand",
    "million",
    "oh",
    "nought",
    "nil",
    "point",
    "decimal",
    "minus",
    "plus",
    "negative",
    "double",
    "treble",
    "triple",
    "half",
    "quarter",
    "third",
    "and",
    "a",
    "dash",
    "slash",
]
NUMBERS = ONES + TEENS + TENS + NUMBER_EXTRA

UNIT_PHRASES = """bar|millibar|millibars|degrees|degrees celsius|degrees c|celsius|percent|per cent|p p m
parts per million|kilowatts|kilowatt|watts
litres|litre|litres a minute|litres per minute|litre per minute|liters|volts|volt|millivolts|ohms|ohm|kilohms
megohms|microamps|milliamps|amps|amp
seconds|second|minutes|minute|hours|hour|cubic metres|cubic metre|cubic feet|metres cubed|cubic metres an hour
metres|metre|meters|millimetres|centimetres
kilopascals|pascals|p s i|inches|inches water gauge|r p m|microsiemens|hertz|grams|kilograms|megajoules""".replace(
    "\n", "|"
).split("|")

QUANTITY_PHRASES = """c o|c o two|o two|oxygen|carbon monoxide|carbon dioxide|flue|flue temperature|flue gas
flow|flow temperature|return|return temperature
inlet|inlet pressure|outlet|outlet pressure|working pressure|standing pressure|gas pressure|burner pressure
system pressure|pressure|temperature|gas rate
ratio|c o ratio|c o c o two ratio|excess air|efficiency|air temperature|room c o|ambient|vessel charge|vessel
relief valve|meter reading|meter
test dial|volume|cold inlet|hot outlet|hot water|hot water flow|hot water temperature|cold water temperature
differential pressure|working gas pressure|standing gas pressure|gas flow|gas rate|maximum flow|minimum flow
maximum c o|minimum c o|standby|case pressure|flue draught|draught|room temperature|supply voltage|neutral|earth
live|live to neutral|live to earth|neutral to earth|earth continuity|continuity|flow rate|cold water
mains pressure|mains voltage|voltage|polarity|flame current|ionisation current
sensor|resistance|insulation resistance|fan speed|fan|electrode gap|fuse|fuse rating|condensate|p h|hardness
conductivity|pump head|pump|heat input
tightness|drop|let by|rise|differential|delta t|maximum|minimum|max|min|high fire|low fire|maximum rate
minimum rate|before|after|cold|hot|left|right
top|bottom|gas valve|burner|boiler|heat exchanger|radiator|filter|inhibitor|expansion vessel|safety valve
air vent|serial number|model|date|time|clock|meter number|appliance|sample point|probe|analyser|zero
ambient zero""".replace("\n", "|").split("|")

COMMAND_PHRASES = """yes|no|yeah|yep|nope|okay|correct|wrong|that is right|that is wrong|repeat|say again
say that again|again|back|go back|previous|last one
hold|hold on|wait|pause|stop|start|carry on|continue|resume|go on|next|skip|later|do it later|defer|where am i
what is next|cancel|undo|scratch that
delete|clear|erase|change|change that|correction|mark|now|lap|note|make a note|new note|photo|louder|quieter
slower|faster|finish|finished|done
complete|no reading|not fitted|no access|not applicable|not measured|i can smell gas|smell of gas|i smell gas
smelling gas|stop stop|that is not right|not right|nope|start the timer|timer|how long|what was that|pardon
sorry|what is the limit|same again|same as before|none|not present|gas leak|unsafe|not safe|danger
immediately dangerous
at risk|pass|fail|passed|failed|good|bad|okay to continue|help|read it back|read back|list|save|send|open|close
on|off|up|down|enter|confirm|over
check|test|set|add|remove|end|report|ready|go|in|out|it is|is|the|reading|reads|says|about|approximately|dropped
rising|falling|steady|stable""".replace("\n", "|").split("|")

LETTERS = list("abcdefghijklmnopqrstuvwxyz")
ICAO = [
    "alpha",
    "bravo",
    "charlie",
    "delta",
    "echo",
    "foxtrot",
    "golf",
    "hotel",
    "india",
    "juliet",
    "kilo",
    "lima",
    "mike",
    "november",
    "oscar",
    "papa",
    "quebec",
    "romeo",
    "sierra",
    "tango",
    "uniform",
    "victor",
    "whiskey",
    "x-ray",
    "yankee",
    "zulu",
]
ICAO = [w.replace("x-ray", "xray") for w in ICAO]
MONTHS = [
    "january",
    "february",
    "march",
    "april",
    "may",
    "june",
    "july",
    "august",
    "september",
    "october",
    "november",
    "december",
]
DAYS = ["monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday", "today", "tomorrow", "yesterday"]
ORDINALS = [
    "first",
    "second",
    "third",
    "fourth",
    "fifth",
    "sixth",
    "seventh",
    "eighth",
    "ninth",
    "tenth",
    "eleventh",
    "twelfth",
    "thirteenth",
    "fourteenth",
    "fifteenth",
    "sixteenth",
    "seventeenth",
    "eighteenth",
    "nineteenth",
    "twentieth",
    "thirtieth",
]
OTHER = [
    "left",
    "right",
    "forward",
    "backward",
    "follow",
    "learn",
    "visual",
    "bed",
    "bird",
    "cat",
    "dog",
    "happy",
    "house",
    "marvin",
    "sheila",
    "tree",
    "wow",
    "rubout",
    "stop",
    "enter",
    "erase",
    "transcript",
    "temperature",
    "gauge",
    "needle",
    "dial",
    "number",
    "numbers",
    "colour",
    "red",
    "green",
    "blue",
    "white",
    "black",
    "yellow",
    "brown",
    "engineer",
    "customer",
]


def spoken(folder: Path, file: str, keys: tuple[str, ...]) -> list[str]:
    """The spoken forms in one file of the product's grammars (lists under `keys`, at any depth)."""

    def walk(node: object, wanted: bool) -> list[str]:
        if isinstance(node, dict):
            return [s for k, v in node.items() for s in walk(v, k in keys)]
        if isinstance(node, list):
            return [s for v in node for s in walk(v, wanted)]
        return [node] if wanted and isinstance(node, str) and re.fullmatch("[a-z' ]+", node) else []

    return walk(tomllib.loads((folder / file).read_text(encoding="utf-8")), False)


GRAMMARS = Path(__file__).parents[2] / "grammars" / "en-GB"
UNIT_PHRASES += spoken(GRAMMARS, "units.toml", ("names", "short", "plural"))
QUANTITY_PHRASES += spoken(GRAMMARS, "quantities.toml", ("names", "shared", "said"))
COMMAND_PHRASES += spoken(GRAMMARS, "commands.toml", ("phrases", "before_value", "before_target"))
DOMAIN = sorted(
    set(
        " ".join(
            NUMBERS
            + UNIT_PHRASES
            + QUANTITY_PHRASES
            + COMMAND_PHRASES
            + LETTERS
            + ICAO
            + MONTHS
            + DAYS
            + ORDINALS
            + OTHER
        ).split()
    )
)


def digits(r, n=None):
    """A digit string as people say it: oh, nought, double and triple included."""
    out, n = [], n or r.randint(1, 7)
    zero = r.choice(["zero", "zero", "oh", "oh", "nought"])
    while len(out) < n:
        d = r.choice(ONES)
        d = zero if d == "zero" else d
        k = r.random()
        out.append(("double " if k > 0.5 else "triple " if k > 0.15 else "treble ") + d if r.random() < 0.06 else d)
    return " ".join(out)


def below_hundred(r):
    k = r.random()
    if k < 0.3:
        return r.choice(ONES)
    if k < 0.5:
        return r.choice(TEENS)
    return r.choice(TENS) + (" " + r.choice(ONES[1:]) if r.random() < 0.65 else "")


def number(r):
    """A number in one of the ways it is read from an instrument."""
    k = r.random()
    if k < 0.22:
        return digits(r)
    if k < 0.38:
        return below_hundred(r)
    if k < 0.50:
        h = r.choice([*ONES[1:], "a"]) + " hundred"
        return h + ("" if r.random() < 0.2 else (" and " if r.random() < 0.6 else " ") + below_hundred(r))
    if k < 0.57:
        return below_hundred(r) + " thousand" + (" " + r.choice(ONES[1:]) + " hundred" if r.random() < 0.5 else "")
    if k < 0.80:
        whole = below_hundred(r) if r.random() < 0.85 else r.choice(["", "nought", "oh"])
        return (whole + " point " + " ".join(r.choice([*ONES, "oh"]) for _ in range(r.randint(1, 4)))).strip()
    if k < 0.85:
        return r.choice(["minus", "minus", "negative", "plus"]) + " " + below_hundred(r)
    if k < 0.89:
        return below_hundred(r) + " and a " + r.choice(["half", "quarter", "third"])
    if k < 0.92:
        return r.choice(["half", "a half", "a quarter", "three quarters", "one third"])
    if k < 0.96:
        return below_hundred(r) + " " + below_hundred(r)
    return r.choice(ONES[1:]) + " " + r.choice(TENS) + (" " + r.choice(ONES[1:]) if r.random() < 0.7 else "")


def spelled(r):
    k = r.random()
    if k < 0.45:
        return " ".join(r.choice(LETTERS) for _ in range(r.randint(2, 6)))
    if k < 0.75:
        return " ".join(r.choice(ICAO) for _ in range(r.randint(1, 5)))
    return " ".join(r.choice(LETTERS + ONES) if r.random() < 0.7 else r.choice(ICAO) for _ in range(r.randint(3, 7)))


def date(r):
    return (
        r.choice(
            [r.choice(ORDINALS), "the " + r.choice(ORDINALS) + " of", r.choice(TENS[:1]) + " " + r.choice(ORDINALS[:9])]
        )
        + " "
        + r.choice(MONTHS)
    )


def sentence(r, general=()):
    """One random utterance; `general` is a list of other words that teach phones outside the domain."""
    k = r.random()
    if k < 0.19:
        return number(r)
    if k < 0.31:
        return number(r) + " " + r.choice(UNIT_PHRASES)
    if k < 0.47:
        return (
            r.choice(QUANTITY_PHRASES)
            + r.choice([" ", " ", " is ", " reading "])
            + number(r)
            + (" " + r.choice(UNIT_PHRASES) if r.random() < 0.7 else "")
        )
    if k < 0.60:
        return r.choice(COMMAND_PHRASES)
    if k < 0.64:
        return r.choice(COMMAND_PHRASES) + " " + r.choice(QUANTITY_PHRASES + COMMAND_PHRASES)
    if k < 0.71:
        return spelled(r)
    if k < 0.73:
        return date(r)
    if k < 0.81 or not general:
        return " ".join(r.choice(DOMAIN) for _ in range(r.randint(1, 5)))
    return " ".join(r.choice(general) for _ in range(r.randint(2, 7)))


if __name__ == "__main__":
    rnd = random.Random(int(sys.argv[2]))
    for _ in range(int(sys.argv[1])):
        print(sentence(rnd))
