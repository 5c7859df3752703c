"""Words in, the tokens in which each network writes them out (with the space before the word), as one JSON file.

python token_writing.py --out tokens.json TABLE.tsv...      (the fifth column of each line: words)
"""

import argparse
import json
import sys
from collections.abc import Callable, Mapping
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2]))
from handsfree.listeners.models import find_wheel_model
from handsfree.listeners.moonshine import read_tokens

LAST_BYTE = 258


def pairs_joined(pieces: list[str], rank: Callable[[str, str], int | None]) -> list[str]:
    """Byte-pair encoding: the pair of the lowest rank is joined until none is left."""
    while len(pieces) > 1:
        ranked = [(r, i) for i in range(len(pieces) - 1) if (r := rank(pieces[i], pieces[i + 1])) is not None]
        if not ranked:
            break
        _, at = min(ranked)
        pieces = [*pieces[:at], pieces[at] + pieces[at + 1], *pieces[at + 2 :]]
    return pieces


def whisper_writer(folder: Path) -> Callable[[str], list[int]]:
    model = json.loads((folder / "tokenizer.json").read_text(encoding="utf-8"))["model"]
    merges = [tuple(m.split(" ")) if isinstance(m, str) else tuple(m) for m in model["merges"]]
    ranks: Mapping[tuple[str, ...], int] = {pair: i for i, pair in enumerate(merges)}

    def write(word: str) -> list[int]:
        # GPT-2 cuts a word before its apostrophe.
        parts = ("Ġ" + word).replace("'", "\n'").split("\n")
        return [model["vocab"][p] for part in parts for p in pairs_joined(list(part), lambda a, b: ranks.get((a, b)))]

    return write


def moonshine_writer(folder: Path) -> Callable[[str], list[int]]:
    """The numbers of the tokens are in the order in which they were joined; single letters come last. The numbers from 3
    to 258 are bytes, for characters that have no token: they read like letters, and are not what the network writes."""
    texts = read_tokens(folder / "tokenizer.bin")
    numbers = {text: i for i, text in reversed(list(enumerate(texts))) if text and i > LAST_BYTE}

    def write(word: str) -> list[int]:
        return [numbers[p] for p in pairs_joined(list(" " + word), lambda a, b: numbers.get(a + b))]

    return write


def main() -> None:
    ask = argparse.ArgumentParser(description=__doc__)
    ask.add_argument("--out", type=Path, required=True)
    ask.add_argument("tables", nargs="+", type=Path)
    options = ask.parse_args()
    words = {
        w
        for t in options.tables
        for line in t.read_text(encoding="utf-8").splitlines()
        for w in line.split("\t")[4].split()
    }
    writers = {
        "whisper": whisper_writer(find_wheel_model("whisper")),
        "moonshine": moonshine_writer(find_wheel_model("moonshine")),
    }
    table = {name: {w: write(w) for w in sorted(words)} for name, write in writers.items()}
    options.out.write_text(json.dumps(table), encoding="utf-8")
    print(len(words), "words;", {n: round(sum(map(len, t.values())) / len(words), 2) for n, t in table.items()})


if __name__ == "__main__":
    main()
