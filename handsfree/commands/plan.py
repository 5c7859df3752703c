"""Names and files of plans in; a list, an outline, findings, random sentences or a plan to begin with out."""

from __future__ import annotations

import json
import os
import random
from collections.abc import Iterator, Sequence
from pathlib import Path

import click

from handsfree.errors import BadInput, NeedsEngineer
from handsfree.listeners.models import LEXICON, pronounced_words
from handsfree.model import Expectation, Gas, outcome_to_json
from handsfree.plans import load_plan, plan_names
from handsfree.plans.check import Remark


@click.group("plan")
def command() -> None:
    """List, show, check, sample and begin the plans of visits."""


@command.command("list")
@click.option("--json", "as_json", is_flag=True, help="One JSON object a line.")
def list_plans(as_json: bool) -> None:
    """The plans that come with the program."""
    for name in plan_names():
        plan = load_plan(name)
        if as_json:
            row = {
                "name": name,
                "title": plan.title,
                "about": plan.about,
                "chunks": len(plan.chunks),
                "items": len(list(plan.items())),
            }
            click.echo(json.dumps(row))
        else:
            click.echo(f"{name:22} {plan.title}: {plan.about}")


@command.command("show")
@click.argument("plan")
@click.option(
    "--html",
    type=click.Path(dir_okay=False, path_type=Path),
    help="Write a picture of the plan as one HTML page instead.",
)
def show(plan: str, html: Path | None) -> None:
    """Chunks, items, limits, branches and loops of a plan (a name, or a file)."""
    from handsfree.plans.show import outline, picture

    loaded = load_plan(plan)
    if html is None:
        for line in outline(loaded):
            click.echo(line)
        return
    try:
        html.write_text(picture(loaded), encoding="utf-8")
    except OSError as error:
        raise BadInput(f"{html} cannot be written: {error.strerror}", "name another file") from None
    click.echo(f"wrote {html}")


@command.command("check")
@click.argument("files", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option("--json", "as_json", is_flag=True, help="One JSON object a line.")
def check(files: tuple[Path, ...], as_json: bool) -> None:
    """Look plans and job files over: form, reachability, limits, sources, words.

    Exit code 0 when nothing is wrong (warnings are allowed), 1 when a plan must be corrected.
    """
    from handsfree.plans.check import check_file, the_knowledge

    knowledge = the_knowledge()
    errors = 0
    for path in files:
        try:
            remarks = check_file(path, knowledge)
            remarks += words_without_a_sound(path, LEXICON, remarks)
        except BadInput as unreadable:
            errors += 1
            click.echo(
                json.dumps({"file": str(path), "weight": "error", "message": str(unreadable)})
                if as_json
                else str(unreadable)
            )
            continue
        errors += sum(r.weight == "error" for r in remarks)
        for remark in remarks:
            row = {
                "file": str(path),
                "line": remark.line,
                "weight": remark.weight,
                "message": remark.message,
                "hint": remark.hint,
            }
            click.echo(json.dumps(row) if as_json else str(remark))
        if not remarks and not as_json:
            click.echo(f"{path}: nothing wrong")
    if errors:
        raise NeedsEngineer(f"{errors} error{'' if errors == 1 else 's'}", "correct the lines named above")


def words_without_a_sound(path: Path, lexicon: Path, remarks: Sequence[Remark]) -> Iterator[Remark]:
    """Answers of a plan that the packaged speech model can never hear; none for a job or a plan that is wrong."""
    from handsfree.language.phrases import spoken_forms
    from handsfree.plans.check import is_job
    from handsfree.plans.located import read_toml

    pronounced = pronounced_words(lexicon)
    if pronounced is None or any(r.weight == "error" for r in remarks) or is_job(read_toml(path, "plan")[1]):
        return
    for item in load_plan(path).items():
        answers = [phrase for phrases in item.expect.phrases.values() for phrase in spoken_forms(phrases)]
        spoken = {word for answer in answers for word in answer.split()}
        for word in sorted(spoken - pronounced):
            hint = "use another word for it"
            yield Remark(path, item.line, "warning", f"{item.id}: {word!r} has no pronunciation", hint)


@command.command("sample")
@click.argument("plan", required=False, metavar="[FILE|NAME]")
@click.option("--expect", "what", metavar="WHAT", help="No plan: one kind of answer, or a quantity's id.")
@click.option("--count", default=10, show_default=True, type=click.IntRange(1, 1_000_000), help="How many sentences.")
@click.option("--seed", default=1, show_default=True, help="The same seed gives the same sentences.")
@click.option("--gas", type=click.Choice(["ng", "lpg"]), default="ng", show_default=True, help="Natural gas or LPG.")
@click.option("--json", "as_json", is_flag=True, help="One JSON object a line.")
def sample(plan: str | None, what: str | None, count: int, seed: int, gas: Gas, as_json: bool) -> None:
    """Random sentences that the steps of a plan accept, each with what it comes to.

    A line holds the step, the sentence and the outcome, with tabs between.
    """
    from handsfree.language import load_language
    from handsfree.language.samples import expectation_of, outcome_line
    from handsfree.settings import load_settings

    if (plan is None) == (what is None):
        raise BadInput("say either a plan or --expect", "handsfree plan sample service; or --expect co2")
    language = load_language(aliases=load_settings(os.environ).aliases_file)
    if plan is not None:
        steps = _steps(plan, gas)
    else:
        steps = [(what or "", expectation_of(what or "", language.quantities, gas))]
    rng = random.Random(seed)
    for _ in range(count):
        step, expectation = rng.choice(steps)
        words, outcome = language.sample(rng, expectation)
        row = {"step": step, "words": words, **outcome_to_json(outcome)}
        click.echo(json.dumps(row) if as_json else f"{step}\t{words}\t{outcome_line(outcome)}")


def _steps(plan: str, gas: Gas) -> list[tuple[str, Expectation]]:
    """(id, expectation) of every item that words answer: those where the program times or only records say nothing."""
    from handsfree.plans import expectation_of

    steps = [
        (item.id, expectation_of(item, gas))
        for item in load_plan(plan).items()
        if item.expect.kind not in ("wait", "text")
    ]
    if not steps:
        raise BadInput(f"no item of {plan} is answered in the words of a grammar", "sample another plan")
    return steps


@command.command("new")
@click.argument("file", type=click.Path(dir_okay=False, path_type=Path))
@click.option("--job", is_flag=True, help="A job file instead of a plan.")
def new(file: Path, job: bool) -> None:
    """Write a small complete plan (or job file) to begin with. An existing file is never written over."""
    from handsfree.plans import example_job
    from handsfree.plans.sample_plan import SAMPLE_PLAN

    text = example_job().read_text(encoding="utf-8") if job else SAMPLE_PLAN
    try:
        with file.open("x", encoding="utf-8") as out:
            out.write(text)
    except FileExistsError:
        raise BadInput(f"{file} is there already", "name a new file") from None
    except OSError as error:
        raise BadInput(f"{file} cannot be written: {error.strerror}", "name another file") from None
    click.echo(f"wrote {file}; check it with: handsfree plan check {file}")
