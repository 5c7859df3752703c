"""How long a visit and a reading take to speak, measured with the system's own voice.

    python benchmarks/spoken_time.py [--plan NAME ...] [--faster N] [--cache FOLDER] [--json]

Every sentence is rendered by the voice that the product speaks with (pyttsx3 over the system's synthesiser) at the pace it
would have, and its length taken; without such a voice words are counted, and the result says so. The engineer's words take
0.41 s each and a yes 0.65 s: the means of the recorded visit in audio_fixtures/visit.

A visit is one in which every value is good and every answer yes: prompts, cautions, read-backs, results, answers, timed
waits; the work itself is not in it, nor are the 0.5 s of silence that end an utterance (two a reading), which stand in a
column of their own. A reading is prompt, value, read-back, yes, for every measured item of every plan, with a value of four
digits, and with one of as many as its instrument usually shows; `--faster N` is the engineer having said "faster" N times.
"""

from __future__ import annotations

import argparse
import json
import statistics
import sys
import tempfile
from collections.abc import Callable
from dataclasses import dataclass, field
from decimal import Decimal
from functools import cache
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).parents[1] / "tests"))

from dialogue_engineer import work_through
from dialogue_story import Story, language, plan_named, the_job

from handsfree.dialogue.effects import Say
from handsfree.dialogue.engine import Decision
from handsfree.dialogue.state import State
from handsfree.dialogue.turn import Turn, sentence
from handsfree.dialogue.wording import say_digits, word
from handsfree.events import AnswerConfirmed, ReadingConfirmed, UtteranceHeard, WaitStarted
from handsfree.model import Reading
from handsfree.plans import plan_names
from handsfree.plans.plan import Item
from handsfree.voice.spoken import FASTER, FASTEST, USUAL, pace_of
from handsfree.voice.synthesis import Rendered, Synthesiser

WORD_S, YES_S, PAUSE_S = 0.41, 0.65, 0.5
"""s a word of the engineer's, s of a yes, s of silence behind an utterance"""
METER_FIGURE = Decimal("48123.456")

Seconds = Callable[[str, bool], float]
"""text, brisk -> s"""


def voice_seconds(synthesiser: Synthesiser, pace: int) -> Seconds:
    """Lengths by the system's voice; by count of words where it renders nothing."""

    @cache
    def seconds(text: str, brisk: bool) -> float:
        words_a_minute = pace_of(text, pace, brisk=brisk)
        rendered = synthesiser.render(text, words_a_minute)
        if isinstance(rendered, Rendered):
            return len(rendered.samples) / rendered.rate
        return len(text.split()) * 60.0 / words_a_minute

    return seconds


@dataclass
class Listened(Story):
    """A story that keeps every sentence with its pace."""

    spoken: list[Say] = field(default_factory=list)

    def _take(self, decision: Decision) -> None:
        self.spoken += [e for e in decision.effects if isinstance(e, Say)]
        super()._take(decision)


def plan_minutes(name: str, seconds: Seconds) -> dict[str, Any]:
    """Chunks, items and minutes of a good visit by a plan."""
    visit = Listened(plan_named(name), the_job())
    visit.begin()
    work_through(visit)
    waits = sum(e.seconds for e in visit.events(WaitStarted))
    answers = visit.events(ReadingConfirmed) + visit.events(AnswerConfirmed)
    heard = len(visit.events(UtteranceHeard))
    plan = visit.plan
    said = sum(seconds(say.text, say.brisk) for say in visit.spoken)
    replies = len(answers) * 3 * WORD_S + max(heard - len(answers), 0) * YES_S
    return {
        "plan": name,
        "chunks": len(plan.chunks),
        "items": sum(i.expect.kind != "wait" for i in plan.items()),
        "asked": len(answers),
        "program_min": said / 60,
        "engineer_min": replies / 60,
        "waits_min": waits / 60,
        "pauses_min": heard * PAUSE_S / 60,
        "minutes": (said + replies + waits + heard * PAUSE_S) / 60,
    }


def four_digits(item: Item) -> Decimal:
    """A value of four digits in the middle of what is usual for the item."""
    quantity = language().quantities[item.expect.quantity or ""]
    low, high = quantity.typical_low or Decimal(0), quantity.typical_high or Decimal(100)
    middle = (low + high) / 2 * Decimal("1.0173")
    whole = len(str(int(middle)))
    return Decimal(4812) if whole > 4 else middle.quantize(Decimal(1).scaleb(whole - 4))


def usual_digits(item: Item) -> Decimal:
    """A value in the middle of what is usual, with the decimals of the usual instrument."""
    quantity = language().quantities[item.expect.quantity or ""]
    low, high = quantity.typical_low or Decimal(0), quantity.typical_high or Decimal(100)
    return ((low + high) / 2 * Decimal("1.0173")).quantize(Decimal(1).scaleb(-(quantity.decimals or 0)))


def read_back_of(item: Item, value: Decimal) -> str:
    """The sentence that reads a value of the item back."""
    turn = Turn(plan_named("service"), the_job(), language(), State())
    quantity = language().quantities[item.expect.quantity or ""]
    reading = Reading(value, item.expect.quantity, quantity.unit, item.expect.qualifier)
    return word("reading_right", value=sentence(turn.say_reading(reading)))


def reading_seconds(item: Item, value: Decimal, seconds: Seconds) -> float:
    """s of prompt, value, read-back and yes."""
    spoken = min(len(language().say_number(value).split()), len(say_digits(value).split()))
    return seconds(item.prompt, True) + spoken * WORD_S + seconds(read_back_of(item, value), True) + YES_S


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--plan", action="append", default=[])
    parser.add_argument("--faster", type=int, default=0)
    parser.add_argument("--cache", type=Path, default=Path(tempfile.gettempdir()) / "handsfree-spoken-time")
    parser.add_argument("--json", action="store_true")
    given = parser.parse_args()
    pace = USUAL
    for _ in range(given.faster):
        pace = min(round(pace * FASTER), FASTEST)
    synthesiser = Synthesiser(given.cache)
    real = isinstance(synthesiser.render("Right?", pace), Rendered)
    seconds = voice_seconds(synthesiser, pace)
    names = given.plan or list(plan_names())
    rows = [plan_minutes(name, seconds) for name in names]
    measured = [i for name in names for i in plan_named(name).items() if i.expect.kind == "quantity"]
    each = [reading_seconds(item, four_digits(item), seconds) for item in measured]
    usual = [reading_seconds(item, usual_digits(item), seconds) for item in measured]
    figures = [reading_seconds(i, METER_FIGURE, seconds) for i in measured if i.expect.quantity == "meter_index"]
    synthesiser.close()
    reading = {"readings": len(each), "median_s": statistics.median(each), "most_s": max(each)}
    reading["with_pauses_s"] = reading["median_s"] + 2 * PAUSE_S
    reading["usual_median_s"] = statistics.median(usual)
    reading["meter_figure_s"] = max(figures, default=0.0)
    if given.json:
        print(json.dumps({"voice": real, "words_a_minute": pace, "plans": rows, "four_digit_reading": reading}))
        return
    show(rows, reading, pace, real=real)


def show(rows: list[dict[str, Any]], reading: dict[str, Any], pace: int, *, real: bool) -> None:
    how = "the system's voice" if real else "count of words: there is no system voice"
    numbers, words = (pace_of(text, pace, brisk=True) for text in ("Two bar, right?", "Read the gauge."))
    print(
        f"by {how}: prompts at {words} words a minute, with a number {numbers}, as read-backs; what is said again {pace}"
    )
    columns = ("chunks", "items", "asked", "program_min", "engineer_min", "waits_min", "pauses_min", "minutes")
    print(f"{'plan':20}" + "".join(f"{c:>14}" for c in columns))
    for row in rows:
        cells = (f"{row[c]:.1f}" if isinstance(row[c], float) else str(row[c]) for c in columns)
        print(f"{row['plan']:20}" + "".join(f"{c:>14}" for c in cells))
    print(
        f"a reading of four digits: median {reading['median_s']:.2f} s, longest {reading['most_s']:.1f} s over "
        f"{reading['readings']} measured items (prompt, value, read-back, yes); with its two pauses of {PAUSE_S} s "
        f"{reading['with_pauses_s']:.2f} s\n"
        f"with the digits that the usual instrument shows: median {reading['usual_median_s']:.2f} s; "
        f"a meter figure of eight digits {reading['meter_figure_s']:.1f} s; without pauses"
    )


if __name__ == "__main__":
    main()
