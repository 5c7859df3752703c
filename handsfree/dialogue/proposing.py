"""A value heard in, a proposal read back; an explicit yes in, a confirmed value out. Silence is never yes."""

from __future__ import annotations

from handsfree.dialogue.matching import assign
from handsfree.dialogue.moving import advance, enter, say_reworked
from handsfree.dialogue.prompts import listen, prompt
from handsfree.dialogue.turn import Turn, how_answered, how_confirmed, sentence
from handsfree.dialogue.unsafe import declare
from handsfree.dialogue.wording import absent_words, say_verdict, word
from handsfree.dialogue.working import Trade, judge_confirmed, judge_item, rework
from handsfree.events import (
    AnswerConfirmed,
    ItemEntered,
    OutsideAccepted,
    ProposalDropped,
    Proposed,
    ReadingConfirmed,
    Voided,
)
from handsfree.model import Heard, Reading, Readings, Verdict, decimal_string, outcome_to_json
from handsfree.plans.plan import Item

# ---------------------------------------------------------------------------------------------- readings


def take_readings(turn: Turn, trade: Trade, readings: tuple[Reading, ...], heard: Heard, current: Item | None) -> None:
    """Propose what the readings fit; say what they do not fit. Ends the decision."""
    units = {id: quantity.unit for id, quantity in turn.language.quantities.items()}
    pairs, left = assign(turn.view, current, readings, units)
    for reading in left:
        _say_unfit(turn, current, reading)
    if not pairs:
        prompt(turn)
        listen(turn)
        return
    if len(pairs) > 1 and any(_verdict(turn, trade, i, r, "outside") for i, r in pairs):
        for item, _ in pairs[1:]:
            turn.say("later_item", item=sentence(item.say))
        pairs = pairs[:1]
    if len(pairs) == 1:
        propose_reading(turn, trade, pairs[0][0], pairs[0][1], heard)
    else:
        _propose_several(turn, pairs, heard)


def _say_unfit(turn: Turn, current: Item | None, reading: Reading) -> None:
    if current is None or current.expect.kind == "quantity":
        wanted = current.say if current else "nothing"
        turn.say("not_that_item", "warning", got=turn.say_reading(reading), wanted=wanted)
    else:
        turn.say("need_answer", "warning")


def _verdict(turn: Turn, trade: Trade, item: Item, reading: Reading, wanted: str = "") -> Verdict | None:
    verdict = judge_item(turn.view, item, decimal_string(reading.value), reading.unit or _unit(turn, item), trade)
    return verdict if verdict is not None and wanted in ("", verdict.result) else None


def _unit(turn: Turn, item: Item) -> str:
    quantity = turn.language.quantities.get(item.expect.quantity or "")
    return quantity.unit if quantity else ""


def filled(turn: Turn, item: Item, reading: Reading) -> Reading:
    """The reading with what the item knows: quantity, qualifier, unit."""
    return Reading(
        reading.value,
        item.expect.quantity,
        reading.unit or _unit(turn, item) or None,
        item.expect.qualifier,
        reading.spoken_value,
        reading.spoken_unit,
    )


def propose_reading(turn: Turn, trade: Trade, item: Item, reading: Reading, heard: Heard, reason: str = "") -> None:
    """Read a value back and wait for the yes; outside its limit, first ask for a second reading (rule 13). Ends the
    decision."""
    if item.expect.kind == "number":
        propose_answer(turn, trade, item, decimal_string(reading.value), "number", heard)
        return
    whole = filled(turn, item, reading)
    verdict = _verdict(turn, trade, item, whole)
    spoken = turn.say_reading(whole)
    stage, read_back = _stage(turn, item, spoken, verdict, "reading_right")
    if verdict is not None and verdict.result == "outside" and item.on_outside == "unsafe_at_once":
        turn.speak(f"{sentence(spoken)}: {say_verdict(verdict.words, turn.language)}.", "warning")
        declare(turn, item.id, item.emergency or "unsafe", heard)
        listen(turn)
        return
    if stage == "yes" and verdict is not None and verdict.result == "too_close":
        turn.speak(sentence(f"{say_verdict(verdict.words, turn.language)}."), "warning")
    rows = tuple(outcome_to_json(Readings((whole,)))["readings"])
    _propose(turn, item, heard, stage, read_back, reason, readings=rows)


def _stage(turn: Turn, item: Item, spoken: str, verdict: Verdict | None, key: str = "is_that_right") -> tuple[str, str]:
    """The stage of a proposal and its read-back, in the wording of `key` where nothing is outside."""
    if verdict is None or verdict.result != "outside":
        return "yes", word(key, value=sentence(spoken))
    before = turn.state.proposal
    again = before is not None and before.event.item == item.id and before.event.stage in ("read_again", "accept")
    slots = {
        "value": sentence(spoken),
        "verdict": say_verdict(verdict.words, turn.language),
        "consequence": item.outside,
    }
    return ("accept", word("accept_outside", **slots)) if again else ("read_again", word("read_again_outside", **slots))


def _propose_several(turn: Turn, pairs: list[tuple[Item, Reading]], heard: Heard) -> None:
    whole = [filled(turn, item, reading) for item, reading in pairs]
    rows = tuple(outcome_to_json(Readings(tuple(whole)))["readings"])
    spoken = "; ".join(turn.say_reading(r) for r in whole)
    _propose(
        turn, pairs[0][0], heard, "yes", word("reading_right", value=sentence(spoken)), "",
        readings=rows, items=tuple(item.id for item, _ in pairs),
    )  # fmt: skip


def _propose(
    turn: Turn,
    item: Item,
    heard: Heard,
    stage: str,
    read_back: str,
    reason: str,
    readings: tuple[dict[str, object], ...] = (),
    items: tuple[str, ...] = (),
    answer: str | None = None,
    answer_kind: str = "",
) -> None:
    corrects = turn.state.proposal is not None or item.id in turn.state.values
    if turn.state.proposal is not None:
        turn.emit(ProposalDropped(item=turn.state.proposal.event.item, reason="replaced"))
    stands = turn.state.values.get(item.id)
    turn.emit(
        Proposed(
            item=item.id,
            readings=readings,
            answer=answer,
            answer_kind=answer_kind,
            read_back=read_back,
            words=heard.words,
            clip=heard.clip,
            replaces=stands.number if stands else None,
            reason=reason or (turn.state.entered if stands else ""),
            stage=stage,
            items=items or (item.id,),
        )
    )
    plain = bool(readings) and stage == "yes" and not corrects and not reason
    turn.speak(read_back, "warning" if stage == "read_again" else "read_back", brisk=plain)
    listen(turn)


# ----------------------------------------------------------------------------------------------- answers


def propose_answer(
    turn: Turn, trade: Trade, item: Item, answer: str, kind: str, heard: Heard, reason: str = ""
) -> None:
    """Read an answer back. A state reached, and a plain good yes or no, is its own confirmation; a killer's never
    is, nor one that replaces another."""
    good = not item.expect.good or answer in item.expect.good
    if not good and item.on_outside == "unsafe_at_once":
        turn.say("item_value", "warning", item=sentence(item.say), value=turn.say_answer(answer, kind, item))
        declare(turn, item.id, item.emergency or "unsafe", heard)
        listen(turn)
        return
    if kind in ("state", "yes_no") and good and not item.killer and item.id not in turn.state.values:
        confirm_answer(turn, trade, item, answer, kind, heard, heard, "")
        return
    spoken = turn.say_answer(answer, kind, item)
    said = word("you_say", item=item.say, answer=spoken) if kind == "yes_no" else f"{item.say}, {spoken}"
    verdict = judge_item(turn.view, item, answer, "", trade)
    stage, read_back = _stage(turn, item, said, verdict)
    if not good and item.outside:
        read_back = f"{item.outside} {read_back}"  # the question stands last
    _propose(turn, item, heard, stage, read_back, reason, answer=answer, answer_kind=kind)


def propose_absent(turn: Turn, item: Item, absent: str, reason: Heard) -> None:
    """Read back that there is no reading, and why was recorded."""
    said = f"{sentence(item.say)}, {absent_words(absent)}"
    _propose(
        turn, item, reason, "yes", word("is_that_right", value=said), reason.words, answer=absent, answer_kind="absent"
    )


# ------------------------------------------------------------------------------------------------- a yes


def confirm(turn: Turn, trade: Trade, heard: Heard) -> None:
    """An explicit yes to the proposal on hand. Ends the decision."""
    assert turn.state.proposal is not None
    proposal = turn.state.proposal.event
    if proposal.stage == "read_again":
        prompt(turn)
        listen(turn)
        return
    items = [turn.plan.item(i) for i in (proposal.items or (proposal.item,))]
    if proposal.answer is not None:
        source = Heard(proposal.words, heard.outcome, clip=proposal.clip)
        confirm_answer(turn, trade, items[0], proposal.answer, proposal.answer_kind, source, heard, proposal.stage)
        return
    old = {item.id: turn.state.values.get(item.id) for item in items}
    for item, row in zip(items, proposal.readings, strict=True):
        _save_reading(turn, item, dict(row), proposal, heard, old[item.id].number if old[item.id] else None)  # type: ignore[union-attr]
        _say_no_verdict(turn, item, judge_confirmed(turn, item, trade))
    _after(turn, trade, items, [i.id for i in items if old[i.id] is not None], proposal.stage, heard)


def _say_no_verdict(turn: Turn, item: Item, because: str) -> None:
    """A value without a verdict is never passed by in silence."""
    if because and because == item.not_judged:
        turn.speak(because, "warning")
    elif because:
        turn.say("no_verdict", "warning", item=item.say, because=because)


def _save_reading(
    turn: Turn, item: Item, row: dict[str, object], proposal: Proposed, heard: Heard, replaces: int | None
) -> None:
    spoken = row.get("spoken_value")
    unit = row.get("spoken_unit")
    turn.emit(
        ReadingConfirmed(
            item=item.id,
            quantity=str(row["quantity"]),
            qualifier=None if row["qualifier"] is None else str(row["qualifier"]),
            value=str(row["value"]),
            unit=str(row["unit"] or ""),
            spoken_value=None if spoken is None else str(spoken),
            spoken_unit=None if unit is None else str(unit),
            words=proposal.words,
            clip=proposal.clip,
            how="timed by the program" if proposal.reason == "timed" else how_confirmed(heard),
            yes_clip=heard.clip,
            round=turn.view.round_of(item.id),
            replaces=replaces,
            reason=proposal.reason if replaces is not None else "",
        )
    )


def confirm_answer(
    turn: Turn, trade: Trade, item: Item, answer: str, kind: str, source: Heard, yes: Heard, stage: str
) -> None:
    """Save an answer and go on. Ends the decision."""
    stands = turn.state.values.get(item.id)
    proposal = turn.state.proposal.event if turn.state.proposal else None
    said = proposal.reason if kind == "absent" and proposal else turn.say_answer(answer, kind, item)
    turn.emit(
        AnswerConfirmed(
            item=item.id,
            answer=answer,
            answer_kind=kind,
            said_as=said,
            words=source.words,
            clip=source.clip,
            how=how_answered(yes, kind, stage),
            yes_clip=yes.clip if stage in ("yes", "accept") else None,
            round=turn.view.round_of(item.id),
            replaces=stands.number if stands else None,
            reason=(proposal.reason if proposal else turn.state.entered) if stands else "",
        )
    )
    if kind in ("state", "yes_no") and stage == "":
        spoken = item.expect.state if kind == "state" else f"{item.say}: {answer}"
        turn.say("saved", "value", value=sentence(spoken))
    _say_no_verdict(turn, item, judge_confirmed(turn, item, trade))
    if kind == "absent" and item.killer:
        turn.say("killer_absent", "warning", item=sentence(item.say))
    if item.expect.good and answer not in item.expect.good and kind != "absent" and item.on_outside == "unsafe":
        declare(turn, item.id, item.emergency or "unsafe", yes)
        listen(turn)
        return
    _after(turn, trade, [item], [item.id] if stands else [], stage, yes)


def _after(turn: Turn, trade: Trade, items: list[Item], changed: list[str], stage: str, heard: Heard) -> None:
    """What a confirmed value brings with it: acceptance outside, the unsafe path, what no longer stands, the next
    item."""
    if stage == "accept":
        turn.emit(OutsideAccepted(item=items[0].id, words=heard.words, clip=heard.clip))
        turn.say("recorded_outside", "value")
        twice = len(turn.state.outside_in.get(items[0].id, ())) >= 2 and items[0].outside_twice == "unsafe"
        if items[0].on_outside == "unsafe" or twice:
            declare(turn, items[0].id, items[0].emergency or "unsafe", heard)
            listen(turn)
            return
    elif stage:
        turn.cue("saved")
    for id in changed:
        old, new = turn.state.past[id][-1], turn.state.values[id]
        name = sentence(turn.plan.item(id).say)
        turn.say("changed", "value", item=name, value=turn.say_bare(new), old=turn.say_bare(old))
    if changed:
        _void_dependents(turn, changed)
        say_reworked(turn, rework(turn, trade))
        advance(turn, trade, quiet=True)
        return
    advance(turn, trade)


def _void_dependents(turn: Turn, changed: list[str]) -> None:
    """Readings that rest on a changed one are open again (rule 18)."""
    gone = [i for i in turn.plan.items() if i.id in turn.state.values and set(i.rests_on) & set(changed)]
    for item in gone:
        because = next(c for c in item.rests_on if c in changed)
        turn.emit(Voided(item=item.id, event=turn.state.values[item.id].number, because=f"{because} changed"))
    if gone:
        turn.say("voided", "value", items="; ".join(i.say for i in gone))


def drop(turn: Turn, reason: str) -> None:
    """The proposal on hand is gone; nothing was saved."""
    if turn.state.proposal is not None:
        turn.emit(ProposalDropped(item=turn.state.proposal.event.item, reason=reason))


def change_item(turn: Turn, trade: Trade, item: Item, readings: tuple[Reading, ...], heard: Heard, why: str) -> None:
    """Go to an item whose value is to be replaced; with a value in the same breath, propose it there. Ends the
    decision."""
    drop(turn, "replaced")
    if readings and item.expect.kind in ("quantity", "number"):
        turn.emit(ItemEntered(item=item.id, chunk=item.chunk, round=turn.view.round_of(item.id), why=why))
        take_readings(turn, trade, readings, heard, item)
        return
    enter(turn, item, why)
    listen(turn)
