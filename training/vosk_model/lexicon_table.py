"""Texts in, lexicon.tsv out (word, us|gb, phones): every word of the vocabulary and of the given files.

    python lexicon_table.py --dictionary CMUDICT --out lexicon.tsv FILES...

FILES are packs' or jobs' tables (words in column 5 of both), or plain word lists.
"""

import argparse
from pathlib import Path

from lexicon import Lexicon
from vocabulary import DOMAIN


def words_of(path: Path) -> set[str]:
    found: set[str] = set()
    for line in path.read_text(encoding="utf-8").splitlines():
        columns = line.split("\t")
        found.update(columns[4 if len(columns) > 4 else 0].lower().split())
    return found


def main() -> None:
    ask = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    ask.add_argument("--dictionary", required=True)
    ask.add_argument("--out", type=Path, required=True)
    ask.add_argument("files", nargs="+", type=Path)
    options = ask.parse_args()
    lexicon, words = Lexicon(options.dictionary), set(DOMAIN)
    for path in options.files:
        words |= words_of(path)
    guessed = lexicon.add_guesses(sorted(words))
    with options.out.open("w", encoding="utf-8") as out:
        for word in sorted(w for w in words if w in lexicon):
            for accent in ("us", "gb"):
                for phones in lexicon.get(word, accent):
                    print(word, accent, " ".join(phones), sep="\t", file=out)
    print(len(words), "words;", len(guessed), "guessed:", " ".join(guessed[:60]))


if __name__ == "__main__":
    main()
