"""Texts in, International Phonetic Alphabet out (espeak-ng), many at once."""

import subprocess

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


def respell(text: str) -> str:
    """Letters as capitals so that they are spelled; the letter A as "ay" unless it is the article."""
    words = text.split()
    article = ["half", "quarter", "third", "minute", "hour", "hundred", "thousand", "note", "gas", "new", "litre"]
    return " ".join(
        ("a" if after in article else "ay") if word == "a" else word.upper() if len(word) == 1 else word
        for word, after in zip(words, [*words[1:], ""], strict=True)
    )
