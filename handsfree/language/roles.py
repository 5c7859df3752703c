"""A grammar in, every phrase that can stand in an utterance with a value out, each with its roles."""

from __future__ import annotations

from handsfree.language.grammar import Grammar
from handsfree.language.phrases import Trie


def pieces_trie(grammar: Grammar) -> Trie:
    """Every phrase that can stand in an utterance with a value, with its roles."""
    trie = Trie()
    for quantity in grammar.quantities.values():
        for name in (*quantity.names, *quantity.heard):
            trie.add(name, "name", (quantity.id,))
        for name in quantity.shared:
            trie.add(name, "shared", (quantity.id,))
        for phrase in quantity.zero:
            trie.add(phrase, "zero", (quantity.id,))
    for unit in grammar.units.by_id.values():
        for name in unit.names:
            trie.add(name, "unit", (unit.id,))
        for name in (*unit.short, *unit.heard):
            trie.add(name, "short", (unit.id,))
    for qualifier in grammar.qualifiers:
        for name in qualifier.names:
            trie.add(name, "qualifier", qualifier.id)
    for generic in grammar.generics:
        for name in generic.names:
            trie.add(name, "generic", generic.dimension)
    for role, phrases in (
        ("filler", grammar.fillers),
        ("separator", grammar.separators),
        ("hedge", grammar.hedges),
        ("below", grammar.below),
    ):
        for phrase in phrases:
            trie.add(phrase, role, phrase)
    return trie
