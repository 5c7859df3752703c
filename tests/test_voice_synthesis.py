"""What rendering promises: sound or a reason, never a hang, nothing on our own output, a cache that can be trusted."""

from __future__ import annotations

import os
import shutil
import sys
import textwrap
from pathlib import Path

import numpy as np
import pytest

from handsfree.voice import rendering_child
from handsfree.voice.synthesis import NotRendered, Rendered, Synthesiser, SystemVoice, choose_voice

PREAMBLE = """
import json, os, sys, time, wave
def tone(path, seconds):
    with wave.open(path, "wb") as file:
        file.setnchannels(1); file.setsampwidth(2); file.setframerate(8000)
        file.writeframes((b"\\x00\\x20\\x00\\xe0" * 4000)[: int(16000 * seconds)])
voices = [{"id": "x/en", "name": "English", "languages": "en-gb"}]
def answer(**what): print(json.dumps(what), flush=True)
log = open(os.environ["CHILD_LOG"], "a", buffering=1)
log.write("start\\n")
for line in sys.stdin:
    request = json.loads(line)
    if "voices" in request:
        answer(ok=True, voices=voices)
        continue
    log.write(request["text"] + "\\n")
"""


class Child:
    """A child that does what the test says with each text."""

    def __init__(self, folder: Path, behaviour: str) -> None:
        self.program = folder / "child.py"
        self.program.write_text(PREAMBLE + textwrap.indent(textwrap.dedent(behaviour), "    "))
        self.log = folder / "child.log"

    @property
    def command(self) -> list[str]:
        return [sys.executable, str(self.program)]

    def lines(self) -> list[str]:
        return self.log.read_text().split("\n")[:-1] if self.log.exists() else []


GOOD = 'tone(request["path"], 0.5); answer(ok=True, seconds=0.5, error="")'


@pytest.fixture(autouse=True)
def log(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("CHILD_LOG", str(tmp_path / "child.log"))


def test_a_text_is_rendered_once_and_then_comes_from_the_cache(tmp_path: Path) -> None:
    """The second time no child is asked, also in another run; another speed is another rendering."""
    child = Child(tmp_path, GOOD)
    for texts in (["ready", "ready", "next"], ["ready", "next"]):
        synthesiser = Synthesiser(tmp_path / "cache", command=child.command)
        for text in texts:
            rendered = synthesiser.render(text, 130)
            assert isinstance(rendered, Rendered)
            assert rendered.rate == 8000
            assert len(rendered.samples) / rendered.rate == pytest.approx(0.5, abs=0.01)
        synthesiser.close()
    assert child.lines() == ["start", "ready", "next"]
    synthesiser = Synthesiser(tmp_path / "cache", command=child.command)
    synthesiser.render("ready", 110)
    synthesiser.close()
    assert child.lines()[3:] == ["start", "ready"]


@pytest.mark.parametrize("damage", [b"", b"RIFF", b"not a sound at all" * 100], ids=["empty", "torn", "other"])
def test_a_damaged_cache_is_rendered_again(tmp_path: Path, damage: bytes) -> None:
    """A file in the cache that is no sound is as good as none."""
    child = Child(tmp_path, GOOD)
    synthesiser = Synthesiser(tmp_path / "cache", command=child.command)
    synthesiser.render("ready", 130)
    (kept,) = (tmp_path / "cache").rglob("*.wav")
    kept.write_bytes(damage)
    assert isinstance(synthesiser.render("ready", 130), Rendered)
    synthesiser.close()
    assert child.lines() == ["start", "ready", "ready"]
    assert len(kept.read_bytes()) > 1000


def test_a_cache_that_cannot_be_made_costs_only_the_cache(tmp_path: Path) -> None:
    """Where the cache folder is a file, texts are rendered all the same."""
    (tmp_path / "cache").write_text("in the way")
    synthesiser = Synthesiser(tmp_path / "cache", command=Child(tmp_path, GOOD).command)
    assert isinstance(synthesiser.render("ready", 130), Rendered)
    synthesiser.close()


def test_a_child_that_hangs_is_killed_at_the_deadline_and_the_text_tried_again(tmp_path: Path) -> None:
    """One hang costs one deadline: the second child renders the text."""
    child = Child(
        tmp_path,
        f"""
        if open(os.environ["CHILD_LOG"]).read().count("start") == 1:
            time.sleep(60)
        {GOOD}
        """,
    )
    synthesiser = Synthesiser(tmp_path / "cache", command=child.command, deadline_s=0.6)
    assert isinstance(synthesiser.render("ready", 130), Rendered)
    synthesiser.close()
    assert child.lines() == ["start", "ready", "start", "ready"]


FAILURES = {
    "hangs": ("time.sleep(60)", "no answer in 0.4 s"),
    "dies": ("os._exit(1)", "died"),
    "writes rubbish": ("print('hello', flush=True)", "died"),
    "says no": ("answer(ok=False, error='no such voice')", "no such voice"),
    "renders silence": ("tone(request['path'], 0.0); answer(ok=True)", "no sound"),
    "renders nothing": ("answer(ok=True)", "no sound"),
}


@pytest.mark.parametrize(("behaviour", "reason"), FAILURES.values(), ids=FAILURES.keys())
def test_a_voice_that_fails_gives_a_reason_and_after_three_texts_is_given_up(
    tmp_path: Path, behaviour: str, reason: str
) -> None:
    """Whatever goes wrong, the answer is a reason; the third failure running is final, and costs no further time."""
    child = Child(tmp_path, behaviour)
    synthesiser = Synthesiser(tmp_path / "cache", command=child.command, deadline_s=0.4)
    answers = [synthesiser.render(f"text {k}", 130) for k in range(3)]
    assert all(isinstance(a, NotRendered) and reason in a.reason for a in answers)
    assert [a.for_good for a in answers if isinstance(a, NotRendered)] == [False, False, True]
    asked = len(child.lines())
    last = synthesiser.render("text 4", 130)
    assert isinstance(last, NotRendered)
    assert last.for_good
    assert len(child.lines()) == asked
    assert list((tmp_path / "cache").rglob("*.wav")) == []
    synthesiser.close()


def test_a_success_between_failures_forgives_them(tmp_path: Path) -> None:
    """Only failures running count: a voice that fails now and then is kept."""
    child = Child(tmp_path, f"if 'bad' in request['text']: answer(ok=False, error='no')\nelse: {GOOD}")
    synthesiser = Synthesiser(tmp_path / "cache", command=child.command)
    for k in range(4):
        bad = synthesiser.render(f"bad {k}", 130)
        assert isinstance(bad, NotRendered)
        assert not bad.for_good
        assert isinstance(synthesiser.render(f"good {k}", 130), Rendered)
    synthesiser.close()


def test_without_the_program_there_is_a_reason(tmp_path: Path) -> None:
    """A child that cannot be started is a voice that is not there."""
    answer = Synthesiser(tmp_path / "cache", command=[str(tmp_path / "nowhere")]).render("ready", 130)
    assert isinstance(answer, NotRendered)
    assert "does not run" in answer.reason


def test_no_child_is_left_behind(tmp_path: Path) -> None:
    """After `close` the child is gone, even one that hangs."""
    child = Child(tmp_path, "log.write(str(os.getpid()) + '\\n'); time.sleep(60)")
    synthesiser = Synthesiser(tmp_path / "cache", command=child.command, deadline_s=0.3)
    synthesiser.render("ready", 130)
    synthesiser.close()
    numbers = [int(line) for line in child.lines() if line.isdigit()]
    assert len(numbers) == 2
    for number in numbers:
        with pytest.raises(ProcessLookupError):
            os.kill(number, 0)


VOICES = (
    SystemVoice("gmw/de", "German", "de"),
    SystemVoice("gmw/en-us", "English (America)", "en-us"),
    SystemVoice("gmw/en", "English (Great Britain)", "en-gb"),
    SystemVoice("gmw/en-gb-scotland", "English (Scotland)", "en-gb-scotland"),
)


@pytest.mark.parametrize(
    ("wanted", "chosen"),
    [
        ("", "gmw/en"),
        ("scotland", "gmw/en-gb-scotland"),
        ("GMW/EN", "gmw/en"),
        ("german", "gmw/de"),
        ("Martian", None),
    ],
)
def test_the_voice_is_the_one_that_was_named_or_british(wanted: str, chosen: str | None) -> None:
    """Name or id, whole before part, any case; without a name British English."""
    found = choose_voice(VOICES, wanted)
    assert (found.id if found else None) == chosen


def test_without_british_the_first_english_and_without_english_the_first() -> None:
    """A machine with other voices still speaks."""
    assert choose_voice(VOICES[:2], "") == VOICES[1]
    assert choose_voice(VOICES[:1], "") == VOICES[0]
    assert choose_voice((), "") is None


def has_voice() -> bool:
    try:
        import pyttsx3  # noqa: F401
    except ImportError:
        return False
    return shutil.which("espeak-ng") is not None


@pytest.mark.skipif(not has_voice(), reason="pyttsx3 or espeak-ng is not installed")
def test_the_systems_voice_speaks_each_text_and_prints_nothing(
    tmp_path: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    """The real synthesiser: texts one behind the other give their own sounds; slower is longer; output stays clean."""
    synthesiser = Synthesiser(tmp_path / "cache")
    short, long, slow = (
        synthesiser.render(text, rate)
        for text, rate in (("next", 130), ("flow temperature sixty five", 130), ("next", 90))
    )
    again = synthesiser.render("next", 130)
    synthesiser.close()
    assert isinstance(short, Rendered)
    assert isinstance(long, Rendered)
    assert isinstance(slow, Rendered)
    assert isinstance(again, Rendered)
    assert np.array_equal(short.samples, again.samples)
    assert len(short.samples) < len(slow.samples) < len(long.samples)
    assert np.abs(short.samples).max() > 0.1
    assert capfd.readouterr() == ("", "")


@pytest.mark.skipif(not has_voice(), reason="pyttsx3 or espeak-ng is not installed")
def test_a_voice_that_the_system_does_not_have_is_named(tmp_path: Path) -> None:
    """A typing error in the settings is told, not replaced in silence."""
    synthesiser = Synthesiser(tmp_path / "cache", "Martian")
    answer = synthesiser.render("next", 130)
    synthesiser.close()
    assert isinstance(answer, NotRendered)
    assert "'Martian'" in answer.reason


def test_every_pace_has_a_child_of_its_own_and_few_are_kept(tmp_path: Path) -> None:
    """Two paces in turn start two children and no more; a fourth pace ends the one that was not used longest."""
    child = Child(tmp_path, GOOD)
    synthesiser = Synthesiser(tmp_path / "cache", command=child.command)
    for number, pace in enumerate([130, 176, 130, 176, 130]):
        assert isinstance(synthesiser.render(f"text {number}", pace), Rendered)
    assert child.lines().count("start") == 2
    for number, pace in enumerate([150, 172, 176], start=10):
        synthesiser.render(f"text {number}", pace)
    assert child.lines().count("start") == 5  # 150, 172, and 176 again
    synthesiser.close()


@pytest.mark.skipif(shutil.which("espeak-ng") is None, reason="no system voice")
def test_the_pace_asked_for_is_the_pace_spoken_whatever_was_asked_before(tmp_path: Path) -> None:
    """The system's voice speaks the same words longer at a slower pace, in any order of paces."""
    synthesiser = Synthesiser(tmp_path / "cache", deadline_s=20.0)
    seconds = {}
    for turn in range(2):
        for pace in (176, 130, 150):
            rendered = synthesiser.render(f"take the reading of the gauge {'now ' * turn}", pace)
            assert isinstance(rendered, Rendered)
            seconds[turn, pace] = len(rendered.samples) / rendered.rate
    synthesiser.close()
    for turn in range(2):
        assert seconds[turn, 130] > 1.05 * seconds[turn, 150] > 1.05 * 1.05 * seconds[turn, 176]


def test_what_is_set_for_a_sentence_holds_for_it(monkeypatch: pytest.MonkeyPatch) -> None:
    """Pace and voice are set at once, also before the first sentence, and nothing that is set is thrown away."""
    pyttsx3 = pytest.importorskip("pyttsx3")
    stopped: list[str] = []

    class EspeakDriver:
        def stop(self) -> None:
            stopped.append("and emptied its queue")

    class Proxy:
        def __init__(self) -> None:
            self._driver = EspeakDriver()
            self.busy = True

        def setBusy(self, busy: bool) -> None:
            self.busy = busy

    class Engine:
        def __init__(self) -> None:
            self.proxy = Proxy()

    monkeypatch.setattr(pyttsx3, "init", Engine)
    engine = rendering_child._engine()
    engine.proxy._driver.stop()
    assert not engine.proxy.busy
    assert stopped == []
