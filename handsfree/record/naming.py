"""Ids of a visit in, the words that its plan has for them out; an id that no plan knows is printed as words."""

from __future__ import annotations

import re
from dataclasses import dataclass

from handsfree.dialogue.wording import unsafe_questions
from handsfree.plans.plan import Plan

_TRIGGERS = {"smell_of_gas": "smell of gas", "unsafe": "called unsafe by the engineer"}


@dataclass(frozen=True, slots=True)
class Names:
    """How items, results, chunks and loops are spoken of."""

    plan: Plan | None

    def name(self, id: str | None) -> str:
        """The name of an item, result, chunk or loop; empty for None."""
        if not id:
            return ""
        return self._known(id) or id.replace("_", " ")

    def _known(self, id: str) -> str:
        plan = self.plan
        if plan is None:
            return ""
        if plan.has_item(id):
            return plan.item(id).say
        found = [r.say for r in plan.results if r.id == id]
        found += [c.title for c in plan.chunks if c.id == id]
        return found[0] if found else ""

    def trigger(self, id: str) -> str:
        """What set off the unsafe path, in words."""
        return _TRIGGERS.get(id) or self.name(id)

    def because(self, words: str) -> str:
        """A reason in which ids may stand ("co2_max changed"), with their names put in."""
        ids = [part.strip() for part in words.split(",")]
        if all(self._known(id) for id in ids):
            return f"{', '.join(self._known(id) for id in ids)} changed"
        return re.sub(r"[a-z0-9_]+", lambda m: self._known(m[0]) or m[0], words)

    def unwelcome(self, item: str, answer: str) -> bool:
        """True when the plan counts the answer as one that needs something done."""
        if self.plan is None or not self.plan.has_item(item):
            return False
        good = self.plan.item(item).expect.good
        return bool(good) and answer not in good


def unsafe_question(id: str) -> str:
    """The question that was asked in an unsafe situation."""
    return next((q.ask for q in unsafe_questions() if q.id == id), id.replace("_", " "))
