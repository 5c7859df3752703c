"""Names and files of plans in; a list, an outline, findings or a sample out."""

from __future__ import annotations

import json
from pathlib import Path

import click

from handsfree.errors import BadInput, NeedsEngineer
from handsfree.plans import load_plan, plan_names


@click.group("plan")
def command() -> None:
    """List, show, check and sample the plans of visits."""


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


@command.command("sample")
@click.argument("file", type=click.Path(dir_okay=False, path_type=Path))
@click.option("--job", is_flag=True, help="A sample of a job file instead of a plan.")
def sample(file: Path, job: bool) -> None:
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
