"""Something is dangerous in; emergency steps first, then what the engineer decides, out.

The program never gives a class, never lowers one and never clears the situation: only the engineer's explicit words
do.
"""

from __future__ import annotations

from handsfree.dialogue.prompts import listen, prompt, prompt_unsafe
from handsfree.dialogue.turn import Turn, how_confirmed
from handsfree.dialogue.wording import emergency_steps, fill_number, unsafe_questions
from handsfree.events import (
    AskClosed,
    Asked,
    ProposalDropped,
    UnsafeAnswer,
    UnsafeCleared,
    UnsafeDeclared,
    WaitEnded,
)
from handsfree.model import Command, Heard, Text


def declare(turn: Turn, trigger: str, emergency: str, heard: Heard | None) -> None:
    """Stop the data dialogue, say the emergency steps, then ask what was done."""
    state = turn.state
    if state.proposal is not None:
        turn.emit(ProposalDropped(item=state.proposal.event.item, reason="unsafe"))
    if state.wait is not None:
        turn.emit(WaitEnded(item=state.wait.item, seconds=state.waited_s, cut_short=True))
    words, clip = (heard.words, heard.clip) if heard else ("", None)
    turn.emit(UnsafeDeclared(item=state.item, trigger=trigger, words=words, clip=clip))
    say_steps(turn, emergency)
    turn.say("unsafe_stopped", "warning")
    prompt_unsafe(turn)


def emergency_of(turn: Turn) -> str:
    """The emergency whose steps belong to the trigger on hand."""
    unsafe = turn.state.unsafe
    assert unsafe is not None
    if turn.plan.has_item(unsafe.trigger):
        return turn.plan.item(unsafe.trigger).emergency or "unsafe"
    for rule in turn.plan.results:
        if rule.id == unsafe.trigger:
            return rule.emergency or "unsafe"
    for loop in turn.plan.loops:
        if loop.id == unsafe.trigger:
            return loop.emergency or "unsafe"
    return unsafe.trigger


def say_steps(turn: Turn, emergency: str) -> None:
    """The steps, each a sentence of its own."""
    number = turn.job.get("supply.supplier_telephone")
    own = turn.plan.emergency(emergency)
    gas = turn.state.gas
    for step in fill_number(own.steps, gas, number) if own else emergency_steps(emergency, gas, number):
        turn.speak(step, "emergency")


def take_answer(turn: Turn, heard: Heard) -> None:
    """An utterance while the situation is open, after the commands that work everywhere were dealt with."""
    asked = turn.state.asked
    if asked is not None:
        _take_asked(turn, asked, heard)
        return
    assert turn.state.unsafe is not None
    questions = unsafe_questions()
    step = len(turn.state.unsafe.answers)
    outcome = heard.outcome
    if isinstance(outcome, Command) and outcome.command == "carry_on" and step >= len(questions):
        turn.emit(Asked(what="clear"))
        prompt(turn)
    elif step >= len(questions):
        turn.say("unsafe_no_command", "warning")
        prompt_unsafe(turn)
    else:
        _take_question(turn, questions[step].id, questions[step].kind, heard)
    listen(turn)


def _take_question(turn: Turn, question: str, kind: str, heard: Heard) -> None:
    outcome = heard.outcome
    if isinstance(outcome, Command) and outcome.command in (
        "defer",
        "carry_on",
        "no_reading",
        "no_access",
        "not_fitted",
    ):
        turn.emit(UnsafeAnswer(question=question, answer="not answered", words=heard.words, clip=heard.clip))
        prompt_unsafe(turn)
        return
    if kind == "yes_no":
        answer = _yes_or_no(outcome)
        if not answer:
            turn.say("not_heard")
        else:
            turn.emit(UnsafeAnswer(question=question, answer=answer, words=heard.words, clip=heard.clip))
            if answer == "no":
                say_steps(turn, emergency_of(turn))
    elif kind == "choice":
        if spoken := _class_spoken(heard):
            turn.emit(Asked(what="unsafe_class", detail=spoken))
        else:
            turn.say("not_heard")
    elif heard.words.strip():
        turn.emit(UnsafeAnswer(question=question, answer="recording, unchecked", words=heard.words, clip=heard.clip))
    prompt_unsafe(turn)


def class_is_asked(turn: Turn) -> bool:
    """The engineer is being asked for the class: "at risk" is an answer now, not an alarm."""
    unsafe = turn.state.unsafe
    questions = unsafe_questions()
    return (
        unsafe is not None
        and turn.state.asked is None
        and len(unsafe.answers) < len(questions)
        and questions[len(unsafe.answers)].kind == "choice"
    )


def _class_spoken(heard: Heard) -> str:
    """The class that was said in full words; empty when none was, or more than one."""
    if isinstance(heard.outcome, Text) and heard.outcome.kind == "choice":
        return heard.outcome.text
    words = f" {heard.words.lower()} "
    choice = next(q.choice for q in unsafe_questions() if q.kind == "choice")
    found = [answer for answer, phrases in choice.items() if any(f" {phrase} " in words for phrase in phrases)]
    denied = any(f" {no} " in words for no in ("not", "no", "isn't", "never")) and "not_classed" not in found
    return found[0] if len(found) == 1 and not denied else ""


def _yes_or_no(outcome: object) -> str:
    if isinstance(outcome, Command) and outcome.command in ("yes", "no"):
        return outcome.command
    if isinstance(outcome, Text) and outcome.text in ("yes", "no"):
        return outcome.text
    return ""


def _take_asked(turn: Turn, asked: Asked, heard: Heard) -> None:
    answer = _yes_or_no(heard.outcome)
    if asked.what == "unsafe_class":
        if answer:
            turn.emit(AskClosed(what=asked.what, answer=answer))
        if answer == "yes":
            turn.emit(UnsafeAnswer(question="class", answer=asked.detail, words=heard.words, clip=heard.clip))
        prompt_unsafe(turn)
        listen(turn)
    elif asked.what == "clear":
        if not answer:
            prompt_unsafe(turn)
            listen(turn)
            return
        turn.emit(AskClosed(what=asked.what, answer=answer))
        if answer == "no":
            turn.say("unsafe_not_cleared", "warning")
            listen(turn)
        else:
            turn.emit(UnsafeCleared(words=f"{heard.words} ({how_confirmed(heard)})", clip=heard.clip))
            turn.say("unsafe_cleared", "warning")
