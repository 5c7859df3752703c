"""An event in, its line of the conversation out, where it has one."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from handsfree.events import (
    AnswerConfirmed,
    CarriedOn,
    CauseFound,
    ChunkCompleted,
    Computed,
    Deferred,
    Entry,
    Finished,
    Held,
    Judged,
    Kept,
    Marked,
    NotApplicable,
    NotJudged,
    OutsideAccepted,
    PhotoKept,
    Questioned,
    ReadAgain,
    ReadingConfirmed,
    Reopened,
    Resumed,
    RoundsSpent,
    Said,
    SignedOff,
    SilenceHeard,
    SoundBack,
    SoundLost,
    UnsafeCleared,
    UnsafeDeclared,
    UtteranceHeard,
    VisitStarted,
    Voided,
    WaitEnded,
    WaitStarted,
)
from handsfree.record.naming import Names
from handsfree.record.visit import Turn


def turn_of(entry: Entry, names: Names) -> Turn | None:
    """The line for an event.

    Args:
        entry: the event as it stands in the journal.
        names: how items and results are spoken of.

    Returns:
        What was said, heard or done; None for events that a reader of the conversation does not need.
    """
    event = entry.event
    match event:
        case UtteranceHeard():
            detail = _what_came_of_it(event.words, event.outcome, event.reason)
            return Turn(entry.number, entry.time, "engineer", event.words, event.clip, detail, event.item)
        case Said(purpose="cue"):
            return None
        case Said():
            return Turn(entry.number, entry.time, "program", event.text, item=event.item)
    text = _about_values(entry, names) or _about_the_visit(entry, names)
    return Turn(entry.number, entry.time, "record", text) if text else None


def _what_came_of_it(words: str, outcome: Mapping[str, Any], reason: str) -> str:
    why = reason or str(outcome.get("reason") or "")
    match outcome.get("outcome"):
        case "unsure":
            return f"not sure: {why}" if why else "not sure"
        case "nothing":
            return f"not taken as an answer: {why}" if why else "not taken as an answer"
        case "command":
            command = str(outcome.get("command", "")).replace("_", " ")
            return "" if command == words else f"command: {command}"
    return ""


def _about_values(entry: Entry, names: Names) -> str:
    event, name = entry.event, names.name
    match event:
        case ReadingConfirmed():
            again = f", in place of event {event.replaces}: {event.reason}" if event.replaces else ""
            return f"Saved: {name(event.item)} {event.value} {event.unit}{again}"
        case AnswerConfirmed():
            answer = event.said_as or event.answer.replace("_", " ")
            again = f", in place of event {event.replaces}: {event.reason}" if event.replaces else ""
            return f"Saved: {name(event.item)}: {answer}{again}"
        case Computed():
            return f"Worked out: {name(event.item)}"
        case Judged():
            return f"Compared: {name(event.item)} {event.words}"
        case OutsideAccepted():
            return f"Accepted by the engineer: {name(event.item)}"
        case Voided():
            return f"No longer stands: {name(event.item)}, because {names.because(event.because)}"
        case NotJudged():
            return f"Not compared: {name(event.item)}, because {event.because}"
        case Kept():
            return f"Kept as it is: {name(event.item)}"
        case ReadAgain():
            return f"To be read again, round {event.round}: {', '.join(name(i) for i in event.items)}"
        case CauseFound():
            return f"Cause found: {event.words}" + (f" {event.action}" if event.action else "")
        case PhotoKept():
            return f"Photo kept: {name(event.item)}" + (f". “{event.words}” (not checked)" if event.words else "")
        case Questioned():
            return f"Asked: {event.question}" + (f" Answer: {event.answer}" if event.answer else "")
    return ""


def _about_the_visit(entry: Entry, names: Names) -> str:
    event, name = entry.event, names.name
    match event:
        case VisitStarted():
            return "Visit started"
        case Resumed():
            return "Resumed" + (f": {event.reason}" if event.reason else "")
        case SoundLost():
            return f"Sound lost: {event.reason}"
        case SoundBack():
            return "Sound back"
        case Held():
            return "On hold"
        case CarriedOn():
            return "Carried on"
        case Deferred():
            return f"Left for later: {name(event.item)}" + (f" ({event.reason})" if event.reason else "")
        case NotApplicable():
            return f"Does not apply: {name(event.item)}, because {event.because}"
        case WaitStarted():
            return f"Wait of {event.seconds:.0f} s started" + (f": {event.what}" if event.what else "")
        case WaitEnded():
            return f"Wait ended after {event.seconds:.0f} s" + (", cut short" if event.cut_short else "")
        case RoundsSpent():
            return f"All {event.rounds} rounds used: {name(event.loop)}"
        case SilenceHeard():
            return f"Nothing said for {event.seconds:.0f} s"
        case Marked():
            return f"Mark at {event.at_s:.2f} s"
        case ChunkCompleted():
            return f"Part ended: {name(event.chunk)}" + (", with items open" if event.open_items else ", complete")
        case UnsafeDeclared():
            return "Unsafe situation recorded as found"
        case UnsafeCleared():
            return "The engineer said that work may go on"
        case Finished():
            return "Visit ended" + (", complete" if event.complete else ", not complete")
        case Reopened():
            return "Taken up again" + (", with items open" if event.open_items else "")
        case SignedOff():
            return f"Signed off by {event.name}"
    return ""
