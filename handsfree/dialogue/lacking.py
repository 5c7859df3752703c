"""A result or limit that cannot be had in, what is lacking for it in words out."""

from __future__ import annotations

from handsfree.dialogue.route import View
from handsfree.dialogue.wording import join, key_words, word
from handsfree.plans.plan import LimitRule, PlanResult
from handsfree.plans.sources import references, value_of


def lacking_for(view: View, rule: PlanResult) -> str:
    """Why a result cannot be worked out in this visit: what the job file does not say. Empty while only readings are
    missing, or another result that says it of itself."""
    if not view.holds(rule.when):
        return ""
    missing: list[str] = []
    for source in rule.given.values():
        missing += _missing(view, source)
        if any(not reference.startswith("job.") for reference in missing):
            return ""
    return _not_said(missing) if missing else ""


def no_limit(view: View, rule: LimitRule | None) -> str:
    """Why there is no limit to hold a value against; empty where the plan names none that could be missing."""
    if rule is None or not rule.around:
        return ""
    missing = _missing(view, rule.around)
    results = [found for r in missing if r.startswith("result.") and (found := view.plan.result(r.partition(".")[2]))]
    if results:
        return word("lacks_result", names=join([r.say for r in results]))
    return _not_said(missing) if missing else ""


def _missing(view: View, source: str) -> list[str]:
    if value_of(source, view.look_up) is not None:
        return []
    return [reference for reference in references(source) if view.look_up(reference) is None]


def _not_said(missing: list[str]) -> str:
    return word("lacks_job", names=join(list(dict.fromkeys(key_words(r.partition(".")[2]) for r in missing))))
