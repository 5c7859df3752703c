"""Texts in, International Phonetic Alphabet out (espeak-ng), many at once."""

import subprocess

VOICES = {"gb": "en-gb", "us": "en-us"}


def ipa(texts: list[str], accent: str) -> list[str]:
    """One line of IPA for each text; blank lines between them keep espeak-ng from joining clauses."""
    heard = subprocess.run(
        ["espeak-ng", "-q", "--ipa", "-v", VOICES[accent]],
        input="\n\n".join(texts),
        capture_output=True,
        text=True,
        check=True,
    ).stdout
    lines = [" ".join(line.split()).replace("_", "") for line in heard.split("\n") if line.strip()]
    if len(lines) != len(texts):
        raise ValueError(f"espeak-ng gave {len(lines)} lines for {len(texts)} texts")
    return lines


def respell(text: str) -> str:
    """Letters as capitals so that they are spelled; the letter A as "ay" unless it is the article."""
    words = text.split()
    article = ["half", "quarter", "third", "minute", "hour", "hundred", "thousand", "note", "gas", "new", "litre"]
    return " ".join(
        ("a" if after in article else "ay") if word == "a" else word.upper() if len(word) == 1 else word
        for word, after in zip(words, [*words[1:], ""], strict=True)
    )
