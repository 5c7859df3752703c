"""A visit held by the real dialogue, told by the record and the report."""

from __future__ import annotations

import hashlib
from dataclasses import replace
from pathlib import Path

from dialogue_engineer import work_through
from dialogue_story import SHORT_VISIT, Story, plan_named, play_until, story, the_job
from visit_builder import Clock

from handsfree.dialogue.inputs import HeardInput
from handsfree.events import VisitStarted
from handsfree.model import Heard, Nothing
from handsfree.plans import example_job
from handsfree.record import VisitFolder
from handsfree.record.reading import read_visit
from handsfree.record.visit import VisitRecord
from handsfree.report import FORMATS, write_report


def kept(visit: Story, path: Path) -> VisitRecord:
    """The story in a visit's folder."""
    sha = hashlib.sha256(visit.plan.text.encode()).hexdigest()
    with VisitFolder.create(path, visit.plan.text, example_job().read_text(encoding="utf-8"), Clock()) as folder:
        for entry in visit.entries:
            event = entry.event
            folder.append(replace(event, plan_sha256=sha) if isinstance(event, VisitStarted) else event)
    return read_visit(path)


def test_a_visit_that_goes_well_leaves_nothing_open(tmp_path: Path) -> None:
    """Every value the engineer gave stands, every limit of the plan was held against, and nothing needs attention."""
    visit = play_until(story(), None)
    visit.hear("finish", "yes")
    record = kept(visit, tmp_path / "v")
    values = {v.item: v.value for v in record.values()}
    assert values == {id: value.text for id, value in visit.state.values.items() if value.kind != "wait"}
    assert record.complete
    assert record.open_items == record.outside == record.unsafe == record.remarks == ()
    judged = {v.item: v.judgement.result for v in [*record.values(), *record.standing_results()] if v.judgement}
    assert judged == {id: ruling.result for id, ruling in visit.state.rulings.items()}
    assert {r.item for r in record.standing_results()} == set(visit.state.results)


def test_the_record_agrees_with_the_dialogue_after_every_answer(tmp_path: Path) -> None:
    """With a wrong value, a correction and a deferral, record and dialogue name the same values all along."""
    answers = {
        **SHORT_VISIT,
        "co2_max": ("nine point six percent", "yes", "change C O 2 at maximum rate", "nine point two", "yes"),
    }
    visit = story()
    for n in range(60):
        here = visit.state.item
        if not here:
            break
        visit.hear(*(("leave that for later", "yes") if here == "flushed" and n < 10 else answers[here]))
        if n % 6 == 0:
            record = kept(visit, tmp_path / f"v{n}")
            values = {v.item: v.value for v in record.values()}
            assert values == {id: value.text for id, value in visit.state.values.items() if value.kind != "wait"}
            assert {r.item for r in record.standing_results()} == set(visit.state.results)
    last = kept(visit, tmp_path / "last")
    assert [(c.old.value, c.new.value if c.new else "") for c in last.corrections] == [("9.6", "9.2")]


def test_every_format_is_made_of_a_real_visit(tmp_path: Path) -> None:
    """What the dialogue writes can be reported in every format."""
    visit = play_until(story(), None)
    kept(visit.hear("finish", "yes"), tmp_path / "v")
    for format in FORMATS:
        assert write_report(tmp_path / "v", format).stat().st_size > 500


def test_a_visit_taken_up_again_shows_both_ends(tmp_path: Path) -> None:
    """The first end with what was open, the moment it was taken up again, and the second end all stand in the record."""
    visit = story()
    for _ in range(200):
        if not visit.state.item:
            break
        visit.hear(*(("later",) if visit.state.item == "co_max" else SHORT_VISIT[visit.state.item]))
    visit.hear("finish", "yes")
    first = kept(visit, tmp_path / "first")
    assert not first.complete
    assert first.earlier_ends == ()
    visit.cut().hear("yes").hear(*SHORT_VISIT["co_max"])
    assert not kept(visit, tmp_path / "between").finished
    visit.hear("finish")
    record = kept(visit, tmp_path / "second")
    assert record.complete
    (end,) = record.earlier_ends
    assert end.open_items == ("CO at maximum rate",)
    assert end.time < end.reopened_at
    page = write_report(tmp_path / "second", "html").read_text(encoding="utf-8")
    assert "Taken up again." in page
    assert "Open at that end: CO at maximum rate." in page
    happened = [turn.text for turn in record.conversation]
    assert happened.index("Visit ended, not complete") < happened.index("Taken up again, with items open")
    assert happened[-1] != "Taken up again, with items open"


def test_free_words_are_kept_as_a_clip_and_marked_unchecked(tmp_path: Path) -> None:
    """A note and an answer in free words (what the customer says) stand with their clip, and the report says that nobody
    checked the words."""
    visit = Story(plan_named("service"), the_job()).begin()
    work_through(visit, until="complaints")
    for words in ("note", "the neighbour's flue is close by"):
        visit.hear(words)
    visit.give(HeardInput(Heard("it bangs at night", Nothing("talk"), clip="audio/0009-ab.wav", start_s=9, end_s=12)))
    record = kept(visit, tmp_path / "v")
    (note,) = record.notes
    assert (note.words, note.checked) == ("the neighbour's flue is close by", False)
    (answer,) = [v for v in record.values() if v.item == "complaints"]
    assert (answer.value, answer.clip, answer.how) == (
        "it bangs at night",
        "audio/0009-ab.wav",
        "recorded, words unchecked",
    )
    page = write_report(tmp_path / "v", "html", clips="link").read_text(encoding="utf-8")
    assert "words as the program heard them, not checked" in page
    assert "recorded, words unchecked" in page
    assert "“it bangs at night”" in page


def test_an_answer_without_a_yes_is_not_said_to_have_one(tmp_path: Path) -> None:
    """A plain good answer that was only said back stands so in the record; one that was read back has its yes."""
    visit = Story(plan_named("service"), the_job()).begin()
    work_through(visit, until="complaints")
    how = {v.item: v.how for v in kept(visit, tmp_path / "v").values()}
    assert how["co_alarm"] == "typed, said back"
    assert how["smell_first"] == "typed yes"
