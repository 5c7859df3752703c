"""A plan in, its chunks, items, branches and loops as text or as one HTML page out."""

from __future__ import annotations

from collections.abc import Iterator

from handsfree.plans.plan import Chunk, Condition, Expect, Item, LimitRule, Plan

_SECONDS_A_WORD = 0.34
"""s of speech a word of a prompt, as the system's voice speaks it (benchmarks/spoken_time.py)"""
_ANSWER_S = {"quantity": 8.0, "serial": 12.0, "digits": 8.0, "date": 9.0, "text": 6.0}
"""s for the answer, its read-back, the yes and what is told with it, in round figures of the same measurement"""
_OTHER_ANSWER_S = 5.0


def spoken_minutes(plan: Plan) -> float:
    """Minutes that the plan takes to speak, work not counted, timed waits counted: an estimate by the number of
    words."""
    seconds = 0.0
    for item in plan.items():
        seconds += len(item.prompt.split()) * _SECONDS_A_WORD
        seconds += (
            item.expect.seconds if item.expect.kind == "wait" else _ANSWER_S.get(item.expect.kind, _OTHER_ANSWER_S)
        )
    return seconds / 60.0


def outline(plan: Plan) -> Iterator[str]:
    """The plan as lines of text: chunks, items, what is expected, limits, conditions, loops, results, questions."""
    asked = [i for i in plan.items() if i.expect.kind != "wait"]
    waits = sum(i.expect.seconds for i in plan.items() if i.expect.kind == "wait")
    yield f"{plan.title} ({plan.name})"
    yield f"  {plan.about}"
    yield f"  {len(plan.chunks)} chunks, {len(asked)} items"
    yield f"  about {spoken_minutes(plan):.0f} min spoken, of which {waits / 60:.0f} min are timed waits"
    for chunk in plan.chunks:
        yield ""
        yield f"[{chunk.title}] {chunk.place} ({chunk.way}){_when(chunk.when)}"
        for item in chunk.items:
            yield from _item_lines(plan, item)
        yield f"  = {chunk.done}"
    for loop in plan.loops:
        yield ""
        yield f"loop {loop.id}: {', '.join(loop.items)} until {terms(loop.until)}, {loop.max_rounds} rounds at most"
    if plan.results:
        yield ""
        yield "results"
        for result in plan.results:
            given = ", ".join(f"{k} = {v}" for k, v in result.given.items())
            yield f"  {result.say}: {result.compute}({given}){_limit(result.limit)}{_when(result.when)}"
    if plan.questions:
        yield ""
        yield "asked about when it does not hold"
        for question in plan.questions:
            yield f"  {question.require}"


def _item_lines(plan: Plan, item: Item) -> Iterator[str]:
    marks = "".join(m for m, on in (("!", item.killer), ("?", not item.mandatory)) if on)
    loop = plan.loop_of(item.id)
    inside = f" [loop {loop.id}]" if loop else ""
    yield f"  {marks or '-'} {item.prompt}  <{expected(item.expect)}>{_limit(item.limit)}{_when(item.when)}{inside}"


def expected(expect: Expect) -> str:
    """What answers an item, in a few words."""
    match expect.kind:
        case "quantity":
            named = f"{expect.quantity} {expect.qualifier or ''}".strip()
            return f"{named}, timed by mark" if expect.stopwatch else named
        case "choice":
            return " / ".join(expect.phrases)
        case "yes_no":
            return "yes or no"
        case "state":
            return f'"{expect.state}"'
        case "wait":
            return f"wait {expect.seconds:g} s"
        case _:
            return expect.kind


def terms(condition: Condition) -> str:
    """A condition in words."""
    return " and ".join(f"{key} is {' or '.join(values)}" for key, values in condition.terms)


def _when(condition: Condition) -> str:
    return f"  (when {terms(condition)})" if condition.terms else ""


def _limit(rule: LimitRule | None) -> str:
    if rule is None:
        return ""
    parts = [rule.maker, f"around {rule.around}" if rule.around else "", *dict.fromkeys(rule.trade.values())]
    if rule.low is not None or rule.high is not None:
        parts.append(f"{rule.low if rule.low is not None else ''}..{rule.high if rule.high is not None else ''}")
    return f"  limit: {', else '.join(p for p in parts if p)}"


# -------------------------------------------------------------------------------------------------- picture

_STYLE = """
body { font: 15px/1.4 system-ui, sans-serif; margin: 1.5rem; color: #1b1b1b; background: #fff }
section { border: 1px solid #777; border-radius: 6px; padding: .6rem 1rem; margin: 0 0 1.6rem; max-width: 46rem }
section { position: relative }
section:not(:last-of-type)::after { content: "\\2193"; position: absolute; left: 2rem; bottom: -1.6rem }
h2 { font-size: 1.05rem; margin: 0 } .place { color: #444 } li { margin: .25rem 0 } .killer { font-weight: 600 }
.wait { color: #444; font-style: italic } .branch { border-left: 3px solid #2a5d8f; padding-left: .6rem }
small { color: #333 }
"""


def picture(plan: Plan) -> str:
    """The plan as one HTML page without scripts or outside requests: chunks in order, branches marked."""
    from html import escape

    body = "\n".join(_section(plan, chunk) for chunk in plan.chunks)
    head = f"<h1>{escape(plan.title)}</h1><p>{escape(plan.about)}</p>"
    sources = "".join(f"<li>{escape(s)}</li>" for s in plan.sources)
    return (
        f'<!doctype html><html lang="en-GB"><head><meta charset="utf-8"><title>{escape(plan.title)}</title>'
        f'<meta name="viewport" content="width=device-width"><style>{_STYLE}</style></head><body>{head}{body}'
        f"<h2>Sources</h2><ul>{sources}</ul></body></html>\n"
    )


def _section(plan: Plan, chunk: Chunk) -> str:
    from html import escape

    rows = []
    for item in chunk.items:
        classes = [c for c, on in (("killer", item.killer), ("wait", item.expect.kind == "wait")) if on]
        loop = plan.loop_of(item.id)
        if item.when.terms or loop:
            classes.append("branch")
        notes = [expected(item.expect), _limit(item.limit).strip(), _when(item.when).strip()]
        notes += [f"round by round until {terms(loop.until)}"] if loop else []
        detail = escape("; ".join(n for n in notes if n))
        rows.append(f'<li class="{" ".join(classes)}">{escape(item.prompt)} <small>{detail}</small></li>')
    when = f"<p><small>{escape(_when(chunk.when).strip())}</small></p>" if chunk.when.terms else ""
    return (
        f'<section><h2>{escape(chunk.title)}</h2><p class="place">{escape(chunk.place)}</p>{when}'
        f"<ol>{''.join(rows)}</ol><p>{escape(chunk.done)}</p></section>"
    )
