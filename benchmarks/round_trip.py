"""Values and quantities in, every way to say them out, and what `understand` makes of that.

    python benchmarks/round_trip.py [--pairs 1000000] [--seed 1] [--nonsense 100000] [--jobs 8]

The words are made here with tables of their own, not by the code under test. Wrong is any certain outcome that is not
what was said; it must be 0. A variant that people would have to ask about ("one twenty") may come back as unsure with
the value among the alternatives; a plain one must come back certain.
"""

from __future__ import annotations

import argparse
import multiprocessing
import random
import sys
import time
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from decimal import Decimal

from handsfree.language import Language, load_language
from handsfree.language.units import Quantity
from handsfree.model import Command, Expectation, Nothing, Outcome, Readings, Unsure

ONES = ("zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine")
TEENS = ("ten", "eleven", "twelve", "thirteen", "fourteen", "fifteen", "sixteen", "seventeen", "eighteen", "nineteen")
TENS = ("_", "_", "twenty", "thirty", "forty", "fifty", "sixty", "seventy", "eighty", "ninety")
ZEROS = ("zero", "oh", "nought", "nil", "naught", "o")
FRACTIONS = {"5": ("a half", "half", "one half"), "25": ("a quarter", "one quarter"), "75": ("three quarters",)}


TALK = """the of that with pipe cupboard kettle radio mate van where did you put it on and then but so again lads tea is
    was not now"""


@dataclass(frozen=True)
class Spoken:
    """Words for a value."""

    words: str
    plain: bool
    """nothing to ask about"""
    value: Decimal
    """with the digits that were said"""


def below_hundred(number: int) -> str:
    if number < 10:
        return ONES[number]
    if number < 20:
        return TEENS[number - 10]
    return TENS[number // 10] + (f" {ONES[number % 10]}" if number % 10 else "")


def cardinal(number: int, rng: random.Random) -> str:
    """A whole number below a million, British or without "and", "a" or "one" in front."""
    if number < 100:
        return below_hundred(number)
    joint = rng.choice((" and ", " and ", " "))
    if number < 1000:
        first = rng.choice(("a", "one")) if number < 200 else ONES[number // 100]
        return f"{first} hundred" + (joint + below_hundred(number % 100) if number % 100 else "")
    thousands, rest = divmod(number, 1000)
    first = rng.choice(("a", "one")) if thousands == 1 else cardinal(thousands, rng)
    if not rest:
        return f"{first} thousand"
    return (
        f"{first} thousand" + (joint if rest < 100 else " ") + cardinal(rest, rng).replace("a hundred", "one hundred")
    )


def digits(text: str, rng: random.Random) -> str:
    """Digit by digit, repeats now and then as "double" and "triple"."""
    words = []
    zero = rng.choice(ZEROS)
    at = 0
    while at < len(text):
        run = 1
        while run < 3 and at + run < len(text) and text[at + run] == text[at]:
            run += 1
        if run > 1 and rng.random() < 0.5:
            words.append({2: "double", 3: rng.choice(("triple", "treble"))}[run])
            at += run - 1
        words.append(zero if text[at] == "0" else ONES[int(text[at])])
        at += 1
    return " ".join(words)


def variants(value: Decimal, rng: random.Random) -> Iterator[Spoken]:
    """Ways to say a value of at most 999999."""
    text = format(abs(value), "f")
    whole, _, after = text.partition(".")
    sign = rng.choice(("minus ", "negative ")) if value < 0 else ""
    number = int(whole)
    if after:
        tail = f" point {digits(after, rng)}"
        yield Spoken(sign + cardinal(number, rng) + tail, True, value)
        if len(whole) > 1:
            yield Spoken(sign + digits(whole, rng) + tail, True, value)
        if number == 0:
            yield Spoken(sign + tail.strip(), True, value)
            yield Spoken(f"{sign}{rng.choice(ZEROS)}{tail}", True, value)
        for fraction in FRACTIONS.get(after, ()):
            words = f"{cardinal(number, rng)} and {fraction}" if number else fraction
            yield Spoken(sign + words, number % 100 > 0 or number == 0, value)
        if len(whole) + len(after) <= 4 and rng.random() < 0.3:
            yield Spoken(sign + digits(whole + after, rng), False, value)
        return
    yield Spoken(sign + cardinal(number, rng), True, value)
    if 1100 <= number < 10000 and number % 1000 >= 100:
        yield Spoken(
            f"{sign}{below_hundred(number // 100)} hundred"
            + (f" and {below_hundred(number % 100)}" if number % 100 else ""),
            True,
            value,
        )
    if 110 <= number < 1000 and number % 100 >= 10:
        yield Spoken(f"{sign}{ONES[number // 100]} {below_hundred(number % 100)}", False, value)
    if number >= 10:
        yield Spoken(sign + digits(whole, rng), False, value)


@dataclass(frozen=True)
class Case:
    """An utterance and what it must come to."""

    words: str
    expectation: Expectation
    quantity: str
    qualifier: str | None
    value: Decimal
    unit: str
    plain: bool
    command: str | None


def random_value(quantity: Quantity, rng: random.Random) -> Decimal:
    """Anywhere in the hard range, typical ones more often, with as many digits as the instrument shows."""
    low, high = quantity.typical() if rng.random() < 0.7 else quantity.hard()
    high = min(high, Decimal(999999))
    places = rng.randint(0, quantity.decimals)
    steps = int((high - low) * 10**places)
    value = (low + Decimal(rng.randint(0, max(steps, 0))).scaleb(-places)).quantize(Decimal(1).scaleb(-places))
    return value if quantity.hard_low <= value <= quantity.hard_high else quantity.typical_low


def cases(language: Language, rng: random.Random) -> Iterator[Case]:
    """Utterances without end."""
    quantities = list(language.quantities.values())
    by_id = language.grammar.units.by_id
    none_said = tuple(f"{phrase} " for q in quantities for phrase in q.zero)
    while True:
        quantity = rng.choice(quantities)
        for spoken in variants(random_value(quantity, rng), rng):
            words, plain = spoken.words, spoken.plain
            if quantity.digit_by_digit and "." in format(spoken.value, "f") and "point" not in words and not plain:
                continue  # an index without its point is its digits, and nobody means otherwise
            expected = rng.random() < 0.8
            named = not expected or rng.random() < 0.4
            unit = by_id.get(quantity.unit)
            qualifier = rng.choice(("maximum", "minimum")) if rng.random() < 0.1 else None
            if unit is not None and rng.random() < 0.6:
                words += " " + rng.choice(unit.names)
            elif 0 < spoken.value * 10 < quantity.typical_low or (
                quantity.scales and not quantity.typical_low <= spoken.value <= quantity.typical_high
            ):
                plain = False  # "fifty two" for a fan's speed, "ten" for a sensor: people would ask
            if qualifier is not None:
                words += rng.choice((" at ", " ")) + {"maximum": "maximum", "minimum": "low fire"}[qualifier]
            if named:
                name = rng.choice(quantity.names)
                words = f"{name} {rng.choice(('', 'is ', 'reads '))}{words}"
                ends_in_digit = name.endswith(("c o", " two")) or name in ("c o", "o two")
                plain = plain and not ends_in_digit
            command = rng.choice(("yes", "no", None, None, None)) if rng.random() < 0.2 else None
            if command:
                words = f"{command} {words}"
                # "no point two" may correct the digits alone, "no let by rise two" may begin with "no let by"
                plain = plain and words != "no one" and not words.startswith(("no point", *none_said))
            expectation = Expectation("quantity", quantity.id) if expected else Expectation("any")
            yield Case(words, expectation, quantity.id, qualifier, spoken.value, quantity.unit, plain, command)


def verdict(case: Case, outcome: Outcome) -> str:
    """right, asked, refused (nothing of it among the alternatives), or wrong."""
    if isinstance(outcome, Unsure):
        return "asked" if any(_right(case, a) for a in outcome.alternatives) else "refused"
    if isinstance(outcome, Nothing):
        return "refused"
    return "right" if _right(case, outcome) else "wrong"


def _right(case: Case, outcome: Outcome) -> bool:
    if isinstance(outcome, Command) and case.command != outcome.command:
        return False
    if not isinstance(outcome, Readings | Command) or len(outcome.readings) != 1:
        return False
    reading = outcome.readings[0]
    return (
        (reading.quantity, reading.qualifier, reading.unit) == (case.quantity, case.qualifier, case.unit)
        and reading.value == case.value
        and (format(reading.value, "f") == format(case.value, "f") or "half" in case.words or "quarter" in case.words)
    )


def nonsense(rng: random.Random) -> str:
    """Strings that hold no value: letters, signs, other scripts, words of everyday talk without number words."""
    kind = rng.randrange(4)
    if kind == 0:
        return " ".join(rng.choice(TALK.split()) for _ in range(rng.randint(0, 12)))
    if kind == 1:
        return "".join(rng.choice("abcdefghijklmnopqrstuvwxyz ") for _ in range(rng.randint(0, 60)))
    if kind == 2:
        return "".join(
            chr(rng.choice((rng.randrange(1, 0x250), rng.randrange(0x400, 0xFFF), rng.randrange(0x4E00, 0x9FFF))))
            for _ in range(30)
        ).translate(dict.fromkeys(range(48, 58)))
    return "".join(rng.choice(".,-%°/:;'\"()[]{}<>!?\t\x00\x07 ") for _ in range(rng.randint(0, 40)))


@dataclass
class Tally:
    """What came of one job's share."""

    verdicts: Counter[str]
    seconds: float
    """s that `understand` took for the round trips"""
    values: int
    """that nonsense came to"""


def run_share(work: tuple[int, int, int, int]) -> Tally:
    """One job: (pairs, nonsense strings, seed, how many failures to show)."""
    pairs, strings, seed, show = work
    language, rng = load_language(), random.Random(seed)
    tally = Tally(Counter(), 0.0, 0)
    shown = 0
    for _, case in zip(range(pairs), cases(language, rng), strict=False):
        started = time.perf_counter()
        outcome = language.understand(case.words, case.expectation)
        tally.seconds += time.perf_counter() - started
        found = verdict(case, outcome)
        tally.verdicts[found] += 1
        tally.verdicts["plain, not certain"] += case.plain and found != "right"
        if shown < show and (found == "wrong" or (case.plain and found != "right")):
            shown += 1
            print("   ", found, repr(case.words), case.expectation.quantity, "->", outcome, flush=True)
    for _ in range(strings):
        text = nonsense(rng)
        outcome = language.understand(text, Expectation("quantity", "co2") if rng.random() < 0.5 else Expectation())
        if isinstance(outcome, Readings) or (isinstance(outcome, Command) and outcome.readings):
            tally.values += 1
            print("    value from nonsense:", repr(text), outcome, flush=True)
    return tally


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--pairs", type=int, default=1_000_000)
    parser.add_argument("--nonsense", type=int, default=100_000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--jobs", type=int, default=1, help="on how many cores; each has a seed of its own")
    parser.add_argument("--show", type=int, default=10)
    options = parser.parse_args()
    jobs = options.jobs
    shares = [
        (options.pairs * (k + 1) // jobs - options.pairs * k // jobs, -(-options.nonsense // jobs), seed, options.show)
        for k, seed in enumerate(range(options.seed, options.seed + jobs))
    ]
    with multiprocessing.Pool(jobs) as pool:
        tallies = pool.map(run_share, shares, chunksize=1)
    verdicts = sum((t.verdicts for t in tallies), Counter[str]())
    seconds, values = sum(t.seconds for t in tallies), sum(t.values for t in tallies)
    print(
        f"{options.pairs} round trips: {dict(verdicts)}; {options.pairs / seconds:,.0f} utterances a second on a core"
    )
    print(f"{sum(share[1] for share in shares)} nonsense strings: {values} values")
    return 1 if verdicts["wrong"] or values else 0


if __name__ == "__main__":
    sys.exit(main())
