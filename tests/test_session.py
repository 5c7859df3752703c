"""A visit held from scripted words: events on disk before anything is said, and the same state from the journal alone."""

from __future__ import annotations

import json
import time
import tomllib
from dataclasses import replace
from decimal import Decimal
from pathlib import Path

import numpy as np
import pytest

from handsfree.dialogue.engine import Engine
from handsfree.dialogue.state import State, apply
from handsfree.events import UtteranceHeard, VisitStarted, WaitEnded, WaitWentOn
from handsfree.language import Language, load_language
from handsfree.language.unfinished import Unfinished
from handsfree.model import Command, Expectation, Heard, Nothing, Outcome, Reading, Readings, Segment
from handsfree.plans import example_job, load_job, load_plan
from handsfree.record.folder import VisitFolder
from handsfree.record.journal import read_journal
from handsfree.session import ListeningAhead, Session
from handsfree.sources import Arrival, Lost, Spoken, Typed
from handsfree.testing import RememberingSpeaker, ScriptedEars, ScriptedSource

SCRIPT = tomllib.loads((Path(__file__).parents[1] / "audio_fixtures" / "script.toml").read_text(encoding="utf-8"))
WORDS = [line.get("words", line["say"].lower()) for line in SCRIPT["spoken"]["visit"]["lines"]]
"""what the engineer says in the recorded visit, from its first word to `finish`"""


@pytest.fixture(scope="module")
def language() -> Language:
    return load_language()


class Held:
    """One run of the short commissioning visit."""

    def __init__(
        self, folder: Path, language: Language, source: ScriptedSource, ears: ScriptedEars | None = None
    ) -> None:
        plan, job = load_plan("short_commissioning"), load_job(example_job())
        self.speaker = RememberingSpeaker()
        self.source = source
        self.started = VisitStarted(plan=plan.name, plan_sha256="", job=job.as_json(), gas=job.gas, date="2026-11-20")
        new = not folder.exists()
        opened = VisitFolder.create(folder, plan.text, job.text) if new else VisitFolder.open(folder)
        with opened as visit:
            entries = visit.entries
            session = Session(
                Engine(plan, job, language), visit, source, self.speaker, ears, language, lambda entry: None
            )
            self.end = session.begin(self.started) if new else session.carry_on(entries)
        self.entries = read_journal(folder / "journal.jsonl").entries


def test_the_whole_visit_ends_complete(tmp_path: Path, language: Language) -> None:
    """The words of the recorded visit lead from the first prompt to a complete end."""
    held = Held(tmp_path / "visit", language, ScriptedSource(WORDS))
    assert held.end.complete
    assert held.end.finished


def test_the_journal_alone_gives_the_same_state(tmp_path: Path, language: Language) -> None:
    """Folding the journal gives the state that the run ended with."""
    held = Held(tmp_path / "visit", language, ScriptedSource(WORDS))
    state = State()
    for entry in held.entries:
        state = apply(state, entry)
    assert state == held.end.state


@pytest.mark.parametrize("cut", [1, 7, 20, 33, 47])
def test_a_visit_that_ran_out_is_carried_on(cut: int, tmp_path: Path, language: Language) -> None:
    """Wherever the words run out, the visit is open, and carrying on asks the last item's answer again before the next."""
    first = Held(tmp_path / "visit", language, ScriptedSource(WORDS[:cut]))
    assert not first.end.finished
    before = len(first.entries)
    second = Held(tmp_path / "visit", language, ScriptedSource([]))
    assert second.entries[:before] == first.entries
    assert second.entries[before].event.kind == "resumed"
    assert second.speaker.said


def test_every_event_is_on_disk_before_it_is_said(tmp_path: Path, language: Language) -> None:
    """Whenever something is said, the journal on disk already holds it."""
    folder = tmp_path / "visit"

    class Checking(RememberingSpeaker):
        def say(self, text: str, *, brisk: bool = False):  # type: ignore[no-untyped-def]
            assert json.dumps(text) in (folder / "journal.jsonl").read_text(encoding="utf-8")
            return super().say(text, brisk=brisk)

    plan, job = load_plan("short_commissioning"), load_job(example_job())
    with VisitFolder.create(folder, plan.text, job.text) as visit:
        speaker = Checking()
        source = ScriptedSource(WORDS[:12])
        session = Session(Engine(plan, job, language), visit, source, speaker, None, language, lambda entry: None)
        session.begin(VisitStarted(plan=plan.name, plan_sha256="", gas="ng", date="2026-11-20"))
    assert len(speaker.said) > 12


def test_what_holds_everything_up_comes_once_in_a_timed_wait(tmp_path: Path, language: Language) -> None:
    """It neither delays the first prompt nor stands between a prompt and its answer."""
    plan, job = load_plan("short_commissioning"), load_job(example_job())
    waits_before: list[int] = []

    class Counting(ScriptedSource):
        waits = 0

        def wait(self, seconds: float) -> Arrival:
            self.waits += 1
            return super().wait(seconds)

    source = Counting(WORDS)
    with VisitFolder.create(tmp_path / "visit", plan.text, job.text) as visit:
        session = Session(
            Engine(plan, job, language),
            visit,
            source,
            RememberingSpeaker(),
            None,
            language,
            lambda entry: None,
            in_wait=lambda: waits_before.append(source.waits),
        )
        session.begin(VisitStarted(plan=plan.name, plan_sha256="", job=job.as_json(), gas=job.gas, date="2026-11-20"))
    assert source.waits > 1
    assert waits_before == [0]


def test_a_clip_is_saved_before_the_listeners_are_asked(tmp_path: Path, language: Language) -> None:
    """Even when the listeners fail, the clip of what was said is in the folder."""

    class Failing(ScriptedEars):
        def hear(self, segment: Segment, expectation: Expectation) -> Heard:
            raise RuntimeError("the listener broke")

    source = ScriptedSource([Spoken(Segment(np.zeros(8000, np.float32), 0.0, 0.5))])
    with pytest.raises(RuntimeError, match="broke"):
        Held(tmp_path / "visit", language, source, Failing([]))
    assert len(list((tmp_path / "visit" / "audio").glob("*.wav"))) == 1


def test_an_utterance_carries_its_clip_and_the_start_of_its_speech(tmp_path: Path, language: Language) -> None:
    """The event of an utterance names the clip, and its time is that of the first sound of speech, not of the cut."""
    segment = Segment(np.zeros(8000, np.float32), 10.0, 10.5, speech_start_s=10.2)
    outcome = language.understand("natural gas", Expectation())
    ears = ScriptedEars([Heard("natural gas", outcome, start_s=10.0, end_s=10.5)])
    held = Held(tmp_path / "visit", language, ScriptedSource([Spoken(segment)]), ears)
    (event,) = [e.event for e in held.entries if isinstance(e.event, UtteranceHeard)]
    assert event.clip is not None
    assert (tmp_path / "visit" / event.clip).exists()
    assert event.start_s == 10.2
    assert ears.prepared[0] == held.source.asked[0]


def test_a_lost_microphone_is_told_and_recorded(tmp_path: Path, language: Language) -> None:
    """Losing the microphone leaves an event and a warning; the visit goes on."""
    held = Held(tmp_path / "visit", language, ScriptedSource([Lost("the microphone was unplugged"), *WORDS[:2]]))
    assert "sound_lost" in [e.event.kind for e in held.entries]
    assert "answer" in [e.event.kind for e in held.entries]


def test_words_during_a_wait_do_not_end_it(tmp_path: Path, language: Language) -> None:
    """Something said in the middle of a timed wait is answered, and the rest of the wait is still waited for."""
    start = WORDS.index("gauge is set") + 1

    class Interrupting(ScriptedSource):
        waits = 0

        def wait(self, seconds: float) -> Arrival:
            self.waits += 1
            return Typed("where are we", 0.0) if self.waits == 1 else super().wait(seconds)

    source = Interrupting(WORDS[: start + 2])
    held = Held(tmp_path / "visit", language, source)
    kinds = [e.event.kind for e in held.entries]
    assert source.waits >= 2
    assert kinds.index("wait_ended") > kinds.index("wait_started")
    ended = next(e.event for e in held.entries if isinstance(e.event, WaitEnded))
    went_on = [e.event for e in held.entries if isinstance(e.event, WaitWentOn)]
    assert ended.seconds + sum(e.waited_s for e in went_on) >= 59.9


def test_a_finished_visit_is_not_held_again(tmp_path: Path, language: Language) -> None:
    """Carrying on with a finished visit says nothing, asks nothing and changes nothing."""
    first = Held(tmp_path / "visit", language, ScriptedSource(WORDS))
    source = ScriptedSource(["yes"])
    again = Held(tmp_path / "visit", language, source)
    assert again.end.complete
    assert again.entries == first.entries
    assert not source.asked
    assert not again.speaker.said


def a_segment(samples: int, start_s: float = 1.0, damaged: str = "") -> Segment:
    return Segment(np.linspace(0, 1, samples, dtype=np.float32), start_s, start_s + samples / 16_000, damaged)


def heard(words: str) -> Heard:
    return Heard(words, Nothing("scripted"))


def test_what_was_begun_ahead_is_taken_when_nothing_more_was_said() -> None:
    """An utterance that ended as it was begun is heard once."""
    ears = ListeningAhead(ScriptedEars([heard("first"), heard("second")]))
    ears.prepare(Expectation("number"))
    ears.begin(a_segment(8000))
    assert ears.hear(a_segment(8000), Expectation("number")).words == "first"
    ears.close()


@pytest.mark.parametrize(
    ("segment", "expectation"),
    [
        (a_segment(9000), Expectation("number")),
        (a_segment(8000, 1.1), Expectation("number")),
        (a_segment(8000, damaged="clipped"), Expectation("number")),
        (a_segment(8000), Expectation("digits")),
    ],
    ids=["went on", "another time", "damaged", "another step"],
)
def test_what_was_begun_ahead_is_thrown_away_when_it_is_not_the_same(
    segment: Segment, expectation: Expectation
) -> None:
    """An utterance that went on, or is held against something else, is heard anew."""
    ears = ListeningAhead(ScriptedEars([heard("begun"), heard("whole")]))
    ears.prepare(Expectation("number"))
    ears.begin(a_segment(8000))
    ears.close()
    assert ears.hear(segment, expectation).words == "whole"


NINE = Readings((Reading(Decimal("9.2"), "co2", "%"),))


@pytest.mark.parametrize(
    ("free_words", "outcome", "expected"),
    [
        (("nine point", "not 0.2", ""), Nothing(), 1.3),
        (("Nine.", "9 point", "[unk]"), Nothing(), 1.3),
        (("nine point two", "9.2%", "nine point two"), NINE, 0.0),
        (("nine point two", "9.2 presents", "nine point two"), NINE, 0.0),
        (("nine point to", "9.2 presents", "[unk]"), Nothing(), 1.0),
        (("whose van is that", "Whose fan is that?", "[unk]"), Nothing(), 0.0),
    ],
)
def test_the_beginning_of_a_number_is_known_from_what_was_begun_ahead(
    language: Language, free_words: tuple[str, ...], outcome: Outcome, expected: float
) -> None:
    """One listener that hears the beginning of a longer answer gives the pause more time, and so does a number that nobody
    understood; whole answers and talk do not."""
    said = Heard("said", outcome, free_words=free_words)
    ears = ListeningAhead(ScriptedEars([said, said]), Unfinished(language))
    ears.prepare(Expectation("quantity", "co2"))
    ears.begin(a_segment(8000))
    assert decided(ears) == expected
    assert ears.pause_behind(a_segment(9000)) is None, "what went on since was not listened to"
    ears.close()


def decided(ears: ListeningAhead) -> float:
    while (pause := ears.pause_behind(a_segment(8000))) is None:
        time.sleep(0.001)
    return pause


@pytest.mark.parametrize(("said", "expected"), [("nine point", 1.3), ("nine point two", 0.0)])
def test_a_recording_waits_for_what_the_listeners_make_of_it_and_is_heard_once(
    language: Language, said: str, expected: float
) -> None:
    """Whether a recorded utterance goes on is known when it is asked, and its hearing is what was asked about."""
    ears = ListeningAhead(
        ScriptedEars([replace(heard("once"), free_words=(said,)), heard("twice")]), Unfinished(language)
    )
    ears.prepare(Expectation("quantity", "co2"))
    assert ears.pause_behind_known(a_segment(8000)) == expected
    assert ears.pause_behind_known(a_segment(8000)) == expected
    assert ears.hear(a_segment(8000), Expectation("quantity", "co2")).words == "once"
    ears.close()


def test_listeners_that_fail_hold_no_recording_open(language: Language) -> None:
    """What goes wrong within a pause is told when the utterance is heard, not before it is cut."""

    class Failing(ScriptedEars):
        def hear(self, segment: Segment, expectation: Expectation) -> Heard:
            raise RuntimeError("the listener broke")

    ears = ListeningAhead(Failing([]), Unfinished(language))
    ears.prepare(Expectation())
    assert ears.pause_behind_known(a_segment(8000)) == 0
    with pytest.raises(RuntimeError, match="broke"):
        ears.hear(a_segment(8000), Expectation())
    ears.close()


def test_a_command_is_never_waited_for(language: Language) -> None:
    """One listener that lost the end of "smell of gas" does not delay what all together understood."""
    smell = Heard("smell of gas", Command("smell_of_gas"), free_words=("smell of", "smell of gas", "smell of gas"))
    ears = ListeningAhead(ScriptedEars([smell]), Unfinished(language))
    ears.prepare(Expectation("quantity", "co2"))
    ears.begin(a_segment(8000))
    assert decided(ears) == 0
    ears.close()


def test_an_utterance_whose_step_changed_within_its_pause_is_begun_for_the_new_one(language: Language) -> None:
    """What was begun for the last step says nothing about whether the answer to this one is whole."""
    begun = replace(heard("said"), free_words=("nine point",))
    ears = ListeningAhead(ScriptedEars([begun]), Unfinished(language))
    ears.prepare(Expectation("quantity", "co2"))
    assert ears.pause_behind(a_segment(8000)) is None
    assert decided(ears) == 1.3
    ears.close()


def test_a_visit_ended_with_items_open_is_taken_up_again(tmp_path: Path, language: Language) -> None:
    """Ended after one item it is not complete; carried on without words it stays ended; after a yes it goes on where it was."""
    first = Held(tmp_path / "visit", language, ScriptedSource([*WORDS[:2], "finish", "yes"]))
    assert first.end.finished
    assert not first.end.complete
    silent = Held(tmp_path / "visit", language, ScriptedSource([]))
    assert silent.end.finished
    assert not silent.end.complete
    again = Held(tmp_path / "visit", language, ScriptedSource(["yes", *WORDS[2:4]]))
    assert not again.end.finished
    kinds = [e.event.kind for e in again.entries]
    assert kinds.count("finished") == kinds.count("reopened") == 1
    assert again.end.state.values.keys() == {"boiler_serial", "plate_gas"}
