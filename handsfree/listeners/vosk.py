"""A segment and an expectation in, one opinion out, by Vosk with any English model in its format and a grammar made
at run time.

Traps that shape this module: Vosk drops words that its model does not know without a word, so they are left out
beforehand; it estimates a bigram from the grammar list, so sampled phrases teach it what an utterance looks like; its
`Reset` is not safe, so every segment gets a fresh recogniser; its confidences do not tell right from wrong, so they
are kept for the record only.
"""

from __future__ import annotations

import json
import random
import time
from typing import Any

import numpy as np
from numpy.typing import NDArray

from handsfree.errors import MissingPart
from handsfree.listeners.base import Candidate, Opinion, Words
from handsfree.listeners.compiled import Compiled
from handsfree.listeners.levels import levelled
from handsfree.listeners.models import VoskModel
from handsfree.model import SAMPLE_RATE, Expectation, Nothing, Readings, Segment, Text

UNKNOWN = "[unk]"
PHRASES = 5600
_VALUE_PHRASES = 5000
"""of them are values: a random walk through the grammar meets commands far more often than an engineer says them.
Measured with one model: 600 phrases as they come 12 of 38 digit strings right; 400 of them values 29; 5,000 values 36."""
_MOST_SAMPLES = 30000
_SEED = 4
_PAD_S = 0.2
"""s of faint noise before and behind: the endpointer cuts close, and the network looks 0.4 s to both sides."""


def load_model(model: VoskModel) -> Any:
    """Load a model into Vosk.

    Raises:
        MissingPart: vosk is not installed, or it cannot load the folder.
    """
    try:
        import vosk
    except ImportError:
        raise MissingPart("vosk is not installed", "install the extra: pip install 'handsfree[hear]'") from None
    vosk.SetLogLevel(-1)
    try:
        # By path only: a lookup by name goes to the network and ends the process.
        return vosk.Model(model_path=str(model.folder))
    except Exception as error:  # vosk raises bare Exception
        raise MissingPart(f"vosk cannot load {model.folder} ({error})", "add the model again") from None


class VoskListener:
    """A `Listener` on a Vosk-format model."""

    name = "vosk"

    def __init__(self, model: VoskModel, language: Words) -> None:
        self._description = model
        self._model = load_model(model)
        self._language = language
        self._grammars: Compiled[str] = Compiled()

    def prepare(self, expectation: Expectation) -> None:
        self._grammar(expectation)

    def listen(self, segment: Segment, expectation: Expectation) -> Opinion:
        began = time.perf_counter()
        samples = levelled(segment.samples)
        if samples is None:
            return Opinion(self.name, (), refused=True, seconds=time.perf_counter() - began)
        words, least = self._recognise(samples, self._grammar(expectation))
        spoken = [w for w in words if w != UNKNOWN]
        outcome = self._language.understand(" ".join(spoken), expectation)
        known = bool(spoken) and len(spoken) == len(words) and not isinstance(outcome, Nothing)
        values = (Candidate(" ".join(spoken), outcome, 0.0),) if known else ()
        return Opinion(
            self.name,
            values,
            free_words=" ".join(words),
            refused=not known,
            scores={"unknown": float(len(words) - len(spoken)), "confidence": round(least, 3)},
            seconds=time.perf_counter() - began,
        )

    def _recognise(self, samples: NDArray[np.float32], grammar: str) -> tuple[list[str], float]:
        """Words of the whole segment, and the least of their confidences."""
        import vosk

        arguments = (
            (self._model, SAMPLE_RATE, grammar) if self._description.runtime_grammar else (self._model, SAMPLE_RATE)
        )
        recogniser = vosk.KaldiRecognizer(*arguments)
        recogniser.SetWords(True)
        pad = np.random.default_rng(0).normal(0, 1e-4, int(_PAD_S * SAMPLE_RATE)).astype(np.float32)
        sound = np.concatenate([pad, samples, pad])
        pcm = (np.clip(sound, -1, 1) * 32767).astype("<i2").tobytes()
        results = []
        for at in range(0, len(pcm), SAMPLE_RATE):
            if recogniser.AcceptWaveform(pcm[at : at + SAMPLE_RATE]):
                results.append(json.loads(recogniser.Result()))
        results.append(json.loads(recogniser.FinalResult()))
        found = [w for result in results for w in result.get("result", [])]
        return [w["word"] for w in found], min((float(w["conf"]) for w in found), default=0.0)

    def _grammar(self, expectation: Expectation) -> str:
        """The grammar list as JSON: the words of the language that the model knows, sampled phrases, and what stands
        for everything else."""
        return self._grammars.of(self._language.automaton(expectation), lambda: self._make_grammar(expectation))

    def _make_grammar(self, expectation: Expectation) -> str:
        known = {w for w in self._language.vocabulary(expectation) if self._model.vosk_model_find_word(w) >= 0}
        rng = random.Random(_SEED)
        values: list[str] = []
        others: list[str] = []
        for _ in range(_MOST_SAMPLES):
            words, outcome = self._language.sample(rng, expectation)
            if set(words.split()) <= known:
                (values if isinstance(outcome, Readings | Text) else others).append(words)
            if len(values) >= _VALUE_PHRASES:
                break
        phrases = values[:_VALUE_PHRASES] + others[: PHRASES - _VALUE_PHRASES]
        return json.dumps([*sorted(known), *phrases, UNKNOWN])
