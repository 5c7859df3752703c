"""A spoken command in, what it does in the place on hand out. Repeat, back, hold, where and cancel work in every state
(rule 17)."""

from __future__ import annotations

from decimal import Decimal

from handsfree.dialogue.effects import Faster, Louder, Quieter, Slower
from handsfree.dialogue.looking import Handler, again, current_item, help, repeat, voice, where, why
from handsfree.dialogue.matching import fits, named_items
from handsfree.dialogue.moving import advance, enter, is_complete
from handsfree.dialogue.prompts import listen, open_names, phase, prompt
from handsfree.dialogue.proposing import change_item, confirm, drop, propose_reading, take_readings
from handsfree.dialogue.turn import Turn, sentence
from handsfree.dialogue.working import Trade
from handsfree.events import (
    AskClosed,
    Asked,
    CarriedOn,
    Deferred,
    Finished,
    Held,
    Kept,
    Marked,
    NoteTaken,
    WaitEnded,
)
from handsfree.model import Command, Heard, Reading
from handsfree.plans.plan import ABSENT, Item

MARK_SPREAD_S = 0.1
"""s either way that the beginning of a word is known to: our estimate of what endpointing leaves, not measured"""


def act(turn: Turn, trade: Trade, command: Command, heard: Heard) -> None:
    """Carry out a command. Ends the decision."""
    handler = _HANDLERS.get(command.command)
    if handler is None:
        turn.say("not_heard")
        again(turn)
        return
    handler(turn, trade, command, heard)


# ------------------------------------------------------------------------------------------------- moving


def _hold(turn: Turn, trade: Trade, command: Command, heard: Heard) -> None:
    if turn.state.unsafe is not None:
        again(turn)
        return
    if turn.state.asked is not None:
        turn.emit(AskClosed(what=turn.state.asked.what, answer="hold"))
    drop(turn, "hold")
    _stop_wait(turn)
    if not turn.state.held:
        turn.emit(Held(item=turn.state.item or ""))
    turn.cue("hold")
    name = turn.item.say if turn.item else "the end"
    turn.say("held", item=name)
    listen(turn)


def _stop_wait(turn: Turn) -> None:
    if turn.state.wait is not None:
        turn.emit(WaitEnded(item=turn.state.wait.item, seconds=turn.state.waited_s, cut_short=True))


def _carry_on(turn: Turn, trade: Trade, command: Command, heard: Heard) -> None:
    match phase(turn.view):
        case "held":
            turn.emit(CarriedOn(item=turn.state.item or ""))
            go_back_one(turn, trade)
        case "revisit":
            keep(turn, trade, heard)
        case "waiting":
            turn.say("wait_runs")
            listen(turn)
        case "closing":
            _take_up_open(turn)
        case _:
            again(turn)


def go_back_one(turn: Turn, trade: Trade) -> None:
    """Carry on after a pause: at the value confirmed last, never further on (rule 11). Ends the decision."""
    last = turn.state.last_value()
    if last is None:
        advance(turn, trade)
        return
    enter(turn, turn.plan.item(last.item), "resume")
    listen(turn)


def keep(turn: Turn, trade: Trade, heard: Heard) -> None:
    """The value looked at again stands."""
    assert turn.item is not None
    turn.emit(Kept(item=turn.item.id, how=heard.words))
    turn.say("kept")
    advance(turn, trade)


def _take_up_open(turn: Turn) -> None:
    items = turn.view.open_items(mandatory_only=True)
    if items:
        enter(turn, items[0], "again")
    else:
        prompt(turn)
    listen(turn)


def _back(turn: Turn, trade: Trade, command: Command, heard: Heard) -> None:
    if turn.state.unsafe is not None:
        turn.say("unsafe_no_command", "warning")
        again(turn)
        return
    _leave_side_paths(turn, "back")
    here = turn.state.item
    before = turn.view.item_before(here) if here else None
    if not here:
        last = turn.state.last_value()
        before = turn.plan.item(last.item) if last else None
    if before is None:
        turn.say("nothing_before")
        if turn.item is not None and turn.item.expect.kind == "wait":
            enter(turn, turn.item, "again")
        else:
            prompt(turn)
    else:
        enter(turn, before, "back")
    listen(turn)


def _leave_side_paths(turn: Turn, why: str) -> None:
    """Close what stands over the item: a side question, a proposal, a wait, a hold."""
    if turn.state.asked is not None:
        turn.emit(AskClosed(what=turn.state.asked.what, answer=why))
    drop(turn, why)
    _stop_wait(turn)
    if turn.state.held:
        turn.emit(CarriedOn(item=turn.state.item or ""))


def _cancel(turn: Turn, trade: Trade, command: Command, heard: Heard) -> None:
    match phase(turn.view):
        case "asked" | "unsafe" if turn.state.asked is not None:
            what = turn.state.asked.what
            turn.emit(AskClosed(what=what, answer="no" if what == "accept" else "cancel"))
            turn.say("dropped")
            if what == "accept":
                advance(turn, trade)
            else:
                again(turn)
        case "proposal":
            drop(turn, "cancel")
            turn.say("dropped")
            again(turn)
        case "waiting":
            name = turn.state.wait.what if turn.state.wait else ""
            _stop_wait(turn)
            turn.emit(Held(item=turn.state.item or ""))
            turn.say("wait_stopped", "warning", what=sentence(name))
            listen(turn)
        case "revisit":
            keep(turn, trade, heard)
        case _:
            turn.say("nothing_to_cancel")
            again(turn)


def _defer(turn: Turn, trade: Trade, command: Command, heard: Heard) -> None:
    item = current_item(turn)
    place = phase(turn.view)
    if place == "revisit":
        keep(turn, trade, heard)
        return
    if item is None or place not in ("item", "proposal", "waiting"):
        again(turn)
        return
    if item.killer:
        turn.say("killer_first", "warning", item=sentence(item.say))
        again(turn)
        return
    drop(turn, "deferred")
    _stop_wait(turn)
    if item.id not in turn.state.values:
        turn.emit(Deferred(item=item.id, reason=heard.words))
        turn.say("deferred", item=sentence(item.say))
    advance(turn, trade)


def _change(turn: Turn, trade: Trade, command: Command, heard: Heard) -> None:
    if turn.state.unsafe is not None:
        turn.say("unsafe_no_command", "warning")
        again(turn)
        return
    target = command.target or (command.readings[0].quantity if command.readings else None)
    if target is None:
        _change_the_last(turn, trade, heard)
        return
    qualifier = command.qualifier or (command.readings[0].qualifier if command.readings else None)
    found = named_items(turn.view, target, qualifier)
    reached = [i for i in found if _was_asked(turn, i)]
    if len(reached) != 1:
        if len(reached) > 1:
            turn.say("which_item", choices="; ".join(i.say for i in reached[:4]))
        elif found:
            turn.say("later_item", item=sentence(found[0].say))
        else:
            turn.say("no_such_item")
        again(turn)
        return
    found = tuple(reached)
    _leave_side_paths(turn, "change")
    change_item(turn, trade, found[0], command.readings, heard, "change")


def _change_the_last(turn: Turn, trade: Trade, heard: Heard) -> None:
    """ "Change that": the value that waits for its yes, else the one confirmed last."""
    last = turn.state.last_value()
    if turn.state.proposal is not None:
        drop(turn, "no")
        again(turn)
    elif last is not None:
        _leave_side_paths(turn, "change")
        change_item(turn, trade, turn.plan.item(last.item), (), heard, "change")
    else:
        turn.say("change_what")
        again(turn)


def _was_asked(turn: Turn, item: Item) -> bool:
    """It has an answer, was left for later, or is the one on hand: a change goes back, never forward."""
    state = turn.state
    return (
        item.id in state.values or item.id in state.deferred or item.id == state.item or bool(state.past.get(item.id))
    )


# --------------------------------------------------------------------------------------------- yes and no


def _yes(turn: Turn, trade: Trade, command: Command, heard: Heard) -> None:
    place = phase(turn.view)
    if command.readings and not _same_as_proposed(turn, command.readings):
        take_readings(turn, trade, command.readings, heard, current_item(turn))
    elif place == "proposal":
        confirm(turn, trade, heard)
    elif place == "revisit":
        keep(turn, trade, heard)
    else:
        if place == "item":
            turn.say("yes_is_no_value")
        again(turn)


def _same_as_proposed(turn: Turn, readings: tuple[Reading, ...]) -> bool:
    """The value said along with the yes is the one that was read back."""
    proposal = turn.state.proposal
    if proposal is None or len(readings) != len(proposal.event.readings):
        return False
    return all(str(r.value) == str(row["value"]) for r, row in zip(readings, proposal.event.readings, strict=True))


def _no(turn: Turn, trade: Trade, command: Command, heard: Heard) -> None:
    place = phase(turn.view)
    if command.readings and place in ("proposal", "item", "revisit"):
        _correct(turn, trade, command.readings, heard)
    elif place == "proposal":
        drop(turn, "no")
        turn.say("dropped")
        again(turn)
    elif place == "revisit":
        turn.say("need_value" if turn.item and turn.item.expect.kind == "quantity" else "need_answer")
        listen(turn)
    else:
        again(turn)


def _correct(turn: Turn, trade: Trade, readings: tuple[Reading, ...], heard: Heard) -> None:
    """ "no, nine point four": the proposal on hand, else, where the value is not the item's, the value just
    confirmed."""
    here = current_item(turn)
    last = turn.state.last_value()
    if turn.state.proposal is None and last is not None and len(readings) == 1:
        just = turn.plan.item(last.item)
        names_it = readings[0].quantity is not None and fits(just, readings[0])
        if names_it and (here is None or not fits(here, readings[0])):
            change_item(turn, trade, just, readings, heard, "change")
            return
    take_readings(turn, trade, readings, heard, here)


# -------------------------------------------------------------------------------------------------- asides


def _note(turn: Turn, trade: Trade, command: Command, heard: Heard) -> None:
    if command.target:
        turn.emit(NoteTaken(item=turn.state.item, words=command.target, clip=heard.clip))
        turn.say("note_kept", "value")
        again(turn)
        return
    turn.emit(Asked(what="note", item=turn.state.item))
    again(turn)


def _absent(turn: Turn, trade: Trade, command: Command, heard: Heard) -> None:
    item = current_item(turn)
    if item is None or phase(turn.view) not in ("item", "proposal", "revisit", "waiting"):
        again(turn)
        return
    drop(turn, "replaced")
    _stop_wait(turn)
    turn.emit(Asked(what="reason", item=item.id, detail=command.command))
    again(turn)


def _mark(turn: Turn, trade: Trade, command: Command, heard: Heard) -> None:
    item = turn.item
    if item is None or not item.expect.stopwatch or phase(turn.view) != "item":
        turn.say("mark_none")
        again(turn)
        return
    turn.emit(Marked(item=item.id, at_s=heard.start_s, spread_s=MARK_SPREAD_S, clip=heard.clip))
    turn.cue("mark")
    if len(turn.state.marks) < 2:
        turn.say("mark_first", "prompt")
        listen(turn)
        return
    seconds = turn.state.marks[-1].at_s - turn.state.marks[-2].at_s
    if seconds <= 0:
        turn.say("mark_backwards", "warning")
        listen(turn)
        return
    timed = Reading(Decimal(str(round(seconds, 1))), item.expect.quantity, "s", item.expect.qualifier)
    propose_reading(turn, trade, item, timed, heard, "timed")


def _finish(turn: Turn, trade: Trade, command: Command, heard: Heard) -> None:
    if phase(turn.view) == "closing" and is_complete(turn):
        end_visit(turn)
        return
    _leave_side_paths(turn, "finish")
    turn.emit(Asked(what="finish"))
    again(turn)


def end_visit(turn: Turn) -> None:
    """The visit is over: complete only when nothing mandatory is open and no unsafe situation is. Ends the decision."""
    complete = is_complete(turn)
    items = tuple(i.id for i in turn.view.open_items(mandatory_only=True)) + turn.view.open_results()
    turn.emit(Finished(complete=complete, open_items=items))
    say_end(turn)
    listen(turn)


def say_end(turn: Turn) -> None:
    """Say that the visit is over, and what is open."""
    names = open_names(turn)
    if turn.state.unsafe is not None:
        turn.say("finished_unsafe", "warning")
    elif names:
        turn.say("finished_open", "warning", items="; ".join(names))
    else:
        turn.say("finished")


_HANDLERS: dict[str, Handler] = {
    "yes": _yes,
    "no": _no,
    "repeat": repeat,
    "back": _back,
    "hold": _hold,
    "carry_on": _carry_on,
    "defer": _defer,
    "where": where,
    "why": why,
    "help": help,
    "cancel": _cancel,
    "change": _change,
    "mark": _mark,
    "note": _note,
    "louder": voice(Louder(), "louder"),
    "quieter": voice(Quieter(), "quieter"),
    "slower": voice(Slower(), "slower"),
    "faster": voice(Faster(), "faster"),
    "finish": _finish,
    **dict.fromkeys(ABSENT, _absent),
}
