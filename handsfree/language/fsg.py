"""An automaton over words in, a Sphinx finite-state grammar as text out, for engines that read that format.

The format is that of the CMU Sphinx project (JSGF's plain sister): FSG_BEGIN, NUM_STATES, START_STATE, FINAL_STATE,
one TRANSITION line an arc (from, to, probability, word; without a word it is silent), FSG_END. It has one final state.
"""

from __future__ import annotations

from handsfree.language.automaton import WordAutomaton


def automaton_to_fsg(automaton: WordAutomaton, name: str = "handsfree") -> str:
    """The text of a grammar that accepts what the automaton accepts, every way out of a state equally likely.

    Args:
        automaton: at least one sentence long, as every compiled expectation is.
        name: without blanks.
    """
    final = len(automaton)
    lines = [f"FSG_BEGIN {name}", f"NUM_STATES {final + 1}", f"START_STATE {automaton.start}", f"FINAL_STATE {final}"]
    for state in range(final):
        arcs = automaton.arcs(state)
        ways = len(arcs) + automaton.final(state)
        lines += [f"TRANSITION {state} {target} {1 / ways:.6f} {word}" for word, target in sorted(arcs.items())]
        if automaton.final(state):
            lines.append(f"TRANSITION {state} {final} {1 / ways:.6f}")
    return "\n".join([*lines, "FSG_END", ""])
