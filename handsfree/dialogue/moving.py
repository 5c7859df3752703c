"""Something was settled in; results said, questions put, the next item entered, out."""

from __future__ import annotations

from collections.abc import Callable

from handsfree.dialogue.prompts import listen, open_names, prompt
from handsfree.dialogue.route import chosen_result
from handsfree.dialogue.turn import Turn, sentence
from handsfree.dialogue.unsafe import declare
from handsfree.dialogue.wording import join, rounded, say_date, say_seconds, say_unit, say_verdict, word
from handsfree.dialogue.working import Reworked, Trade, judge_again, open_question, rework
from handsfree.events import (
    Asked,
    CauseFound,
    ChunkCompleted,
    ItemEntered,
    NotApplicable,
    Questioned,
    ReadAgain,
    RoundsSpent,
    Voided,
    WaitStarted,
)
from handsfree.model import Reading
from handsfree.plans.plan import Cause, Chunk, Item, Loop, PlanResult
from handsfree.plans.sources import as_decimal, fill_slots, value_of


def advance(turn: Turn, trade: Trade, *, quiet: bool = False) -> None:
    """Work out what can be, put what must be asked, else enter the next item; ends the decision.

    Args:
        quiet: results that were voided and worked out were already spoken of.
    """
    for id in judge_again(turn, trade):
        _say_outside(turn, turn.plan.item(id))
    reworked = rework(turn, trade)
    if not quiet:
        say_reworked(turn, reworked)
    _say_causes(turn)
    if not (_demand_right(turn) or _demand_result(turn) or _demand_question(turn, trade) or _demand_round(turn)):
        _enter_next(turn)
    listen(turn)


# ----------------------------------------------------------------------------------------------- results


def say_reworked(turn: Turn, reworked: Reworked) -> None:
    """Say what no longer stands and what was worked out."""
    gone = [_rule(turn, id).say for id in reworked.voided if not _being_read_again(turn, id)]
    if gone:
        turn.say("voided", "value", items=join(gone))
    for id in reworked.worked_out:
        rule = _rule(turn, id)
        if rule.spoken and turn.state.verdict(id) != "outside":
            _say_result(turn, rule)
    for id, why in reworked.lacking:
        turn.say("not_possible", "warning", item=sentence(_rule(turn, id).say), reason=why)
    if reworked.lacking:
        turn.say("lacks_next", "warning")
    for id, why in reworked.failed:
        turn.say("not_possible", "warning", item=sentence(_rule(turn, id).say), reason=why)


def _being_read_again(turn: Turn, id: str) -> bool:
    return any(i not in turn.state.values and turn.view.round_of(i) > 1 for i in turn.plan.inputs_of(_rule(turn, id)))


def _rule(turn: Turn, id: str) -> PlanResult:
    rule = turn.plan.result(id)
    assert rule is not None
    return rule


def _say_result(turn: Turn, rule: PlanResult) -> None:
    because = turn.state.not_judged.get(rule.id)
    if because:
        slots = {"item": sentence(rule.say), "value": result_words(turn, rule)}
        turn.say("not_judged", "value", because=sentence(because), **slots)
        return
    ruling = turn.state.rulings.get(rule.id)
    verdict = f", {_short_verdict(ruling.words, ruling.result, turn)}" if ruling else ""
    turn.say("result", "value", item=sentence(rule.say), value=result_words(turn, rule), verdict=verdict)


def _short_verdict(words: str, result: str, turn: Turn) -> str:
    """Within a limit it is enough to say whose; the bounds stand in the report. Too close to call they are said."""
    return words.partition(",")[0] if result == "within" else say_verdict(words, turn.language)


def result_words(turn: Turn, rule: PlanResult) -> str:
    """The number, unit and basis of a result that stands."""
    row = chosen_result(turn.state.results[rule.id][1].results, rule.take, rule.basis)
    assert row is not None
    unit = str(row["unit"])
    text = str(row["value"])
    number = rounded(text, unit)
    if number is None:
        return say_date(text)
    said = rule.say.split()
    basis = f" {row['basis']}" if row.get("basis") and str(row["basis"]) not in said else ""
    return f"{turn.language.say_number(number)} {say_unit(unit)}".strip() + basis


def _say_outside(turn: Turn, item: Item) -> None:
    ruling = turn.state.rulings[item.id]
    turn.say(
        "result_outside", "warning",
        item=sentence(item.say), value=turn.say_bare(turn.state.values[item.id]),
        verdict=say_verdict(ruling.words, turn.language), consequence=item.outside,
    )  # fmt: skip


def _demand_right(turn: Turn) -> bool:
    """What is wrong and must not be passed by: the unsafe path where it leads there, else a killer item is asked
    again.

    Usually the confirmation itself has led there; this also holds after a cut in the middle of it.
    """
    for item in turn.plan.items():
        if not (item.killer or item.on_outside == "unsafe") or not _is_bad(turn, item):
            continue
        if item.on_outside == "unsafe" and turn.state.unsafe_for.get(item.id, 0) < turn.state.values[item.id].number:
            declare(turn, item.id, item.emergency or "unsafe", None)
            return True
        if item.killer:
            turn.emit(ReadAgain(items=(item.id,), round=turn.view.round_of(item.id) + 1, because="killer"))
            turn.say("killer_again", "warning", item=sentence(item.say))
    return False


def _is_bad(turn: Turn, item: Item) -> bool:
    """The answer stands and is not a good one, or its value is outside its limit."""
    value = turn.state.values.get(item.id)
    if value is None or value.absent:
        return False
    wrong = bool(item.expect.good) and value.text not in item.expect.good
    return wrong or turn.state.verdict(item.id) == "outside"


def _demand_result(turn: Turn) -> bool:
    """A result outside its limit is said with limit and consequence, read again once, then accepted in so many
    words."""
    for rule in turn.plan.results:
        ruling = turn.state.rulings.get(rule.id)
        if (
            ruling is None
            or ruling.result != "outside"
            or rule.id in turn.state.accepted
            or rule.id in turn.state.refused
        ):
            continue
        verdict = say_verdict(ruling.words, turn.language)
        slots = {
            "item": sentence(rule.say),
            "value": result_words(turn, rule),
            "verdict": verdict,
            "consequence": rule.outside,
        }
        runs = len(turn.state.outside_in.get(rule.id, ()))
        if runs >= 2 and rule.outside_twice == "unsafe":
            turn.say("result_outside", "warning", **slots)
            declare(turn, rule.id, rule.emergency or "unsafe", None)
        elif runs <= 1 and _items_again(turn, rule):
            turn.say("result_outside", "warning", **slots)
            read_again(turn, rule)
            return False
        else:
            turn.emit(Asked(what="accept", item=rule.id, detail=word("result_accept", **slots)))
            prompt(turn)
        return True
    return False


def _items_again(turn: Turn, rule: PlanResult) -> tuple[str, ...]:
    """The items that are read again for the result, where they still apply."""
    return tuple(i for i in rule.read_again if turn.view.applies(turn.plan.item(i)))


def read_again(turn: Turn, rule: PlanResult) -> None:
    """Open the result's items for another run."""
    items = _items_again(turn, rule)
    number = max((turn.view.round_of(i) for i in items), default=1) + 1
    turn.emit(ReadAgain(items=items, round=number, because=rule.id))
    turn.say("result_read_again", items=join([turn.plan.item(i).say for i in items]))


def _say_causes(turn: Turn) -> None:
    """A cause whose conditions now hold is said and kept; one whose conditions no longer hold is voided."""
    for cause in turn.plan.causes:
        holds = turn.view.holds(cause.when)
        number = turn.state.causes.get(cause.id)
        if holds and number is None:
            turn.emit(CauseFound(cause=cause.id, words=cause.say, action=cause.action))
            turn.say("cause", "value", cause=sentence(cause.say), action=cause.action)
        elif not holds and number is not None and not _only_itself(cause):
            turn.emit(Voided(item=cause.id, event=number, because="what led to it changed"))
            turn.say("voided", "value", items=cause.say)


def _only_itself(cause: Cause) -> bool:
    """Its conditions ask that no cause be found yet: finding it must not undo it."""
    return any(key.startswith("cause.") for key, _ in cause.when.terms)


# ------------------------------------------------------------------------------------- questions, rounds


def _demand_question(turn: Turn, trade: Trade) -> bool:
    found = open_question(turn.view, trade)
    if found is None:
        return False
    id, items, ask = found
    if not ask:
        item = turn.plan.item(items[0])
        known = value_of(item.expect.same_as, turn.view.look_up) or ""
        ask = word("differs", known=turn.say_answer(known, item.expect.kind, item), item=item.say)
    turn.emit(Questioned(items=items, question=ask, id=id))
    prompt(turn)
    return True


def _demand_round(turn: Turn) -> bool:
    """A loop that is through without reaching its end goes round again, until its rounds are spent."""
    loop = turn.view.loop_to_repeat()
    if loop is None:
        return False
    round = max(turn.view.round_of(i) for i in loop.items)
    if round < loop.max_rounds:
        turn.emit(ReadAgain(items=loop.items, round=round + 1, because=loop.id))
        turn.say("round_again", round=str(round + 1), words=loop.again)
        return False
    turn.emit(RoundsSpent(loop=loop.id, rounds=round))
    turn.speak(loop.spent, "warning")
    return _spent(turn, loop)


def _spent(turn: Turn, loop: Loop) -> bool:
    if loop.spent_unsafe:
        declare(turn, loop.id, loop.emergency or "unsafe", None)
    return loop.spent_unsafe


# ------------------------------------------------------------------------------------------------- items


def _enter_next(turn: Turn) -> None:
    found = turn.view.next_item()
    following = turn.plan.chunk(found[0].chunk) if found else None
    _close_chunks(turn, following)
    if found is None or following is None:
        turn.emit(ItemEntered(item="", chunk="", why="closing"))
        prompt(turn)
        return
    item, why = found
    if turn.state.chunk != following.id:
        turn.say("chunk_open", chunk=sentence(following.title), place=sentence(following.place))
        if not any(i.id in turn.state.values or i.id in turn.state.deferred for i in following.items):
            turn.speak(following.opening, "warning")
    enter(turn, item, why)


def _close_chunks(turn: Turn, following: Chunk | None) -> None:
    """Every chunk before the next item's is closed, each with its spoken completion (rules 6 and 9)."""
    for chunk in turn.plan.chunks:
        if following is not None and chunk.id == following.id:
            return
        if chunk.id in turn.state.chunks_done:
            continue
        for item in chunk.items:
            if not turn.view.applies(item) and item.id not in turn.state.values and item.id not in turn.state.left_out:
                turn.emit(NotApplicable(item=item.id, because=why_not(item, chunk)))
        asked = any(turn.view.applies(i) or i.id in turn.state.values for i in chunk.items)
        if not turn.view.holds(chunk.when) or not asked:
            continue  # nothing of it was asked: nothing of it is complete
        still = turn.view.open_items(chunk)
        turn.emit(ChunkCompleted(chunk=chunk.id, open_items=tuple(i.id for i in still)))
        if still:
            turn.say("chunk_not_done", "warning", chunk=sentence(chunk.title), items=join([i.say for i in still]))
        else:
            turn.speak(chunk.done, "status")


def why_not(item: Item, chunk: Chunk) -> str:
    """The condition that left the item out, as written."""
    terms = (*chunk.when.terms, *item.when.terms)
    return "; ".join(f"{key} is not {' or '.join(values)}" for key, values in terms)


def enter(turn: Turn, item: Item, why: str) -> None:
    """Make the item the one that is asked, and ask it."""
    turn.emit(ItemEntered(item=item.id, chunk=item.chunk, round=turn.view.round_of(item.id), why=why))
    if why == "deferred":
        turn.say("deferred_back", item=item.say)
    if item.note and why in ("next", "again"):
        turn.speak(fill_slots(turn.plan.note_of(item), _spoken_look_up(turn)), "warning")
    if why in ("next", "deferred", "again"):
        _say_last_visit(turn, item)
    prompt(turn)
    if item.expect.kind == "wait" and item.id not in turn.state.values:
        _start_wait(turn, item)


def _spoken_look_up(turn: Turn) -> Callable[[str], str | None]:
    """As the view's, with dates in words."""

    def look_up(reference: str) -> str | None:
        value = turn.view.look_up(reference)
        return None if value is None else say_date(value)

    return look_up


def _say_last_visit(turn: Turn, item: Item) -> None:
    """The value of the last visit, where the job file has it, as it is needed."""
    value = turn.job.get(f"last_visit.values.{item.id}")
    if value is None or item.id in turn.state.values:
        return
    number = as_decimal(value)
    quantity = turn.language.quantities.get(item.expect.quantity or "")
    spoken = (
        turn.language.say_reading(Reading(number, None, quantity.unit)) if number is not None and quantity else value
    )
    turn.say("last_visit", "value", value=spoken)


def _start_wait(turn: Turn, item: Item) -> None:
    expect = item.expect
    found = value_of(expect.seconds_from, turn.view.look_up) if expect.seconds_from else None
    seconds = float(found) if found else expect.seconds
    turn.emit(WaitStarted(item=item.id, seconds=seconds, what=expect.what))
    turn.say("wait_start", what=sentence(expect.what), time=say_seconds(seconds))


def is_complete(turn: Turn) -> bool:
    """No mandatory item open, no result outside that nobody accepted, no unsafe situation open."""
    return not open_names(turn) and turn.state.unsafe is None
