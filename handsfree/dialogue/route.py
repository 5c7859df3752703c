"""Plan, job and state in; what applies, what is open, what comes next out."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

from handsfree.dialogue.state import State
from handsfree.dialogue.values import Value
from handsfree.plans.job import Job
from handsfree.plans.plan import Chunk, Condition, Item, Loop, Plan

_REFERENCE_GAS = {"ng": "G20", "lpg": "G31"}


@dataclass(frozen=True, slots=True)
class View:
    """A plan and a job looked at from one state."""

    plan: Plan
    job: Job
    state: State

    # ------------------------------------------------------------------------------------------- values

    def look_up(self, reference: str) -> str | None:
        """The value of item.ID, result.ID, job.KEY or visit.KEY as text; None while there is none."""
        head, _, key = reference.partition(".")
        match head:
            case "item":
                value = self.state.values.get(key)
                return None if value is None or value.absent else value.text
            case "result":
                return self.result_value(key)
            case "job":
                return self.job.get(key)
            case _:
                state = self.state
                seen = {"date": state.date, "gas": state.gas, "reference_gas": _REFERENCE_GAS.get(state.gas, "G20")}
                return seen.get(key) or None

    def result_value(self, id: str) -> str | None:
        """The number of a result that stands, unrounded, or None."""
        found = self.state.results.get(id)
        rule = self.plan.result(id)
        if found is None or rule is None:
            return None
        row = chosen_result(found[1].results, rule.take, rule.basis)
        return None if row is None else str(row["value"])

    # --------------------------------------------------------------------------------------- conditions

    def holds(self, condition: Condition) -> bool:
        """Whether every term holds now. What is not known yet does not hold."""
        return not condition.terms or all(self._term(key, wanted) for key, wanted in condition.terms)

    def _term(self, key: str, wanted: tuple[str, ...]) -> bool:
        head, _, rest = key.partition(".")
        if "|" in rest:
            return any(self._term(f"{head}.{one}", wanted) for one in rest.split("|"))
        match head:
            case "gas":
                return self.state.gas in wanted
            case "job":
                value = self.job.get(rest) if rest != "boiler.type" else self.job.boiler_type
                given = value is not None or self.job.find(rest) is not None
                return value in wanted or ("given" if given else "not given") in wanted
            case "answer":
                answer = self.state.values.get(rest)
                if "ever" in wanted and (answer is not None or self.state.past.get(rest)):
                    return True
                if answer is None:
                    return False
                return answer.text in wanted or ("absent" if answer.absent else "given") in wanted
            case "cause":
                found = bool(self.state.causes) if rest == "any" else rest in self.state.causes
                return ("found" if found else "open") in wanted
            case _:
                return self._settled_verdict(rest) in wanted

    def _settled_verdict(self, id: str) -> str:
        """The verdict; a result counts as outside only once that was accepted: before, its readings are read again."""
        verdict = self.state.verdict(id)
        waits = verdict == "outside" and self.plan.result(id) is not None and id not in self.state.accepted
        return "" if waits else verdict

    def applies(self, item: Item) -> bool:
        """The item is asked in this visit, as far as is known now."""
        return self.holds(self.plan.chunk(item.chunk).when) and self.holds(item.when)

    # --------------------------------------------------------------------------------------------- route

    def is_settled(self, item: Item) -> bool:
        return item.id in self.state.values or item.id in self.state.deferred or not self.applies(item)

    def next_item(self) -> tuple[Item, str] | None:
        """The item to ask now and why (next, deferred); None when nothing is left to ask.

        Order follows the plan. Items left for later come back when the rest of their chunk is settled, once.
        """
        for chunk in self.plan.chunks:
            for item in chunk.items:
                if not self.is_settled(item):
                    return item, "next"
            if chunk.id in self.state.chunks_done:
                continue
            for item in chunk.items:
                if item.id in self.state.deferred and item.id not in self.state.offered and self.applies(item):
                    return item, "deferred"
        return None

    def item_before(self, id: str) -> Item | None:
        """The item that was asked before this one in the plan's order; timed waits are passed over."""
        before = None
        for item in self.plan.items():
            if item.id == id:
                return before
            if item.expect.kind != "wait" and (item.id in self.state.values or item.id in self.state.deferred):
                before = item
        return None

    def loop_to_repeat(self) -> Loop | None:
        """A loop whose items are all answered in this run and whose end is not reached."""
        for loop in self.plan.loops:
            if loop.id in self.state.spent or self.holds(loop.until) or not self.holds(loop.when):
                continue
            if any(self._is_absent(key) for key, _ in loop.until.terms):
                continue  # what was not read cannot come right by asking again
            items = [self.plan.item(i) for i in loop.items]
            asked = [i for i in items if self.applies(i)]
            if asked and all(i.id in self.state.values for i in asked):
                return loop
        return None

    def _is_absent(self, key: str) -> bool:
        value = self.state.values.get(key.partition(".")[2])
        return value is not None and value.absent

    # ---------------------------------------------------------------------------------------------- open

    def is_open(self, item: Item) -> bool:
        """It applies and has no answer; a killer item without a value is open whatever the reason."""
        value = self.state.values.get(item.id)
        if value is None:
            return self.applies(item)
        return item.killer and value.absent

    def open_items(self, chunk: Chunk | None = None, mandatory_only: bool = False) -> tuple[Item, ...]:
        """Open items in the plan's order."""
        items = chunk.items if chunk else tuple(self.plan.items())
        return tuple(i for i in items if self.is_open(i) and (i.mandatory or not mandatory_only))

    def open_results(self) -> tuple[str, ...]:
        """Results outside their limit that nobody accepted."""
        return tuple(
            r.id for r in self.plan.results if self.state.verdict(r.id) == "outside" and r.id not in self.state.accepted
        )

    def round_of(self, item: str) -> int:
        return self.state.rounds.get(item, 1)

    def value(self, item: str) -> Value | None:
        return self.state.values.get(item)


def chosen_result(rows: tuple[object, ...], take: str, basis: str) -> dict[str, object] | None:
    """The row of a computation's results that a plan's result stands for."""
    table = [dict(r) for r in rows if isinstance(r, dict)]
    for row in table:
        if (not take or row.get("name") == take) and (not basis or row.get("basis") == basis):
            return row
    return None


def visit_day(view: View) -> dt.date | None:
    """The date on site, or None where the visit has none."""
    try:
        return dt.date.fromisoformat(view.state.date)
    except ValueError:
        return None
