"""Where the visit stands in; what is said there, and what is listened for, out."""

from __future__ import annotations

from typing import Literal

from handsfree.dialogue.crosschecking import result_in_question
from handsfree.dialogue.effects import Listen, Stop, Wait
from handsfree.dialogue.route import View
from handsfree.dialogue.turn import Turn, sentence
from handsfree.dialogue.wording import absent_words, join, say_seconds, unsafe_questions, word
from handsfree.model import Expectation, Gas
from handsfree.plans.plan import Item, expectation_of

Phase = Literal[
    "not_started",
    "finished",
    "unsafe",
    "asked",
    "held",
    "question",
    "proposal",
    "waiting",
    "revisit",
    "item",
    "closing",
]

SHORT_S = 10.0
"""s of silence before the place is said (rule 10)"""
LONG_S = 60.0
QUIET_AFTER = 3
"""silences in a row after which only listening goes on: the engineer is at work"""

ANY = Expectation()
YES_NO = Expectation("yes_no")


def phase(view: View) -> Phase:
    """Where the visit stands: one of a few places, each with its own prompt and its own replies."""
    state = view.state
    if state.started is None:
        return "not_started"
    if state.finished is not None:
        return "asked" if state.asked is not None and state.asked.what == "reopen" else "finished"
    if state.asked is not None and state.asked.what != "unsafe_class" and state.unsafe is None:
        return "asked"
    if state.unsafe is not None:
        return "unsafe"
    if state.held:
        return "held"
    if state.question is not None:
        return "question"
    if state.proposal is not None:
        return "proposal"
    if state.wait is not None:
        return "waiting"
    if state.item is None or not view.plan.has_item(state.item):
        return "closing"
    if state.item in state.values:
        return "revisit" if state.entered in ("back", "change", "resume") else "closing"
    if state.item in state.deferred:
        return "closing"
    return "item"


def item_expectation(turn: Turn, item: Item) -> Expectation:
    gas: Gas = "lpg" if turn.state.gas == "lpg" else "ng"
    return expectation_of(item, gas)


# ----------------------------------------------------------------------------------------------- prompts


def prompt(turn: Turn) -> None:
    """Say what the place on hand asks for."""
    match phase(turn.view):
        case "unsafe":
            prompt_unsafe(turn)
        case "asked":
            _prompt_asked(turn)
        case "held":
            turn.say("held_still")
        case "question":
            _prompt_question(turn)
        case "proposal":
            assert turn.state.proposal is not None
            turn.speak(turn.state.proposal.event.read_back, "read_back")
        case "waiting":
            assert turn.state.wait is not None
            turn.say("wait_left", what=sentence(turn.state.wait.what), time=say_seconds(turn.state.wait_left_s))
        case "revisit":
            prompt_revisit(turn)
        case "item":
            assert turn.item is not None
            turn.speak(turn.item.prompt, "prompt")
        case "closing":
            prompt_closing(turn)
        case _:
            pass


def _prompt_asked(turn: Turn) -> None:
    asked = turn.state.asked
    assert asked is not None
    match asked.what:
        case "finish":
            prompt_finish(turn)
        case "reopen":
            _prompt_reopen(turn)
        case "note":
            turn.say("note_ask", "prompt")
        case "reason":
            turn.say("reason_for", "prompt", absent=absent_words(asked.detail))
        case "accept":
            turn.speak(asked.detail, "read_back")
        case "smell":
            turn.say("smell_sure", "prompt")


def _prompt_question(turn: Turn) -> None:
    question = turn.state.question
    assert question is not None
    if not question.items:
        turn.say("question_of_job", "prompt", question=question.question)
        return
    rule = result_in_question(turn.view, question.id)
    again = rule.say if rule else turn.plan.item(question.items[-1]).say
    turn.say("question", "prompt", question=question.question, item=again)


def prompt_revisit(turn: Turn) -> None:
    item = turn.item
    assert item is not None
    slots = {"item": item.say, "value": turn.say_bare(turn.state.values[item.id])}
    # A yes to "yes keeps it" would be a no to what was asked: a yes or no is asked for again, and compared.
    asks = item.expect.kind == "yes_no"
    if asks:
        slots["prompt"] = item.prompt
    if turn.state.entered != "resume":
        slots["item"] = sentence(item.say)
        turn.say("revisit_ask" if asks else "revisit", "prompt", **slots)
        return
    slots["chunk"] = sentence(turn.plan.chunk(item.chunk).title)
    following = turn.view.next_item()
    if following is None:
        turn.say("revisit_ask_resume_end" if asks else "revisit_resume_end", "prompt", **slots)
    else:
        slots["next"] = following[0].say
        turn.say("revisit_ask_resume" if asks else "revisit_resume", "prompt", **slots)


def open_names(turn: Turn) -> tuple[str, ...]:
    """The open mandatory items and unaccepted results by their spoken names."""
    names = [i.say for i in turn.view.open_items(mandatory_only=True)]
    for id in turn.view.open_results():
        rule = turn.plan.result(id)
        names.append(rule.say if rule else id)
    return tuple(names)


def prompt_closing(turn: Turn) -> None:
    names = open_names(turn)
    if names:
        turn.say("some_open", "status", items=join(names))
    else:
        turn.say("all_done")


def prompt_finish(turn: Turn) -> None:
    names = open_names(turn)
    if names:
        turn.say("finish_open", "read_back", count=str(len(names)), items=_few(names))
    else:
        turn.say("finish_sure", "read_back")


def _prompt_reopen(turn: Turn) -> None:
    names = open_names(turn)
    if names:
        turn.say("reopen", "prompt", count=str(len(names)), items=_few(names))
    else:
        turn.say("reopen_unsafe", "prompt")


def _few(names: tuple[str, ...]) -> str:
    """A long row is cut: the count was said, and the report names all."""
    return join(names) if len(names) <= 7 else join([*names[:7], "more"])


def prompt_unsafe(turn: Turn) -> None:
    unsafe = turn.state.unsafe
    assert unsafe is not None
    asked = turn.state.asked
    if asked is not None and asked.what == "unsafe_class":
        turn.say("unsafe_sure", "read_back", answer=sentence(asked.detail.replace("_", " ")))
    elif asked is not None and asked.what == "clear":
        turn.say("unsafe_clear", "prompt")
    elif asked is not None and asked.what == "finish":
        prompt_finish(turn)
    elif asked is not None and asked.what == "note":
        turn.say("note_ask", "prompt")
    else:
        questions = unsafe_questions()
        step = len(unsafe.answers)
        if step < len(questions):
            turn.speak(questions[step].ask, "prompt")
        else:
            turn.say("unsafe_recorded")


def say_where(turn: Turn) -> None:
    """Chunk, last confirmed item with its value, next item (rule 10)."""
    item = turn.item
    if turn.state.unsafe is not None:
        turn.say("unsafe_open", "warning")
        return
    if item is None:
        return
    chunk = turn.plan.chunk(item.chunk)
    last = turn.state.last_value()
    said = word("last", item=turn.plan.item(last.item).say, value=turn.say_bare(last)) if last else word("nothing_yet")
    following = turn.view.next_item()
    here = (
        item if phase(turn.view) in ("item", "proposal", "waiting", "asked") else (following[0] if following else item)
    )
    turn.say("where", chunk=sentence(chunk.title), place=chunk.place, last=said, next=here.say)


# ----------------------------------------------------------------------------------------------- listening


def _timeout(turn: Turn) -> float:
    return SHORT_S if turn.state.silences < QUIET_AFTER else LONG_S


def listen(turn: Turn) -> None:
    """End the decision with the one effect that the place on hand waits with."""
    place = phase(turn.view)
    if place == "finished":
        assert turn.state.finished is not None
        turn.do(Stop(turn.state.finished.complete))
    elif place == "waiting":
        assert turn.state.wait is not None
        turn.do(Wait(max(turn.state.wait_left_s, 0.1), turn.state.wait.what, ANY))
    else:
        timeout = LONG_S if place == "held" else _timeout(turn)
        turn.do(Listen(_expectation(turn, place), timeout))


def _expectation(turn: Turn, place: Phase) -> Expectation:
    item = turn.item
    match place:
        case "unsafe":
            return _unsafe_expectation(turn)
        case "asked":
            assert turn.state.asked is not None
            return ANY if turn.state.asked.what in ("note", "reason") else YES_NO
        case "question":
            return YES_NO
        case "proposal":
            assert turn.state.proposal is not None
            proposal = turn.state.proposal.event
            if proposal.answer_kind == "absent" or not turn.plan.has_item(proposal.item):
                return YES_NO
            return item_expectation(turn, turn.plan.item(proposal.item))
        case "item" | "revisit":
            assert item is not None
            return item_expectation(turn, item)
        case _:
            return ANY


def _unsafe_expectation(turn: Turn) -> Expectation:
    asked = turn.state.asked
    if asked is not None:
        return ANY if asked.what == "note" else YES_NO
    assert turn.state.unsafe is not None
    questions = unsafe_questions()
    step = len(turn.state.unsafe.answers)
    if step >= len(questions):
        return ANY
    match questions[step].kind:
        case "yes_no":
            return YES_NO
        case "choice":
            choice = questions[step].choice
            return Expectation("choice", choices=tuple(choice), phrases=choice)
        case _:
            return ANY
