"""Compares networks.py, the shipped additions merged, with the product's graphs on one recording: log-probabilities along a forced text.

python check_networks.py --weights DIR --sound FILE --graphs CACHE
"""

import argparse
import sys
from pathlib import Path

import numpy as np
import torch

sys.path.insert(0, str(Path(__file__).parents[2]))
import networks

from handsfree.listeners import additions
from handsfree.listeners.whisper import WINDOW_FRAMES


def along(decoder, tokens: list[int]) -> np.ndarray:
    rows = [decoder.start()]
    for token in tokens:
        rows.append(decoder.step(np.zeros(1, np.int64), np.array([token], np.int64)))
    return np.concatenate(rows)


def compare(name: str, weights: Path, samples: np.ndarray, graphs: Path) -> None:
    if name == "whisper":
        from handsfree.listeners.whisper import WhisperModel

        model = WhisperModel(graphs)
    else:
        from handsfree.listeners.moonshine import MoonshineModel

        model = MoonshineModel(cache_folder=graphs)
    decoder, text = model.decode(samples), []
    row = decoder.start()
    while (token := int(row.argmax())) != decoder.end and len(text) < 40:
        text.append(token)
        row = decoder.step(np.zeros(1, np.int64), np.array([token], np.int64))
    theirs = along(model.decode(samples), text)
    net = networks.load(name, weights / f"{name}.npz", 1, 0)
    with np.load(Path(additions.__file__).with_name(f"{name}_additions.npz")) as file:
        shipped = {k.replace(".", "|"): torch.from_numpy(file[k].astype(np.float32)) for k in file.files}
    net.merge(shipped)
    with torch.no_grad():
        window = (WINDOW_FRAMES,) if name == "whisper" else ()
        hidden = net.encode(torch.from_numpy(samples)[None], *window)
        logits = net.decode(hidden, torch.tensor([[*net.start, *text]]))[0, len(net.start) - 1 :]
    ours = logits.log_softmax(-1).numpy()
    difference = np.abs(ours - theirs)[theirs > -8]
    same = (ours.argmax(-1) == theirs.argmax(-1)).mean()
    print(
        name, "".join(model.texts[t] for t in text), f"mean {difference.mean():.4f} most {difference.max():.4f}", same
    )


def main() -> None:
    import soundfile

    ask = argparse.ArgumentParser(description=__doc__)
    ask.add_argument("--weights", type=Path, required=True)
    ask.add_argument("--sound", type=Path, required=True)
    ask.add_argument("--graphs", type=Path, required=True, help="cache for the product's graphs")
    options = ask.parse_args()
    samples, rate = soundfile.read(options.sound, dtype="float32")
    assert rate == 16000
    for name in ("whisper", "moonshine"):
        compare(name, options.weights, samples * (0.5 / np.abs(samples).max()), options.graphs)


if __name__ == "__main__":
    main()
