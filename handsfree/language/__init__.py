"""Words in, outcomes out; values in, words out; the grammar in, what listeners need out.

`load_language()` gives a `Language`; its modules follow the way of an utterance: written -> commands -> texts ->
pieces -> durations -> weighing -> doubts -> interpret.
"""

from handsfree.language.language import Language, grammar_folder, load_language

__all__ = ["Language", "grammar_folder", "load_language"]
