"""The text of a plan in, a `Plan` out, or every complaint with its line."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from handsfree.errors import BadInput
from handsfree.plans.located import Finding, Table, lines_of, nearest, parse_toml, raise_first, read_toml
from handsfree.plans.plan import (
    EXPECT_KINDS,
    ON_OUTSIDE,
    WAYS,
    Cause,
    Chunk,
    Condition,
    Emergency,
    Expect,
    Item,
    LimitRule,
    Loop,
    Plan,
    PlanResult,
    Question,
)

_SPOKEN_KINDS = ("digits", "letters", "serial", "date", "time", "number", "text")
_EXPECT_FORMS = ("quantity", "choice", "yes_no", "state", "wait_s", "read")


def plan_folder() -> Path:
    """Where the plans that come with the program lie."""
    return Path(__file__).parent


def plan_names() -> tuple[str, ...]:
    """The plans that come with the program."""
    return tuple(sorted(p.stem for p in plan_folder().glob("*.toml") if not p.stem.endswith("_job")))


def load_plan(name_or_path: str | Path) -> Plan:
    """The plan of that name, or of that file.

    Raises:
        BadInput: no such plan; the file does not read; a key or value is not one of ours (file, line, what was
        expected).
    """
    named = str(name_or_path)
    path = Path(named)
    if "/" not in named and path.suffix != ".toml":
        path = plan_folder() / f"{named}.toml"
        if not path.exists() or named not in plan_names():
            raise BadInput(f"there is no plan {named!r}", nearest(named, plan_names()))
    text, data = read_toml(path, "plan")
    return _finished(data, text, path)


def plan_from_text(text: str, path: Path | None = None) -> Plan:
    """As `load_plan`, from text (a visit folder keeps the plan as it was)."""
    where = path or Path("plan.toml")
    return _finished(parse_toml(text, where, "plan"), text, where)


def _finished(data: Mapping[str, Any], text: str, path: Path) -> Plan:
    plan, findings = read_plan(data, text, path)
    raise_first(findings, path, "plan")
    return plan


def read_plan(data: Mapping[str, Any], text: str, path: Path | None) -> tuple[Plan, list[Finding]]:
    """The plan, as far as it can be read, and every complaint about its form."""
    findings: list[Finding] = []
    top = Table(data, (), lines_of(text), findings)
    plan = Plan(
        name=top.text("name"),
        title=top.text("title"),
        about=top.text("about"),
        opening=top.text("opening"),
        sources=top.texts("sources", required=True),
        chunks=tuple(_chunk(t) for t in top.tables("chunk", required=True)),
        loops=tuple(_loop(t) for t in top.tables("loop")),
        results=tuple(_result(t) for t in top.tables("result")),
        questions=tuple(_question(t) for t in top.tables("question")),
        causes=tuple(_cause(t) for t in top.tables("cause")),
        emergencies=tuple(_emergency(t) for t in top.tables("emergency")),
        messages=_messages(top),
        path=path,
        text=text,
    )
    top.finish()
    return plan, findings


def _messages(top: Table) -> dict[str, str]:
    table = top.table("messages")
    return {} if table is None else {key: table.text(key) for key in table.data}


def _chunk(table: Table) -> Chunk:
    id = table.text("id")
    chunk = Chunk(
        id=id,
        title=table.text("title"),
        place=table.text("place"),
        done=table.text("done"),
        way=table.one_of("way", WAYS, "read-do"),
        opening=table.text("opening", required=False),
        when=_condition(table, "when"),
        items=tuple(_item(t, id) for t in table.tables("item", required=True)),
        line=table.line(),
    )
    table.finish()
    return chunk


def _item(table: Table, chunk: str) -> Item:
    item = Item(
        id=table.text("id"),
        say=table.text("say"),
        prompt=table.text("prompt"),
        expect=_expect(table),
        chunk=chunk,
        why=table.text("why", required=False),
        note=table.text("note", required=False),
        outside=table.text("outside", required=False),
        on_outside=table.one_of("on_outside", ON_OUTSIDE, "accept"),
        outside_twice=table.one_of("outside_twice", ("accept", "unsafe"), "accept"),
        emergency=table.text("emergency", required=False),
        source=table.text("source", required=False),
        mandatory=table.flag("mandatory", True),
        killer=table.flag("killer"),
        repeats=table.text("repeats", required=False),
        once=table.text("once", required=False),
        when=_condition(table, "when"),
        limit=_limit(table),
        judge_when=_condition(table, "judge_when"),
        not_judged=table.text("not_judged", required=False),
        rests_on=table.texts("rests_on"),
        line=table.line(),
    )
    table.finish()
    return item


def _expect(parent: Table) -> Expect:
    table = parent.table("expect", required=True)
    if table is None:
        return Expect("text")
    forms = [form for form in _EXPECT_FORMS if form in table.data]
    if len(forms) != 1:
        what = f"has {' and '.join(forms)}" if forms else "says not what is expected"
        parent.complain("expect", f"{parent.name()}: expect {what}", f"give one of: {', '.join(_EXPECT_FORMS)}")
        table.used.update(table.data)
        return Expect("text")
    expect = _EXPECT_READERS[forms[0]](table)
    table.finish()
    return expect


def _expect_quantity(table: Table) -> Expect:
    return Expect(
        "quantity",
        quantity=table.text("quantity"),
        qualifier=table.text("qualifier", required=False) or None,
        low=table.number("low"),
        high=table.number("high"),
        stopwatch=table.flag("stopwatch"),
    )


def _expect_choice(table: Table) -> Expect:
    answers = table.table("choice")
    phrases = {key: answers.texts(key, required=True) for key in answers.data} if answers else {}
    good = table.texts("good")
    for answer in good:
        if answer not in phrases:
            table.complain(
                "good", f"{table.name()}: good names {answer!r}, which is no answer", nearest(answer, phrases)
            )
    return Expect("choice", phrases=phrases, good=good, same_as=table.text("same_as", required=False))


def _expect_yes_no(table: Table) -> Expect:
    good = table.one_of("yes_no", ("yes", "no", "either"))
    return Expect("yes_no", good=() if good == "either" else (good,))


def _expect_state(table: Table) -> Expect:
    state = table.text("state")
    return Expect("state", phrases={"done": (*table.texts("phrases"), *_words_of(state), "done")}, state=state)


def _words_of(state: str) -> tuple[str, ...]:
    return (state.lower().rstrip("."),)


def _expect_wait(table: Table) -> Expect:
    seconds = table.number("wait_s", low=1)
    return Expect(
        "wait",
        seconds=float(seconds or 1),
        what=table.text("what"),
        seconds_from=table.text("wait_from", required=False),
    )


def _expect_read(table: Table) -> Expect:
    kind = table.one_of("read", _SPOKEN_KINDS)
    length = table.number("length", low=1)
    return Expect(
        next((k for k in EXPECT_KINDS if k == kind), "text"),
        length=None if length is None else int(length),
        low=table.number("low"),
        high=table.number("high"),
        same_as=table.text("same_as", required=False),
        not_before=table.text("not_before", required=False),
    )


_EXPECT_READERS = {
    "quantity": _expect_quantity,
    "choice": _expect_choice,
    "yes_no": _expect_yes_no,
    "state": _expect_state,
    "wait_s": _expect_wait,
    "read": _expect_read,
}


def _limit(parent: Table) -> LimitRule | None:
    if not parent.has("limit"):
        return None
    table = parent.table("limit")
    if table is None:
        return None
    rule = LimitRule(
        maker=table.text("maker", required=False),
        around=table.text("around", required=False),
        minus=table.number("minus"),
        plus=table.number("plus"),
        minus_pct=table.number("minus_pct", low=0),
        plus_pct=table.number("plus_pct", low=0),
        trade=_trade(table),
        low=table.number("low"),
        high=table.number("high"),
        low_strict=table.flag("low_strict"),
        high_strict=table.flag("high_strict"),
        unit=table.text("unit", required=False),
        authority=table.one_of("authority", ("maker", "trade", "practice"), "practice"),
        source=table.text("source", required=False),
        sure=table.one_of("sure", ("published", "second-hand", "common practice", "from memory"), "common practice"),
    )
    table.finish()
    if not (rule.maker or rule.around or rule.trade or rule.low is not None or rule.high is not None):
        parent.complain("limit", f"{parent.name()}: the limit says nothing", "give maker, around, trade, low or high")
    return rule


def _trade(table: Table) -> dict[str, str]:
    if isinstance(table.data.get("trade"), Mapping):
        by_gas = table.table("trade")
        assert by_gas is not None
        found = {gas: by_gas.text(gas) for gas in ("ng", "lpg") if by_gas.has(gas)}
        by_gas.finish()
        return found
    id = table.text("trade", required=False)
    return {"ng": id, "lpg": id} if id else {}


def _condition(parent: Table, key: str) -> Condition:
    table = parent.table(key)
    if table is None:
        return Condition()
    terms = []
    for name, value in table.data.items():
        table.used.add(name)
        values = value if isinstance(value, list) else [value]
        shown = [("true" if v else "false") if isinstance(v, bool) else str(v) for v in values]
        head = name.split(".")[0]
        if name != "gas" and (head not in ("job", "answer", "verdict", "cause") or "." not in name):
            parent.complain(
                key,
                f"{parent.name()}: {key} has {name!r}",
                "use gas, job.KEY, answer.ITEM, verdict.ID or cause.ID, in quotes",
            )
        if not shown or not all(isinstance(v, str | bool | int) for v in values):
            parent.complain(key, f"{parent.name()}: {key} {name} must be a text or a list of texts", "")
        terms.append((name, tuple(shown)))
    return Condition(tuple(terms))


def _loop(table: Table) -> Loop:
    rounds = table.number("max_rounds", low=1, required=True)
    loop = Loop(
        id=table.text("id"),
        items=table.texts("items", required=True),
        until=_condition(table, "until"),
        max_rounds=int(rounds or 1),
        again=table.text("again"),
        spent=table.text("spent"),
        spent_unsafe=table.flag("spent_unsafe"),
        emergency=table.text("emergency", required=False),
        when=_condition(table, "when"),
        line=table.line(),
    )
    table.finish()
    return loop


def _result(table: Table) -> PlanResult:
    given = table.table("given", required=True)
    sources = {key: _source_text(given, key) for key in given.data} if given else {}
    result = PlanResult(
        id=table.text("id"),
        say=table.text("say"),
        compute=table.text("compute"),
        given=sources,
        take=table.text("take", required=False),
        basis=table.one_of("basis", ("", "gross", "net"), ""),
        quantity=table.text("quantity", required=False),
        qualifier=table.text("qualifier", required=False) or None,
        limit=_limit(table),
        when=_condition(table, "when"),
        judge_when=_condition(table, "judge_when"),
        not_judged=table.text("not_judged", required=False),
        outside=table.text("outside", required=False),
        outside_twice=table.one_of("outside_twice", ("accept", "unsafe"), "accept"),
        emergency=table.text("emergency", required=False),
        read_again=table.texts("read_again"),
        spoken=table.flag("spoken", True),
        source=table.text("source", required=False),
        line=table.line(),
    )
    table.finish()
    return result


def _source_text(given: Table, key: str) -> str:
    if isinstance(given.data[key], str):
        return given.text(key)
    amount = given.number(key)
    return "" if amount is None else format(amount, "f")


def _question(table: Table) -> Question:
    question = Question(
        id=table.text("id"),
        items=table.texts("items", required=True),
        require=table.text("require"),
        ask=table.text("ask"),
        when=_condition(table, "when"),
        source=table.text("source", required=False),
        line=table.line(),
    )
    table.finish()
    return question


def _cause(table: Table) -> Cause:
    if not table.has("when"):
        table.findings.append(Finding(table.line(), f"{table.name()} lacks 'when'", "say when it is the cause"))
    cause = Cause(
        id=table.text("id"),
        say=table.text("say"),
        when=_condition(table, "when"),
        action=table.text("action"),
        source=table.text("source", required=False),
        line=table.line(),
    )
    table.finish()
    return cause


def _emergency(table: Table) -> Emergency:
    emergency = Emergency(table.text("id"), table.texts("steps", required=True), table.line())
    table.finish()
    return emergency
