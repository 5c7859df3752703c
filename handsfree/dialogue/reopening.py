"""A visit that was ended with something open, and an answer, in; the visit open again, or as it was, out."""

from __future__ import annotations

from handsfree.dialogue.commands import say_end
from handsfree.dialogue.moving import advance
from handsfree.dialogue.prompts import listen, prompt
from handsfree.dialogue.turn import Turn
from handsfree.dialogue.unsafe import emergency_of, say_steps
from handsfree.dialogue.working import Trade
from handsfree.events import AskClosed, ReadAgain, Reopened
from handsfree.model import Heard


def answer_reopening(turn: Turn, trade: Trade, heard: Heard, answer: str) -> None:
    """What follows from yes, no or neither to "take it up again?". Ends the decision."""
    if answer == "yes":
        turn.emit(AskClosed(what="reopen", answer="yes"))
        reopen(turn, heard)
        turn.say("reopened", "value")
        if turn.state.unsafe is None:
            advance(turn, trade)
            return
        say_steps(turn, emergency_of(turn))
        prompt(turn)
    elif answer == "no":
        turn.emit(AskClosed(what="reopen", answer="no"))
        say_end(turn)
    else:
        prompt(turn)
    listen(turn)


def reopen(turn: Turn, heard: Heard) -> None:
    """An ended visit is open again: what was left for later, refused, or a killer item without a value, is asked
    again."""
    view = turn.view
    items = view.open_items()
    turn.emit(
        Reopened(
            open_items=tuple(i.id for i in items) + view.open_results(),
            chunks=tuple(c.id for c in turn.plan.chunks if any(i.chunk == c.id for i in items)),
            words=heard.words,
            clip=heard.clip,
        )
    )
    for item in items:
        if item.id in turn.state.values:
            turn.emit(ReadAgain(items=(item.id,), round=view.round_of(item.id) + 1, because="reopened"))
