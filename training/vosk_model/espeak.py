"""Texts in, International Phonetic Alphabet out (espeak-ng), many at once."""

import subprocess

from vocabulary import ICAO, ONES

VOICES = {"gb": "en-gb", "us": "en-us"}


def ipa(texts: list[str], accent: str) -> list[str]:
    """One line of IPA for each text; blank lines between them keep espeak-ng from joining clauses."""
    if not texts:
        return []
    heard = subprocess.run(
        ["espeak-ng", "-q", "--ipa", "-v", VOICES[accent]],
        input="\n\n".join(texts),
        capture_output=True,
        text=True,
        check=True,
    ).stdout
    lines = [" ".join(line.split()).replace("_", "") for line in heard.split("\n") if line.strip()]
    if len(lines) == len(texts):
        return lines
    if len(texts) == 1:  # a text that espeak-ng cuts into clauses by itself
        return [" ".join(lines)]
    half = len(texts) // 2
    return ipa(texts[:half], accent) + ipa(texts[half:], accent)


SPELLED = frozenset([*ONES, "oh", "double", "treble", "triple", "dash", "slash", *ICAO, "x", "ray"])


def respell(text: str) -> str:
    """Letters as capitals so that they are spelled. "a" is the letter in what is spelled out, before another single
    letter and at the end; elsewhere it is the article. espeak-ng reads a lone A as the article, and "ay" as the letter I."""
    words = text.split()
    spelling = len(words) > 1 and all(len(w) == 1 or w in SPELLED for w in words)
    return " ".join(
        ("eigh" if spelling or len(after) < 2 else "a") if word == "a" else word.upper() if len(word) == 1 else word
        for word, after in zip(words, [*words[1:], ""], strict=True)
    )
