"""An utterance in; emergencies first, then side questions, commands and values, out."""

from __future__ import annotations

from handsfree.dialogue.commands import act, end_visit, go_back_one, keep
from handsfree.dialogue.crosschecking import result_in_question
from handsfree.dialogue.moving import advance, enter, read_again
from handsfree.dialogue.prompts import listen, phase, prompt
from handsfree.dialogue.proposing import confirm_answer, propose_absent, propose_answer, take_readings
from handsfree.dialogue.reopening import answer_reopening, reopen
from handsfree.dialogue.turn import Turn, sentence
from handsfree.dialogue.unsafe import class_is_asked, declare, emergency_of, say_steps, take_answer
from handsfree.dialogue.wording import absent_words
from handsfree.dialogue.working import Trade
from handsfree.events import AskClosed, Asked, NoteTaken, OutsideAccepted, Questioned, ReadAgain, UtteranceHeard
from handsfree.model import Command, Heard, ListenerReport, Nothing, Outcome, Readings, Text, Unsure, outcome_to_json
from handsfree.plans.plan import Item

_EMERGENCIES = ("smell_of_gas", "unsafe")
_SIDE_COMMANDS = (
    "repeat",
    "where",
    "why",
    "help",
    "louder",
    "quieter",
    "slower",
    "faster",
    "hold",
    "back",
    "cancel",
    "finish",
)
"""commands that work while a side question is open"""
_UNSAFE_COMMANDS = (
    "repeat",
    "where",
    "help",
    "louder",
    "quieter",
    "slower",
    "faster",
    "cancel",
    "finish",
    "note",
    "back",
    "change",
    "hold",
)


def take_heard(turn: Turn, trade: Trade, heard: Heard) -> None:
    """Decide on an utterance. Ends the decision."""
    turn.emit(
        UtteranceHeard(
            item=turn.state.item,
            words=heard.words,
            outcome=outcome_to_json(heard.outcome),
            listeners=tuple(_report(r) for r in heard.listeners),
            reason=heard.reason,
            clip=heard.clip,
            start_s=heard.start_s,
            end_s=heard.end_s,
        )
    )
    outcome = heard.outcome
    if turn.state.finished is not None and not _in_ended(turn, trade, heard):
        return
    if isinstance(outcome, Command) and outcome.command == "unsafe" and class_is_asked(turn):
        take_answer(turn, heard)
    elif isinstance(outcome, Command) and outcome.command in _EMERGENCIES:
        _emergency(turn, outcome.command, heard)
    elif isinstance(outcome, Unsure) and _may_be_emergency(outcome) and turn.state.unsafe is None:
        turn.emit(Asked(what="smell"))
        prompt(turn)
        listen(turn)
    elif turn.state.unsafe is not None:
        _in_unsafe(turn, trade, heard)
    elif turn.state.asked is not None:
        _in_asked(turn, trade, turn.state.asked, heard)
    elif turn.state.question is not None:
        _in_question(turn, trade, turn.state.question, heard)
    else:
        _in_dialogue(turn, trade, heard)


def _report(report: ListenerReport) -> dict[str, object]:
    return {
        "listener": report.listener,
        "words": report.words,
        "outcome": outcome_to_json(report.outcome),
        "scores": dict(report.scores),
        "seconds": report.seconds,
    }


def _is_emergency(outcome: Outcome) -> bool:
    return isinstance(outcome, Command) and outcome.command in _EMERGENCIES


def _may_be_emergency(outcome: Outcome) -> bool:
    alternatives = outcome.alternatives if isinstance(outcome, Unsure) else (outcome,)
    return any(_is_emergency(each) for each in alternatives)


def _in_ended(turn: Turn, trade: Trade, heard: Heard) -> bool:
    """The answer to "take it up again?" about an ended visit. True: an emergency, which opens it, is to be dealt with;
    else the decision is ended here."""
    outcome = heard.outcome
    if _may_be_emergency(outcome):
        reopen(turn, heard)
        return True
    gives_up = isinstance(outcome, Command) and outcome.command in ("cancel", "finish")
    answer_reopening(turn, trade, heard, "no" if gives_up else _yes_or_no(outcome))
    return False


def _emergency(turn: Turn, trigger: str, heard: Heard) -> None:
    if turn.state.unsafe is not None and trigger in (turn.state.unsafe.trigger, "unsafe"):
        say_steps(turn, emergency_of(turn))
        prompt(turn)
    else:
        declare(turn, trigger, trigger, heard)
    listen(turn)


def _in_unsafe(turn: Turn, trade: Trade, heard: Heard) -> None:
    outcome = heard.outcome
    asked = turn.state.asked
    if asked is not None and asked.what in ("note", "finish"):
        _in_asked(turn, trade, asked, heard)
        return
    if isinstance(outcome, Command) and outcome.command in _UNSAFE_COMMANDS:
        act(turn, trade, outcome, heard)
        return
    trigger = turn.state.unsafe.trigger if turn.state.unsafe else ""
    take_answer(turn, heard)
    if turn.state.unsafe is None:
        _after_clearing(turn, trade, trigger)


def _after_clearing(turn: Turn, trade: Trade, trigger: str) -> None:
    """What led to the unsafe situation is tested again; where that was said and not measured, the dialogue goes back
    one item."""
    items = _tested_by(turn, trigger)
    if items:
        number = max(turn.view.round_of(i) for i in items) + 1
        turn.emit(ReadAgain(items=items, round=number, because="cleared"))
        advance(turn, trade)
    else:
        go_back_one(turn, trade)


def _tested_by(turn: Turn, trigger: str) -> tuple[str, ...]:
    """The answered items to test again: a killer item itself, a result's readings, a loop's items. Another item's
    answer stands as recorded (an appliance that was turned off)."""
    rule = turn.plan.result(trigger)
    loop = next((each for each in turn.plan.loops if each.id == trigger), None)
    if rule is not None:
        items = rule.read_again or turn.plan.inputs_of(rule)
    elif loop is not None:
        items = loop.items
    else:
        items = (trigger,) if turn.plan.has_item(trigger) and turn.plan.item(trigger).killer else ()
    return tuple(i for i in items if i in turn.state.values)


# ------------------------------------------------------------------------------------------- side questions


def _in_asked(turn: Turn, trade: Trade, asked: Asked, heard: Heard) -> None:
    outcome = heard.outcome
    side = isinstance(outcome, Command) and outcome.command in _SIDE_COMMANDS
    if isinstance(outcome, Command) and side and not (outcome.command == "finish" and asked.what == "finish"):
        act(turn, trade, outcome, heard)
        return
    if asked.what in ("note", "reason"):
        _take_words(turn, asked, heard)
        return
    answer = _yes_or_no(outcome)
    if not answer:
        prompt(turn)
        listen(turn)
        return
    turn.emit(AskClosed(what=asked.what, answer=answer))
    _ASKED[asked.what](turn, trade, asked, answer, heard)


def _yes_or_no(outcome: Outcome) -> str:
    if isinstance(outcome, Command) and outcome.command in ("yes", "no") and not outcome.readings:
        return outcome.command
    if isinstance(outcome, Text) and outcome.text in ("yes", "no"):
        return outcome.text
    return ""


def _take_words(turn: Turn, asked: Asked, heard: Heard) -> None:
    """A note or a reason: any words, kept as a clip, unchecked."""
    if not heard.words.strip() and heard.clip is None:
        prompt(turn)
        listen(turn)
        return
    turn.emit(AskClosed(what=asked.what, answer="given"))
    if asked.what == "note":
        turn.emit(NoteTaken(item=asked.item, words=heard.words, clip=heard.clip))
        turn.say("note_kept", "value")
        prompt(turn)
        listen(turn)
    elif asked.item is not None:
        propose_absent(turn, turn.plan.item(asked.item), asked.detail, heard)


def _asked_finish(turn: Turn, trade: Trade, asked: Asked, answer: str, heard: Heard) -> None:
    if answer == "yes":
        end_visit(turn)
        return
    turn.say("finish_no")
    _back_to_work(turn, trade)


def _back_to_work(turn: Turn, trade: Trade) -> None:
    """After an aside that may have stopped a wait."""
    item = turn.item
    if (
        turn.state.unsafe is None
        and item is not None
        and item.expect.kind == "wait"
        and item.id not in turn.state.values
    ):
        enter(turn, item, "again")
    else:
        prompt(turn)
    listen(turn)


def _asked_accept(turn: Turn, trade: Trade, asked: Asked, answer: str, heard: Heard) -> None:
    assert asked.item is not None
    rule = turn.plan.result(asked.item)
    if answer == "yes":
        turn.emit(OutsideAccepted(item=asked.item, words=heard.words, clip=heard.clip))
        turn.say("recorded_outside", "value")
    elif rule is not None and any(turn.view.applies(turn.plan.item(i)) for i in rule.read_again):
        read_again(turn, rule)
    advance(turn, trade)


def _asked_smell(turn: Turn, trade: Trade, asked: Asked, answer: str, heard: Heard) -> None:
    if answer == "yes":
        declare(turn, "smell_of_gas", "smell_of_gas", heard)
    else:
        prompt(turn)
    listen(turn)


_ASKED = {"finish": _asked_finish, "accept": _asked_accept, "smell": _asked_smell}


def _in_question(turn: Turn, trade: Trade, question: Questioned, heard: Heard) -> None:
    outcome = heard.outcome
    answer = _yes_or_no(outcome)
    if answer:
        turn.emit(Questioned(items=question.items, question=question.question, answer=answer, id=question.id))
        if answer == "yes" or not question.items:
            turn.say("question_kept" if answer == "yes" else "question_of_job_no")
            advance(turn, trade)
        elif rule := result_in_question(turn.view, question.id):
            read_again(turn, rule)
            advance(turn, trade)
        else:
            enter(turn, turn.plan.item(question.items[-1]), "change")
            listen(turn)
        return
    if isinstance(outcome, Command) and outcome.command not in ("yes", "no"):
        if outcome.command in ("change", "back", "hold", "finish"):
            turn.emit(
                Questioned(items=question.items, question=question.question, answer=outcome.command, id=question.id)
            )
        act(turn, trade, outcome, heard)
        return
    prompt(turn)
    listen(turn)


# ---------------------------------------------------------------------------------------------- the work


def _in_dialogue(turn: Turn, trade: Trade, heard: Heard) -> None:
    outcome = heard.outcome
    item = turn.item
    place = phase(turn.view)
    if place == "item" and item is not None and _is_free_answer(item, heard):
        confirm_answer(turn, trade, item, heard.words, "text", heard, heard, "text")
    elif place == "revisit" and item is not None and item.expect.kind == "yes_no" and _yes_or_no(outcome):
        _answer_again(turn, trade, item, _yes_or_no(outcome), heard)
    elif isinstance(outcome, Command) and not _answers(item, place, outcome):
        act(turn, trade, outcome, heard)
    elif place == "held":
        prompt(turn)
        listen(turn)
    elif isinstance(outcome, Readings):
        take_readings(turn, trade, outcome.readings, heard, _owner(turn))
    elif isinstance(outcome, Unsure):
        _ask_which(turn, outcome)
    else:
        _take_answer(turn, trade, outcome, heard)


def _answer_again(turn: Turn, trade: Trade, item: Item, answer: str, heard: Heard) -> None:
    """A yes or no to a question that was answered before: the same keeps it, the other is read back."""
    if turn.state.values[item.id].text == answer:
        keep(turn, trade, heard)
    else:
        propose_answer(turn, trade, item, answer, "yes_no", heard)


def _owner(turn: Turn) -> Item | None:
    proposal = turn.state.proposal
    if proposal is not None and turn.plan.has_item(proposal.event.item):
        return turn.plan.item(proposal.event.item)
    return turn.item if phase(turn.view) in ("item", "revisit") else None


def _is_free_answer(item: Item, heard: Heard) -> bool:
    """Any words answer a free question, a plain yes or no among them; the other commands stay commands."""
    command = heard.outcome.command if isinstance(heard.outcome, Command) else ""
    return item.expect.kind == "text" and bool(heard.words.strip()) and command in ("", "yes", "no")


def _answers(item: Item | None, place: str, command: Command) -> bool:
    """A yes or no that is the answer of the item itself."""
    if item is None or place != "item" or command.readings:
        return False
    return (item.expect.kind == "yes_no" and command.command in ("yes", "no")) or (
        item.expect.kind == "state" and command.command == "yes"
    )


def _take_answer(turn: Turn, trade: Trade, outcome: Outcome, heard: Heard) -> None:
    """A command that answers, a text, or nothing."""
    item = _owner(turn)
    if item is None:
        _nothing(turn)
        return
    kind = item.expect.kind
    if isinstance(outcome, Command):
        propose_answer(turn, trade, item, "done" if kind == "state" else outcome.command, kind, heard)
    elif isinstance(outcome, Text) and _text_fits(item, outcome):
        propose_answer(turn, trade, item, outcome.text, kind, heard)
    elif isinstance(outcome, Text):
        turn.say("need_value" if kind == "quantity" else "need_answer")
        prompt(turn)
        listen(turn)
    else:
        _nothing(turn)


def _text_fits(item: Item, text: Text) -> bool:
    kind = item.expect.kind
    if kind in ("choice", "state"):
        return text.kind == "choice" and text.text in item.expect.phrases
    if kind == "yes_no":
        return text.text in ("yes", "no")
    if kind == "serial":
        return text.kind in ("serial", "digits", "letters")
    return text.kind == kind


def _nothing(turn: Turn) -> None:
    """Noise, or talk that is not for us: a cue; after three in a row, words."""
    if turn.state.unheard % 3 == 0:
        turn.careful = True
        turn.say("not_heard")
        prompt(turn)
    else:
        turn.cue("pardon")
    listen(turn)


def _ask_which(turn: Turn, unsure: Unsure) -> None:
    """Two meanings fit: say both and ask for it again; never choose."""
    turn.careful = True
    spoken = [s for s in (_said(turn, a) for a in unsure.alternatives[:3]) if s]
    if turn.state.unheard >= 3:
        turn.say("unsure_twice", "prompt")
    elif len(set(spoken)) > 1:
        turn.say("unsure", "prompt", alternatives=sentence(", or ".join(dict.fromkeys(spoken))))
    else:
        turn.say("unsure_plain", "prompt", reason=unsure.reason or "two meanings fit")
    listen(turn)


def _said(turn: Turn, outcome: Outcome) -> str:
    match outcome:
        case Readings(readings):
            return "; ".join(turn.say_reading(r) for r in readings)
        case Command(command):
            return absent_words(command).replace("_", " ")
        case Text(text, kind):
            item = _owner(turn)
            return turn.say_answer(text, kind, item) if item else text
        case Nothing():
            return ""
        case _:
            return ""
