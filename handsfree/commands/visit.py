"""A plan and a job in, a visit held: prompts, listening, read-backs, and the report at the end."""

from __future__ import annotations

import datetime as dt
import hashlib
import json
import os
import time
from collections.abc import Callable
from dataclasses import dataclass, replace
from importlib.metadata import version
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from handsfree.audio.gate import Gate
from handsfree.commands.progress import working
from handsfree.dialogue.engine import Engine
from handsfree.errors import BadInput
from handsfree.events import (
    AnswerConfirmed,
    Computed,
    Entry,
    Judged,
    ReadingConfirmed,
    Said,
    UtteranceHeard,
    VisitStarted,
    event_to_json,
)
from handsfree.language import Language, load_language
from handsfree.language.unfinished import Unfinished
from handsfree.plans import Job, Plan, job_from_text, load_job, load_plan, plan_from_text
from handsfree.record.folder import JOB, PLAN, VisitFolder, check_visit, read_visit_text
from handsfree.session import ListeningAhead, Session, VisitEnd, load_properties
from handsfree.settings import Settings, load_settings
from handsfree.sources import MicrophoneSource, RecordingSource, Source, TypedSource, standard_input
from handsfree.voice import SpeakerKind, open_speaker

if TYPE_CHECKING:
    from handsfree.listeners.hearing import Hearing

VOICES: tuple[SpeakerKind, ...] = ("spoken", "printed", "none")


@dataclass(frozen=True, slots=True)
class Manner:
    """How a visit is held."""

    source: str
    """mic, typed, or a path"""
    voice: SpeakerKind | None
    """None = spoken with a microphone, printed otherwise"""
    as_json: bool


def manner_options(function: Callable[..., Any]) -> Callable[..., Any]:
    """The options that visit and resume share."""
    for option in (
        click.option("--json", "as_json", is_flag=True, help="Every event as a JSON line, nothing else."),
        click.option("--voice", type=click.Choice(VOICES), help="Default: spoken with a microphone, else printed."),
        click.option(
            "--from",
            "source",
            default="mic",
            show_default=True,
            metavar="mic|typed|PATH",
            help="Where words come from.",
        ),
    ):
        function = option(function)
    return function


@click.command("visit")
@click.argument("plan")
@click.option("--job", "job_path", type=click.Path(path_type=Path), help="The job file: people, boiler, maker's data.")
@click.option("--folder", type=click.Path(path_type=Path), help="The visit's folder (made new).")
@click.option(
    "--date", "on", metavar="YYYY-MM-DD", help="The date on site; limits are looked up by it. Default: today."
)
@manner_options
def command(
    plan: str,
    job_path: Path | None,
    folder: Path | None,
    on: str | None,
    source: str,
    voice: SpeakerKind | None,
    as_json: bool,
) -> int:
    """Hold a visit by PLAN: the name of one of ours (`handsfree plan list`) or the path of your own."""
    settings = load_settings(os.environ)
    date = _date(on)
    loaded = load_plan(plan)
    where = folder or settings.data_folder / f"{time.strftime('%Y-%m-%d-%H%M%S')}-{loaded.name}"
    return hold_new_visit(loaded, load_job(job_path), where, date, Manner(source, voice, as_json), settings)


def _date(text: str | None) -> dt.date:
    if text is None:
        return dt.date.today()
    try:
        return dt.date.fromisoformat(text)
    except ValueError:
        raise BadInput(f"--date {text!r} is no date", "write it as 2026-11-25") from None


def hold_new_visit(plan: Plan, job: Job, where: Path, date: dt.date, manner: Manner, settings: Settings) -> int:
    """Make the folder and hold the visit; the exit code."""
    started = VisitStarted(
        plan=plan.name,
        plan_sha256=hashlib.sha256(plan.text.encode()).hexdigest(),
        job=job.as_json(),
        gas=job.gas,
        date=date.isoformat(),
        program=version("handsfree"),
    )

    def make() -> VisitFolder:
        return VisitFolder.create(where, plan.text, job.text or None)

    return _hold(make, plan, job, manner, settings, started)


def hold_again(where: Path, manner: Manner, settings: Settings) -> int:
    """Carry on with the visit in a folder; the exit code."""
    check_visit(where)
    plan_text = read_visit_text(where, PLAN)
    if plan_text is None:
        raise BadInput(f"{where} is not a visit: it holds no {PLAN}", "name a folder that handsfree visit made")
    job_text = read_visit_text(where, JOB)
    plan = plan_from_text(plan_text, where / PLAN)
    job = Job() if job_text is None else job_from_text(job_text, where / JOB)
    return _hold(lambda: VisitFolder.open(where), plan, job, manner, settings, None)


def _hold(
    make_folder: Callable[[], VisitFolder],
    plan: Plan,
    job: Job,
    manner: Manner,
    settings: Settings,
    started: VisitStarted | None,
) -> int:
    """Open everything, hold the visit, close everything, write the report. `started` is None when a visit is carried on.

    What can be missing is opened before the folder is made: a visit that cannot be held leaves nothing behind.
    """
    language = load_language(aliases=settings.aliases_file)
    gate = Gate()
    source = _open_source(manner.source, settings, gate)
    hearing = _open_hearing(source, language, settings)
    ears = None if hearing is None else ListeningAhead(hearing, Unfinished(language))
    if ears is not None and isinstance(source, MicrophoneSource):
        source.listen_ahead(ears.begin, ears.pause_behind)
    if ears is not None and isinstance(source, RecordingSource):
        source.hold_open(ears.pause_behind_known)
    voice = manner.voice or ("spoken" if manner.source == "mic" else "printed")
    say = _quiet if manner.as_json else _print
    speaker = open_speaker(voice, settings, say, gate=gate)
    show = _print_json if manner.as_json else Screen(said=voice == "spoken").show
    try:
        with make_folder() as folder:
            engine = Engine(plan, job, language)
            session = Session(engine, folder, source, speaker, ears, language, show, in_wait=load_properties)
            if started is not None:
                end = session.begin(_with_source(started, source))
            else:
                end = session.carry_on(folder.entries)
            path = folder.path
    finally:
        speaker.close()
        source.close()
        if ears is not None:
            ears.close()
        if hearing is not None:
            hearing.close()
    return _leave(path, end, as_json=manner.as_json)


def _with_source(started: VisitStarted, source: Source) -> VisitStarted:
    return replace(started, source=source.name)


def _open_source(name: str, settings: Settings, gate: Gate) -> Source:
    if name == "mic":
        return MicrophoneSource(settings.microphone, gate)
    if name == "typed":
        stream = standard_input()
        # Words from a pipe come at once: waiting two minutes between two of them would be theatre. The record says so.
        return TypedSource(stream, waits=stream.isatty())
    return RecordingSource(Path(name))


def _open_hearing(source: Source, language: Language, settings: Settings) -> Hearing | None:
    """The listeners begin to load while the first prompt is spoken."""
    if isinstance(source, TypedSource):
        return None
    from handsfree.listeners.hearing import open_hearing

    hearing = open_hearing(language, settings)
    hearing.start()
    return hearing


def _leave(path: Path, end: VisitEnd, *, as_json: bool) -> int:
    """Say how the visit ended and where its report lies."""
    from handsfree.report.writing import write_report

    write = _quiet if as_json else _print
    with working("Writing the report ..."):
        report = write_report(path, "html")
        for format in ("json", "csv"):
            write_report(path, format)
    write(f"\nReport: {report}")
    if end.finished and not end.complete:
        write(f"The visit was ended with items open. Take it up again with: handsfree resume {path}")
    elif end.finished:
        write(f"The visit is finished. Look it over with: handsfree review {path}")
    else:
        write(f"The visit is open. Carry on with: handsfree resume {path}")
    return 0 if end.complete else 1


def _quiet(line: str) -> None:
    return


def _print(line: str) -> None:
    print(line, flush=True)


def _print_json(entry: Entry) -> None:
    row = {"number": entry.number, "time": entry.time, "kind": entry.event.kind, "data": event_to_json(entry.event)}
    print(json.dumps(row), flush=True)


class Screen:
    """The conversation as lines of text.

    Args:
        said: print what is spoken too (a printed voice prints it itself).
    """

    def __init__(self, *, said: bool) -> None:
        self._said = said

    def show(self, entry: Entry) -> None:
        match entry.event:
            case Said(text=text) if self._said:
                _print(text)
            case UtteranceHeard(words=words, outcome=outcome):
                _print(f"    < {words or '(' + str(outcome['outcome']) + ')'}")
            case ReadingConfirmed() as e:
                _print(f"    = saved: {e.item} {e.value} {e.unit}")
            case AnswerConfirmed() as e:
                _print(f"    = saved: {e.item} {e.said_as or e.answer}")
            case Computed() as e:
                results = ", ".join(f"{r['name']} {r['value']} {r['unit']}".rstrip() for r in e.results)
                _print(f"    = worked out: {results}")
            case Judged() as e:
                _print(f"    = {e.item}: {e.words}")
