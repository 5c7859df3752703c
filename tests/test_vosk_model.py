"""The English speech model that ships with the package."""

from pathlib import Path

import numpy as np
import pytest
import soundfile

import handsfree.listeners
from handsfree.language import load_language
from handsfree.model import Expectation

MODEL = Path(handsfree.listeners.__file__).parent / "vosk_en"
FIXTURES = Path(__file__).parents[1] / "audio_fixtures"


def words_of(table: str) -> set[str]:
    return {line.split()[0] for line in (MODEL / table).read_text(encoding="utf-8").splitlines()}


def test_it_is_small() -> None:
    """The whole model folder weighs at most 25 MB."""
    assert sum(p.stat().st_size for p in MODEL.rglob("*") if p.is_file()) <= 25_000_000


@pytest.mark.parametrize("kind", ["any", "number", "digits", "letters", "date", "time"])
def test_it_knows_the_words_of_the_grammars(kind: str) -> None:
    """No word of the grammars is unknown to the model, which would drop it without a word."""
    automaton = load_language().automaton(Expectation(kind=kind))  # type: ignore[arg-type]
    spoken = {word for state in range(len(automaton)) for word in automaton.arcs(state)}
    assert spoken - words_of("graph/words.txt") == set()
    assert spoken - words_of("lexicon.tsv") == set()


def test_a_second_opinion_gives_posteriors_every_30_ms() -> None:
    """ctc.onnx takes samples and gives probabilities of 40 phones that sum to one in every frame."""
    onnxruntime = pytest.importorskip("onnxruntime")
    session = onnxruntime.InferenceSession(str(MODEL / "ctc.onnx"), providers=["CPUExecutionProvider"])
    samples = np.random.default_rng(1).normal(0, 100, (1, 32000)).astype(np.float32)
    phones, states = session.run(["phones", "states"], {"samples": samples})
    assert phones.shape == (1, 66, 40)
    assert states.shape == (1, 66, 80)
    assert np.exp(phones).sum(2) == pytest.approx(1, abs=1e-3)


def test_it_loads_into_vosk_and_hears_a_reading() -> None:
    """vosk loads the folder, and with a small grammar the model hears the words of a recorded reading."""
    vosk = pytest.importorskip("vosk")
    import json

    vosk.SetLogLevel(-1)
    line = next(
        cells
        for row in (FIXTURES / "manifest.tsv").read_text(encoding="utf-8").splitlines()[1:]
        if (cells := row.split("\t"))[0].startswith("visit/") and "point" in cells[1].split()
    )
    samples, rate = soundfile.read(FIXTURES / line[0], dtype="int16")
    words = sorted({*line[1].split(), "one", "two", "three", "yes", "no", "flow", "bar", "minus"})
    recogniser = vosk.KaldiRecognizer(vosk.Model(model_path=str(MODEL)), rate, json.dumps([line[1], *words, "[unk]"]))
    recogniser.AcceptWaveform(samples.tobytes() + bytes(rate))
    assert json.loads(recogniser.FinalResult())["text"] == line[1]
