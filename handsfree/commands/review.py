"""A finished visit in; its values to look over, clips to hear again, amendments with a reason, photos, a sign-off out."""

from __future__ import annotations

import io
import json
import os
import shlex
import sys
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

import click

from handsfree.errors import BadInput, HandsfreeError, MissingPart
from handsfree.record.folder import VisitFolder, clip_path
from handsfree.record.reading import read_visit
from handsfree.record.visit import Value, VisitRecord
from handsfree.report.attention import points_of
from handsfree.report.wording import print_label, print_result, print_signs, print_time, print_value

if TYPE_CHECKING:
    from handsfree.record.amending import Amendment, Review
    from handsfree.record.photo import Picture

_HELP = """  list                     the values, with their numbers
  listen NUMBER            hear the clip of a value
  amend NUMBER VALUE       change a value; asks for the reason, and for a yes
  photo FILE ITEM WORDS    put a photo beside an item, with words if there are any
  sign NAME                sign the visit off; asks for a yes
  quit"""


@click.command("review")
@click.argument("folder", metavar="DIR", type=click.Path(path_type=Path))
@click.option("--listen", "listen_to", type=int, metavar="NUMBER", help="Play the clip of the value with this number.")
@click.option("--amend", nargs=2, type=(int, str), metavar="NUMBER VALUE", help="Change a value; --reason says why.")
@click.option("--reason", default="", help="Why the value is changed. It is kept beside the old value.")
@click.option(
    "--photo", type=click.Path(path_type=Path), metavar="FILE", help="Put a photo (JPEG or PNG) beside an item."
)
@click.option("--about", default="", metavar="ITEM", help="The item that the photo is about.")
@click.option("--words", default="", help="What is said about the photo. It is kept as unchecked.")
@click.option("--sign", "name", metavar="NAME", help="Sign the visit off.")
@click.option("--statement", default="", help="Words to keep with the sign-off.")
@click.option("--yes", is_flag=True, help="Do not ask: the change or the signature is meant as written.")
@click.option("--json", "as_json", is_flag=True, help="The values as JSON lines.")
def command(
    folder: Path,
    listen_to: int | None,
    amend: tuple[int, str] | None,
    reason: str,
    photo: Path | None,
    about: str,
    words: str,
    name: str | None,
    statement: str,
    yes: bool,
    as_json: bool,
) -> None:
    """Look over a visit: list its values, listen again, amend with a reason, add photos, sign off.

    On a terminal, without options, it takes commands until quit. An amendment keeps the old value; results that rest on
    it are worked out again.
    """
    if photo is None and (about or words):
        raise BadInput("--about or --words alone says too little", "give --photo FILE as well")
    if photo is not None and not about:
        raise BadInput("--photo alone says too little", "give --about ITEM as well")
    if listen_to is not None:
        _listen(folder, listen_to)
    if amend is not None:
        with VisitFolder.open(folder) as visit:
            _amend(_open_review(visit), *amend, reason, yes)
    if photo is not None:
        _put_photo(folder, photo, about, words)
    if name is not None:
        with VisitFolder.open(folder) as visit:
            _sign(_open_review(visit), folder, name, statement, yes)
    if listen_to is None and amend is None and photo is None and name is None:
        record = read_visit(folder)
        _list(record, as_json)
        if sys.stdin.isatty() and not as_json:
            with VisitFolder.open(folder) as visit:
                _converse(folder, _open_review(visit))


# ---------------------------------------------------------------------------------------------- what it does


def _open_review(visit: VisitFolder) -> Review:
    from handsfree.dialogue.working import Trade
    from handsfree.language import load_language
    from handsfree.record.amending import Review
    from handsfree.settings import load_settings
    from handsfree.trade import judge, trade_limit, work_out

    language = load_language(aliases=load_settings(os.environ).aliases_file)
    review = Review(visit, language, Trade(work_out, trade_limit, judge))
    review.catch_up()
    return review


def _list(record: VisitRecord, as_json: bool) -> None:
    if as_json:
        for value in record.values():
            click.echo(json.dumps(_value_row(value), ensure_ascii=True))
        return
    click.echo(f"{record.title}, {record.date}")
    for chunk in record.chunks:
        rows = [value for item in chunk.items for value in item.values]
        if rows:
            click.echo(f"\n{print_label(chunk.title)}")
        for value in rows:
            click.echo(
                f"{value.number:>6}  {print_label(value.label):<42} {print_value(value):<16} {_verdict(value)}".rstrip()
            )
    if results := list(record.standing_results()):
        click.echo("\nWorked out")
        for result in results:
            words = print_signs(result.judgement.words) if result.judgement else ""
            click.echo(f"        {print_label(result.label):<42} {print_result(result):<16} {words}".rstrip())
    if record.photos:
        click.echo("\nPhotos")
    for photo in record.photos:
        click.echo(f"{photo.number:>6}  {print_label(photo.label):<42} {photo.file} {photo.words}".rstrip())
    points = points_of(record)
    if record.unsafe or points:
        click.echo("\nNeeds attention")
    for unsafe in record.unsafe:
        click.echo(f"  Unsafe situation recorded: {print_signs(unsafe.label)}, {print_time(unsafe.time)}")
    for point in points:
        click.echo(f"  {point.heading} {point.words}".rstrip())
    for signature in record.signatures:
        click.echo(f"\nSigned off by {signature.name}, {signature.time}")


def _value_row(value: Value) -> dict[str, object]:
    return {
        "number": value.number,
        "item": value.item,
        "quantity": value.quantity,
        "qualifier": value.qualifier,
        "value": value.value,
        "unit": value.unit,
        "words": value.words,
        "clip": value.clip,
        "how": value.how,
        "verdict": value.judgement.result if value.judgement else None,
    }


def _verdict(value: Value) -> str:
    if value.judgement is None:
        return ""
    return print_signs(value.judgement.words) + (", accepted" if value.accepted else "")


def _listen(folder: Path, number: int) -> None:
    record = read_visit(folder)
    clips = {t.number: t.clip for t in record.conversation if t.clip} | {
        v.number: v.clip for v in record.values() if v.clip
    }
    path = clip_path(folder, clips.get(number) or "")
    if path is None or not path.is_file():
        raise BadInput(f"event {number} has no clip", "handsfree review DIR lists the values and their numbers")
    from handsfree.audio.wav import read_sound
    from handsfree.model import SAMPLE_RATE
    from handsfree.settings import load_settings
    from handsfree.voice.playback import Loudspeaker

    played = Loudspeaker(load_settings(os.environ).loudspeaker).play(read_sound(path).samples, SAMPLE_RATE)
    if not played.ok:
        raise MissingPart(f"the clip cannot be played: {played.reason}", f"play {path} with another program")


def _amend(review: Review, number: int, value: str, reason: str, yes: bool) -> None:
    if not reason and sys.stdin.isatty():
        reason = click.prompt("Reason")
    change = review.prepare(number, value, reason)
    click.echo(_in_words(change))
    if not yes and not click.confirm("Is that right?", default=False):
        click.echo("Nothing was changed.")
        return
    for entry in review.amend(change):
        click.echo(f"{entry.number:>6}  {_event_words(review, entry.number)}")


def _put_photo(folder: Path, photo: Path, item: str, words: str) -> None:
    from handsfree.record.photo import read_picture

    picture = read_picture(photo)
    with VisitFolder.open(folder) as visit:
        _keep_photo(_open_review(visit), picture, item, words)


def _keep_photo(review: Review, picture: Picture, item: str, words: str) -> None:
    entry = review.keep_photo(picture, item, words)
    click.echo(f"{entry.number:>6}  {_event_words(review, entry.number)}")


def _in_words(change: Amendment) -> str:
    old = f"{change.old.text} {change.old.unit}".strip()
    new = f"{change.new} {change.unit}".strip()
    return print_signs(f"{change.item.say}: {old} becomes {new}. Reason: {change.reason}")


def _event_words(review: Review, number: int) -> str:
    record = read_visit(review.folder.path)
    return next((print_signs(t.text) for t in record.conversation if t.number == number), "kept")


def _sign(review: Review, folder: Path, name: str, statement: str, yes: bool) -> None:
    record = read_visit(folder)
    for point in points_of(record):
        click.echo(f"  {point.heading} {point.words}".rstrip())
    if record.unsafe:
        click.echo(f"  {len(record.unsafe)} unsafe situation(s) recorded")
    click.echo("The signature is the engineer's own judgement; the program does not state that anything is safe.")
    if not yes and not click.confirm(f"Sign off as {name}?", default=False):
        click.echo("Not signed.")
        return
    entry = review.sign(name, statement)
    click.echo(f"Signed off by {name} (event {entry.number}).")


# ------------------------------------------------------------------------------------------- as a conversation


def _converse(folder: Path, review: Review) -> None:
    """Commands line by line until quit. An error is said and the next line is taken."""
    click.echo("\n" + _HELP)
    while True:
        try:
            words = _split(click.prompt("review", prompt_suffix="> ", default="", show_default=False))
        except (click.Abort, EOFError):
            return
        except ValueError as error:
            click.echo(f"{error}: a name with blanks stands between two quotes")
            continue
        if words[:1] in (["quit"], ["q"], ["exit"]):
            return
        try:
            _obey(folder, review, words)
        except HandsfreeError as error:
            click.echo(str(error))


def _obey(folder: Path, review: Review, words: list[str]) -> None:
    actions: dict[tuple[str, int], Callable[[], None]] = {
        ("list", 1): lambda: _list(read_visit(folder), False),
        ("listen", 2): lambda: _listen(folder, _number(words[1])),
        ("amend", 3): lambda: _amend(review, _number(words[1]), words[2], "", False),
    }
    action = actions.get((words[0], len(words))) if words else None
    if words[:1] == ["sign"] and len(words) > 1:
        _sign(review, folder, words[1], "", False)
    elif words[:1] == ["photo"] and len(words) > 2:
        from handsfree.record.photo import read_picture

        _keep_photo(review, read_picture(Path(words[1]).expanduser()), words[2], words[3])
    elif action is not None:
        action()
    else:
        click.echo(_HELP)


def _split(line: str) -> list[str]:
    """The words of a command, as a shell takes them; a name and what is said about a photo are one, as typed: there an
    apostrophe is no quote.

    Raises:
        ValueError: a quote is not closed.
    """
    stream = io.StringIO(line)
    shell = shlex.shlex(stream, posix=True)
    shell.whitespace_split, shell.commenters = True, ""
    first = shell.get_token()
    before_text = {"photo": 2, "sign": 0}.get(first or "")
    if first is None or before_text is None:
        return [first, *shell] if first is not None else []
    words = [first, *(word for _ in range(before_text) if (word := shell.get_token()) is not None)]
    if len(words) <= before_text:
        return words
    text = stream.read().strip()
    if len(text) > 1 and text[0] == text[-1] and text[0] in "\"'":
        text = text[1:-1]
    return [*words, text] if text or first == "photo" else words


def _number(word: str) -> int:
    try:
        return int(word)
    except ValueError:
        raise BadInput(f"{word!r} is not the number of a value", "list shows the numbers") from None
