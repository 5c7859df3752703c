"""Commands that look and change nothing: repeat, where, why, help, and the voice louder, quieter, slower, faster."""

from __future__ import annotations

from collections.abc import Callable

from handsfree.dialogue.effects import Faster, Louder, Quieter, Slower
from handsfree.dialogue.matching import named_items
from handsfree.dialogue.prompts import listen, phase, prompt, say_where
from handsfree.dialogue.turn import Turn
from handsfree.dialogue.unsafe import emergency_of, say_steps
from handsfree.dialogue.wording import word
from handsfree.dialogue.working import Trade
from handsfree.model import Command, Heard
from handsfree.plans.plan import Item

Handler = Callable[[Turn, Trade, Command, Heard], None]


def again(turn: Turn, say: bool = True) -> None:
    """Say the place on hand once more and listen."""
    if say:
        prompt(turn)
    listen(turn)


def current_item(turn: Turn) -> Item | None:
    """The item that a value would belong to now."""
    if turn.state.proposal is not None and turn.plan.has_item(turn.state.proposal.event.item):
        return turn.plan.item(turn.state.proposal.event.item)
    return turn.item


# -------------------------------------------------------------------------------------- looking and voice


def repeat(turn: Turn, trade: Trade, command: Command, heard: Heard) -> None:
    turn.careful = True
    if turn.state.unsafe is not None and turn.state.asked is None:
        say_steps(turn, emergency_of(turn))
    again(turn)


def where(turn: Turn, trade: Trade, command: Command, heard: Heard) -> None:
    say_where(turn)
    again(turn, say=phase(turn.view) != "item")


def why(turn: Turn, trade: Trade, command: Command, heard: Heard) -> None:
    found = named_items(turn.view, command.target, command.qualifier) if command.target else ()
    item = found[0] if found else current_item(turn)
    turn.speak(item.why if item and item.why else word("why_none"), "status")
    again(turn)


_HELP = {
    **dict.fromkeys(("proposal", "asked", "question", "revisit"), "help_yes"),
    "waiting": "help_wait",
    "held": "help_held",
    "unsafe": "help_unsafe",
}


def help(turn: Turn, trade: Trade, command: Command, heard: Heard) -> None:
    key = _HELP.get(phase(turn.view), "help_item")
    turn.say(key)
    again(turn)


def voice(effect: Louder | Quieter | Slower | Faster, key: str) -> Handler:
    def change(turn: Turn, trade: Trade, command: Command, heard: Heard) -> None:
        turn.do(effect)
        turn.say(key)
        again(turn, say=phase(turn.view) != "waiting")

    return change
