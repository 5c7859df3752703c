"""The HTML report: stands alone, tells everything, reads well with and without eyes."""

from __future__ import annotations

import base64
import io
import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from decimal import Decimal
from html.parser import HTMLParser
from importlib import resources
from itertools import pairwise
from pathlib import Path

import pytest
import soundfile
from hypothesis import given
from hypothesis import strategies as st
from visit_builder import JOB, VisitBuilder, build_visit, plan_text

from handsfree import events as ev
from handsfree.record import VisitFolder
from handsfree.record.reading import read_visit
from handsfree.record.visit import ChunkRecord, ItemRecord, Judgement, Value, VisitRecord
from handsfree.report import write_report
from handsfree.report.attention import points_of
from handsfree.report.clips import ClipSounds
from handsfree.report.gauge import WIDTH, draw_gauge
from handsfree.report.job_facts import instruments
from handsfree.report.page import render_page

EMPTY = {"meta", "br", "link", "img", "hr", "input", "line", "circle", "path", "rect"}


@dataclass
class Element:
    """One element of a page, or a piece of text (tag "#text")."""

    tag: str
    attributes: dict[str, str]
    text: str = ""
    children: list[Element] = field(default_factory=list)

    def all(self, *tags: str) -> Iterator[Element]:
        for child in self.children:
            if child.tag != "#text" and (not tags or child.tag in tags):
                yield child
            yield from child.all(*tags)

    def words(self) -> str:
        """What a reader reads, in order; a unit's fixed space counts as a space."""
        return " ".join("".join(self._pieces()).split())

    def _pieces(self) -> Iterator[str]:
        if self.tag == "#text":
            yield self.text
        elif self.tag != "style":
            between = "" if self.tag in ("span", "a", "strong", "b", "del", "ins", "code") else " "
            yield between
            for child in self.children:
                yield from child._pieces()
            yield between


class Reader(HTMLParser):
    """Reads a page strictly: every element must be closed in its turn."""

    def __init__(self) -> None:
        super().__init__()
        self.root = Element("root", {})
        self.open = [self.root]

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        element = Element(tag, {k: v or "" for k, v in attrs})
        self.open[-1].children.append(element)
        if tag not in EMPTY:
            self.open.append(element)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.open[-1].children.append(Element(tag, {k: v or "" for k, v in attrs}))

    def handle_endtag(self, tag: str) -> None:
        assert self.open[-1].tag == tag, f"</{tag}> closes <{self.open[-1].tag}> at {self.getpos()}"
        self.open.pop()

    def handle_data(self, data: str) -> None:
        self.open[-1].children.append(Element("#text", {}, data))


def read(html: str) -> Element:
    reader = Reader()
    reader.feed(html)
    reader.close()
    assert reader.open == [reader.root]
    return reader.root


@pytest.fixture(scope="module")
def visit(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return build_visit(tmp_path_factory.mktemp("visits") / "invented")


@pytest.fixture(scope="module")
def html(visit: Path) -> str:
    return write_report(visit).read_text(encoding="utf-8")


@pytest.fixture(scope="module")
def page(html: str) -> Element:
    return read(html)


def page_of(path: Path, *events: ev.Event, job: dict[str, object] | None = None) -> Element:
    """The page of a visit with just these events."""
    with VisitFolder.create(path, plan_text()) as folder:
        VisitBuilder(folder).start(plan_text(), JOB if job is None else job)
        for event in events:
            folder.append(event)
    return read(write_report(path).read_text(encoding="utf-8"))


def section(page: Element, id: str) -> Element:
    return next(s for s in page.all("section") if s.attributes.get("aria-labelledby") == id)


# ------------------------------------------------------------------------------------------- stands alone


def test_the_page_asks_for_nothing(page: Element, html: str) -> None:
    """One file: no script, no style sheet, picture, font or frame from elsewhere; links stay in the page."""
    assert not list(page.all("script", "link", "iframe", "img", "object", "embed", "form"))
    for element in page.all():
        for name in ("src", "href"):
            address = element.attributes.get(name, "#")
            assert address.startswith(("#", "data:audio/")), address[:60]
        assert not [a for a in element.attributes if a.startswith("on")]
    style = next(page.all("style")).children[0].text
    assert "url(" not in style
    assert "@import" not in style
    assert "http" not in re.sub(r"data:audio/[^\"]*", "", html)


def test_the_clips_in_the_page_can_be_heard(page: Element, visit: Path) -> None:
    """Each player holds the sound of its clip, in a form that browsers play, with the clip's length."""
    players = list(page.all("audio"))
    assert len(players) > 60
    kind, _, data = players[3].attributes["src"].partition(";base64,")
    assert kind == "data:audio/mpeg"
    samples, rate = soundfile.read(io.BytesIO(base64.b64decode(data)))
    assert rate == 16_000
    assert 0.5 < len(samples) / rate < 10


def test_every_utterance_has_its_player(page: Element) -> None:
    """Each line of the engineer in the conversation can be listened to."""
    lines = [li for li in section(page, "conversation").all("li") if li.attributes.get("class") == "engineer"]
    assert len(lines) > 50
    for line in lines:
        assert len(list(line.all("audio"))) == 1


def test_clips_can_be_linked_or_left_out(visit: Path) -> None:
    """With links the page names the files in the folder; without clips it has no player but still their names."""
    record = read_visit(visit)
    linked = read(render_page(record, ClipSounds(visit, "link")))
    for player in linked.all("audio"):
        assert (visit / player.attributes["src"]).is_file()
    bare = read(render_page(record, ClipSounds(visit, "none")))
    assert not list(bare.all("audio"))
    assert "clip: audio/0001-" in bare.words()


def test_a_missing_clip_leaves_a_page_without_its_player(tmp_path: Path) -> None:
    """A clip that is gone is named, not played."""
    page = page_of(
        tmp_path / "v",
        ev.UtteranceHeard(item=None, words="yes", outcome={"outcome": "nothing"}, clip="audio/0001-x.wav"),
    )
    assert not list(page.all("audio"))
    assert "clip audio/0001-x.wav is missing" in page.words()


# ------------------------------------------------------------------------------------------ tells everything


def test_the_order_is_attention_values_results_then_the_conversation(page: Element) -> None:
    """What needs the engineer comes first, then values, then results; the conversation comes after them."""
    ids = [s.attributes.get("aria-labelledby", "") for s in page.all("section")]
    places = [ids.index(id) for id in ("attention", "values", "results", "corrections", "conversation", "about")]
    assert places == sorted(places)
    assert places[0] == 0


def test_every_value_stands_in_the_page(page: Element, visit: Path) -> None:
    """Each confirmed value is there with its digits, its words and how it was confirmed."""
    rows = {tr.attributes["id"]: tr for tr in page.all("tr") if tr.attributes.get("id")}
    for value in read_visit(visit).values():
        words = rows[f"v{value.number}"].words()
        assert value.words in words
        assert value.how in words
        if value.kind == "reading":
            assert value.value in words


def test_verdicts_name_limit_source_and_how_sure_it_is(page: Element) -> None:
    """A verdict says whose limit, its bounds and its source; weak sources carry a mark that is explained."""
    words = section(page, "values").words()
    assert "within the maker's limit, 8.8 to 9.8 % Fernhill Compact 28 installation book, page 31" in words
    assert "IGEM/UP/1B Edition 4, table 2 second-hand" in words
    marks = [a for a in page.all("a") if a.attributes.get("class") == "mark"]
    ids = {e.attributes["id"] for e in page.all() if "id" in e.attributes}
    assert marks
    assert all(a.attributes["href"].removeprefix("#") in ids for a in marks)


def test_the_unsafe_situation_stands_at_the_top_as_it_was_said(page: Element) -> None:
    """What was said of it, what was done and who said that work may go on; no class of our own."""
    words = section(page, "attention").words()
    for part in ("smell of gas", "i can smell gas", "test point screw was loose", "carry on with the visit"):
        assert part in words
    assert not re.search(r"immediately dangerous|at risk", words, re.IGNORECASE)


def test_outside_open_and_corrected_are_plain(page: Element) -> None:
    """The outside value with its acceptance, the open item with its reason, the old value struck out beside the new."""
    words = section(page, "attention").words()
    assert "18.1 mbar, outside the maker's limit, at least 18.5" in words
    assert "Read again and accepted by the engineer." in words
    assert "Open: Magnetic filter. Left for later: part comes on Friday." in words
    assert [d.words() for d in section(page, "corrections").all("del", "ins")] == ["9.6 %", "9.20 %"]


def test_nothing_is_called_safe(page: Element) -> None:
    """The page never says that anything is safe; it says that it does not."""
    # The register's name, which a source may carry, is no claim.
    words = page.words().replace("Gas Safe", "")
    found = re.findall(r"[^.]*\bsafe(?:ly|ty)?\b[^.]*\.", words, re.IGNORECASE)
    assert found
    assert all("does not state that the installation is safe" in sentence for sentence in found)


def test_the_cautions_stand_in_it(page: Element) -> None:
    """Maker's instructions, competence, smell of gas, carbon monoxide."""
    words = section(page, "about").words()
    for part in (
        "maker’s instructions come first",
        "competent and registered",
        "0800 111 999",
        "carbon monoxide alarm",
    ):
        assert part in words


def test_the_journal_is_pinned(page: Element, visit: Path) -> None:
    """The number of events and the last hash stand in the page, so that a cut journal shows."""
    record = read_visit(visit)
    assert f"journal of {record.events} events" in page.words()
    assert next(page.all("code")).words() == record.last_hash


def test_an_uncleared_situation_and_a_visit_cut_short_say_so(tmp_path: Path) -> None:
    """Nothing reads as dealt with or complete that is not."""
    page = page_of(tmp_path / "v", ev.UnsafeDeclared(item=None, trigger="unsafe", words="this is unsafe"))
    words = page.words()
    assert "Nothing in this record says that it was dealt with." in words
    assert "The visit has not been ended." in words


def test_a_certificate_that_had_run_out_needs_attention(tmp_path: Path) -> None:
    """An instrument whose certificate ended before the visit is named at the top."""
    old = {"analyser": {"make": "Orrell", "model": "A5", "certificate_until": "2026-11-24"}}
    page = page_of(tmp_path / "v", ev.Finished(complete=True), job={"instruments": old})
    assert (
        "Certificate run out. Analyser (Orrell A5): valid until 24 November 2026" in section(page, "attention").words()
    )


@pytest.mark.parametrize(
    ("last_read", "how", "ran_out", "days"),
    [
        ("2026-11-25T12:00:00+00:00", "spoken yes", "", 1),
        ("2026-11-26T12:00:00+00:00", "spoken yes", "", 0),
        ("2026-11-27T08:00:00+00:00", "spoken yes", "before the visit's last day", -1),
        ("2026-11-27T08:00:00+00:00", "amended in review", "", 1),
    ],
)
def test_a_certificate_is_held_against_the_last_day_of_reading(
    last_read: str, how: str, ran_out: str, days: int
) -> None:
    """A visit taken up again on a later day used its instruments then; what was amended in review did not."""
    value = Value(2, last_read, "co2_max", "CO2", "9.2", how=how)
    item = ItemRecord("co2_max", "CO2", "combustion", True, "answered", values=(value,))
    record = VisitRecord(
        path=Path("visit"),
        date="2026-11-25",
        began="2026-11-25T09:00:00+00:00",
        job={"instruments": {"analyser": {"make": "Orrell", "certificate_until": "2026-11-26"}}},
        chunks=(ChunkRecord("combustion", "Combustion", (item,)),),
    )
    (tool,) = instruments(record)
    assert (tool.ran_out, tool.days) == (ran_out, days)
    assert any(p.heading == "Certificate run out." for p in points_of(record)) == bool(ran_out)


HOSTILE = "<script>alert(1)</script> \"&' <img src=x onerror=y>"


def test_words_cannot_become_markup(tmp_path: Path) -> None:
    """Whatever stands in job, words, notes and reasons is printed, never run."""
    page = page_of(
        tmp_path / "v",
        ev.UtteranceHeard(item=None, words=HOSTILE, outcome={"outcome": "unsure", "reason": HOSTILE}),
        ev.NoteTaken(item=None, words=HOSTILE),
        ev.Deferred(item="filter", reason=HOSTILE),
        ev.UnsafeDeclared(item=None, trigger=HOSTILE, words=HOSTILE),
        job={"customer": {"name": HOSTILE}, "instruments": {HOSTILE: {"make": HOSTILE}}},
    )
    assert not list(page.all("script", "img"))
    assert page.words().count("alert(1)") >= 6


# --------------------------------------------------------------------------------------- reads well for all


def test_language_title_and_landmarks(page: Element) -> None:
    """The page names its language and title, has one main part and one first heading."""
    assert next(page.all("html")).attributes["lang"] == "en-GB"
    assert "Commissioning of a combination boiler" in next(page.all("title")).words()
    assert len(list(page.all("main"))) == len(list(page.all("h1"))) == len(list(page.all("header"))) == 1


def test_headings_skip_no_level(page: Element) -> None:
    """Headings go down one level at a time."""
    levels = [int(h.tag[1]) for h in page.all("h1", "h2", "h3", "h4")]
    assert levels[0] == 1
    assert all(after <= before + 1 for before, after in pairwise(levels))


def test_tables_have_captions_and_headers(page: Element) -> None:
    """Each table has a caption, a header for each column and for each row."""
    for table in page.all("table"):
        assert len(list(table.all("caption"))) == 1
        head, *rows = table.all("tr")
        assert all(th.attributes.get("scope") == "col" for th in head.all("th"))
        width = len(list(head.all("th")))
        for row in rows:
            cells = [c for c in row.children if c.tag in ("th", "td")]
            assert cells[0].attributes.get("scope") == "row"
            assert len(cells) == width


def test_ids_are_single_and_links_lead_somewhere(page: Element) -> None:
    """No id twice; each link in the page has its place."""
    ids = [e.attributes["id"] for e in page.all() if "id" in e.attributes]
    assert len(ids) == len(set(ids))
    for link in page.all("a"):
        assert link.attributes["href"].removeprefix("#") in ids, link.attributes
    labels = [e.attributes["aria-labelledby"] for e in page.all() if "aria-labelledby" in e.attributes]
    assert set(labels) <= set(ids)


def test_players_have_names_and_drawings_are_hidden_from_readers(page: Element) -> None:
    """A screen reader hears what each player plays, and is spared drawings that repeat the words."""
    assert all(
        p.attributes["aria-label"].startswith("Play: ") and "controls" in p.attributes for p in page.all("audio")
    )
    assert all(s.attributes.get("aria-hidden") == "true" for s in page.all("svg"))


def contrast(one: str, other: str) -> float:
    """WCAG 2.2 contrast ratio of two colours (relative luminance of sRGB, W3C Recommendation, section on contrast)."""

    def luminance(colour: str) -> float:
        parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
        r, g, b = (c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts)
        return 0.2126 * r + 0.7152 * g + 0.0722 * b

    lighter, darker = sorted((luminance(one), luminance(other)), reverse=True)
    return (lighter + 0.05) / (darker + 0.05)


def test_the_contrast_sum_is_the_published_one() -> None:
    """Black on white is 21 to 1, and #767676 on white the well-known 4.54 to 1 (W3C, technique G18)."""
    assert contrast("#000000", "#ffffff") == pytest.approx(21)
    assert contrast("#767676", "#ffffff") == pytest.approx(4.54, abs=0.005)


TEXT_ON = [
    ("ink", "paper"), ("soft", "paper"), ("soft", "amberpaper"), ("soft", "badpaper"), ("link", "paper"),
    ("link", "amberpaper"), ("link", "badpaper"), ("good", "paper"), ("bad", "paper"), ("bad", "amberpaper"),
    ("bad", "badpaper"), ("amber", "amberpaper"), ("deep", "paper"), ("ink", "amberpaper"),
]  # fmt: skip


@pytest.mark.parametrize(("text", "ground"), TEXT_ON)
def test_text_stands_out_from_its_ground(text: str, ground: str) -> None:
    """Every pair of text and ground has at least 4.5 to 1 (WCAG AA)."""
    style = resources.files("handsfree.report").joinpath("templates/report.css").read_text(encoding="utf-8")
    colours = dict(re.findall(r"--(\w+): (#[0-9a-f]{6});", style))
    assert contrast(colours[text], colours[ground]) >= 4.5


# --------------------------------------------------------------------------------------------- the drawing

bounds = st.none() | st.decimals(-100, 5000, places=3)


@given(st.decimals(-200, 6000, places=3), bounds, bounds, st.sampled_from(["within", "outside", "too_close"]))
def test_the_mark_always_lies_on_the_drawing(
    value: Decimal, low: Decimal | None, high: Decimal | None, result: str
) -> None:
    """Whatever value and bounds, the drawing is well formed, its mark on it, a round one only for a value within."""
    if low is not None and high is not None and low > high:
        low, high = high, low
    limit = {"low": None if low is None else str(low), "high": None if high is None else str(high)}
    svg = draw_gauge(Judgement(1, result, str(value), "%", "", limit))
    if not svg:
        return
    drawing = next(read(str(svg)).all("svg"))
    places = [float(c.attributes["cx"]) for c in drawing.all("circle")]
    places += [float(p.attributes["d"][1:].split()[0]) for p in drawing.all("path")]
    assert len(places) == 1
    assert 0 <= places[0] <= WIDTH
    assert bool(list(drawing.all("circle"))) == (result == "within")
    band = next(drawing.all("rect"))
    assert float(band.attributes["width"]) > 0


def test_a_verdict_that_is_no_number_has_no_drawing() -> None:
    """A date held against a day is told in words only."""
    assert draw_gauge(Judgement(1, "within", "2027-03-14", "date", "", {"low": None, "high": None})) == ""


def test_a_record_without_anything_makes_a_page(tmp_path: Path) -> None:
    """Even an empty record is a whole page."""
    read(render_page(VisitRecord(tmp_path, title="x"), ClipSounds(tmp_path)))
