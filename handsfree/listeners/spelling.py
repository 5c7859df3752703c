"""The language's spellings in, the spellings that the listeners use out."""

from __future__ import annotations

from collections.abc import Mapping

from handsfree.listeners.base import Words


def all_spellings(language: Words) -> Mapping[tuple[str, ...], tuple[str, ...]]:
    """Words -> other ways in which a speech model writes them."""
    return {words: tuple(written) for words, written in language.spellings.items()}
