"""What several listeners support together."""

from __future__ import annotations

from decimal import Decimal
from pathlib import Path

import pytest

from handsfree.errors import BadInput
from handsfree.listeners.agreement import NEURAL, agree, load_gates
from handsfree.listeners.base import FREE_AGREES, Candidate, Opinion, outcome_key
from handsfree.model import Command, Nothing, Outcome, Reading, Readings, Text, Unsure

GATES = load_gates()
YES = Command("yes")
NINE_TWO = Readings((Reading(Decimal("9.2"), "co2", "%"),))
NINE_FIVE = Readings((Reading(Decimal("9.5"), "co2", "%"),))


def opinion(
    listener: str, *outcomes: Outcome, margin: float = 8.0, ratio: float = -1.0, refused: bool = False
) -> Opinion:
    """An opinion whose values are `margin` nats apart and whose free text is `ratio` nats better than the best."""
    values = tuple(Candidate(f"words of number {i}", o, -1.0 - i * margin) for i, o in enumerate(outcomes))
    return Opinion(listener, values, "free words", -1.0 + ratio, refused)


def pair(first: Opinion, second: Opinion, *others: Opinion) -> Outcome:
    return agree([first, second, *others], GATES).outcome


def test_agreement_with_clear_margins_is_accepted() -> None:
    """Both listeners, one value, far before the next: accepted."""
    assert pair(opinion("moonshine", NINE_TWO, NINE_FIVE), opinion("whisper", NINE_TWO, NINE_FIVE)) == NINE_TWO


def test_disagreement_is_asked_with_both_values() -> None:
    """Two values: unsure, with both alternatives, whatever the margins."""
    outcome = pair(opinion("moonshine", NINE_TWO), opinion("whisper", NINE_FIVE))
    assert isinstance(outcome, Unsure)
    assert set(map(outcome_key, outcome.alternatives)) == {outcome_key(NINE_TWO), outcome_key(NINE_FIVE)}
    assert outcome.reason


@pytest.mark.parametrize("weak", ["moonshine", "whisper"])
def test_a_small_margin_of_one_listener_is_enough_to_ask(weak: str) -> None:
    """The runner-up of the unsure listener stands among the alternatives."""
    opinions = [
        opinion(name, NINE_TWO, NINE_FIVE, margin=0.2 if name == weak else 9.0) for name in ("moonshine", "whisper")
    ]
    outcome = pair(*opinions)
    assert isinstance(outcome, Unsure)
    assert NINE_FIVE in outcome.alternatives


@pytest.mark.parametrize("name", ["moonshine", "whisper"])
def test_a_single_listener_accepts_nothing(name: str) -> None:
    """One listener missing: unsure, unless single listening was asked for."""
    alone = opinion(name, NINE_TWO, NINE_FIVE)
    assert isinstance(agree([alone], GATES).outcome, Unsure)
    assert agree([alone], GATES, alone=True).outcome == NINE_TWO


def test_talk_is_nothing() -> None:
    """Words that both models like far better than any of the grammar are not for us."""
    heard = [opinion(n, NINE_TWO, ratio=30.0) for n in ("moonshine", "whisper")]
    assert isinstance(pair(*heard), Nothing)


def test_noise_and_silence_are_nothing() -> None:
    """Nothing in the grammar fits, or the listeners refuse: nothing, not a question."""
    assert isinstance(pair(opinion("moonshine"), opinion("whisper")), Nothing)
    assert isinstance(pair(opinion("moonshine", refused=True), opinion("whisper", refused=True)), Nothing)


@pytest.mark.parametrize(("third", "accepted"), [(YES, True), (Command("no"), False), (None, False)])
def test_a_third_listener_settles_small_margins_and_short_words(third: Outcome | None, accepted: bool) -> None:
    """Where it hears the same, little is asked of the two; where it does not, a word that could be another is asked."""
    heard = [Opinion(n, (Candidate("yes", YES, -1.0), Candidate("yet", NINE_TWO, -1.6))) for n in sorted(NEURAL)]
    other = opinion("vosk", third) if third is not None else opinion("vosk", refused=True)
    outcome = agree([*heard, other], GATES).outcome
    assert (outcome == YES) is accepted
    assert accepted or isinstance(outcome, Unsure)


@pytest.mark.parametrize(("first", "second", "accepted"), [(0, 0, False), (1, 0, True), (0, 1, True), (1, 1, True)])
def test_a_short_value_needs_one_listener_that_writes_it_unasked(first: int, second: int, accepted: bool) -> None:
    """ "Tenth" fits the grammar best as ten, and both say so; neither would have written ten on its own."""
    ten = Readings((Reading(Decimal("10")),))
    heard = [
        Opinion(name, (Candidate("ten", ten, -1.0),), "10", -1.0, scores={FREE_AGREES: float(agrees)})
        for name, agrees in (("moonshine", first), ("whisper", second))
    ]
    assert (agree(heard, GATES).outcome == ten) is accepted


@pytest.mark.parametrize(
    ("words", "third", "accepted"), [("two one", True, True), ("two one", False, False), ("two", True, False)]
)
def test_two_words_that_a_third_listener_heard_need_not_be_written(words: str, third: bool, accepted: bool) -> None:
    """Neither of the two would have written them; the third hears them too. A single word stays a question."""
    heard = [
        Opinion(name, (Candidate(words, NINE_TWO, -1.0),), "To Wanda", -1.0, scores={FREE_AGREES: 0.0})
        for name in sorted(NEURAL)
    ]
    third_opinion = opinion("vosk", NINE_TWO) if third else opinion("vosk", refused=True)
    assert (agree([*heard, third_opinion], GATES).outcome == NINE_TWO) is accepted


@pytest.mark.parametrize(
    ("margin", "behind", "ratio", "accepted"),
    [
        (7.5, 1.0, -1.0, True),
        (6.5, 1.0, -1.0, False),
        (7.5, 1.0, 1.5, False),
        (12.0, None, -1.0, True),
        (9.0, None, -1.0, False),
    ],
)
def test_a_third_listener_outvotes_one_that_is_not_sure(
    margin: float, behind: float | None, ratio: float, accepted: bool
) -> None:
    """The two differ, the third heard the same as the first: taken where it leads over both together, and fits its sound."""
    first = opinion("moonshine", NINE_TWO, NINE_FIVE, margin=margin, ratio=ratio)
    others = (NINE_FIVE, YES) if behind is None else (NINE_FIVE, NINE_TWO)
    second = opinion("whisper", *others, margin=behind or 1.0)
    outcome = pair(first, second, opinion("vosk", NINE_TWO))
    assert (outcome == NINE_TWO) is accepted
    assert accepted or isinstance(outcome, Unsure)
    assert isinstance(pair(first, second, opinion("vosk", YES)), Unsure), "it heard a third thing"
    assert isinstance(pair(first, second), Unsure), "there is no third"


@pytest.mark.parametrize("third", ["vosk", "phones"])
def test_a_value_without_a_runner_up_outvotes_nobody(third: str) -> None:
    """Nothing tells how far it leads, and the other listener may be as sure of another value."""
    sure = opinion("whisper", NINE_FIVE, NINE_TWO, margin=20.0)
    assert isinstance(pair(opinion("moonshine", NINE_TWO), sure, opinion(third, NINE_TWO)), Unsure)
    assert pair(opinion("moonshine", NINE_TWO, NINE_FIVE, margin=20.0), sure, opinion(third, NINE_TWO)) == NINE_TWO


def test_sounds_speak_for_a_value_unless_other_words_fit_far_better() -> None:
    """Two that agree are asked for less where the phones put their value first, and for more where what was heard
    without a grammar fits far better; for the value of one of two they count like any third listener, against each
    other nothing is settled."""
    weak = [opinion(n, NINE_TWO, NINE_FIVE, margin=1.8) for n in sorted(NEURAL)]
    assert agree([*weak, opinion("phones", NINE_TWO, ratio=2.0)], GATES).outcome == NINE_TWO
    assert isinstance(agree([*weak, opinion("phones", NINE_TWO, ratio=20.0)], GATES).outcome, Unsure)
    assert isinstance(agree([*weak, opinion("phones", NINE_FIVE, NINE_TWO)], GATES).outcome, Unsure)
    apart = [opinion("moonshine", NINE_TWO, NINE_FIVE, margin=9.0), opinion("whisper", NINE_FIVE, NINE_TWO, margin=1.0)]
    assert agree([*apart, opinion("phones", NINE_TWO)], GATES).outcome == NINE_TWO
    assert agree([*apart, opinion("phones", NINE_TWO), opinion("vosk", YES)], GATES).outcome == NINE_TWO
    assert isinstance(agree([*apart, opinion("phones", NINE_TWO), opinion("vosk", NINE_FIVE)], GATES).outcome, Unsure)


def test_two_others_that_hear_the_same_other_value_are_asked_about() -> None:
    """Where vosk and the sounds both have the same other value, clearer margins of the two that agree are needed; where
    each of them has another, less."""
    clear = [opinion(n, NINE_TWO, NINE_FIVE, margin=2.8) for n in sorted(NEURAL)]
    opposed = [opinion("vosk", NINE_FIVE), opinion("phones", NINE_FIVE, NINE_TWO)]
    assert isinstance(agree([*clear, *opposed], GATES).outcome, Unsure)
    assert agree([*clear, opinion("vosk", YES), opinion("phones", NINE_FIVE)], GATES).outcome == NINE_TWO
    very_clear = [opinion(n, NINE_TWO, NINE_FIVE, margin=9.0) for n in sorted(NEURAL)]
    assert agree([*very_clear, *opposed], GATES).outcome == NINE_TWO


@pytest.mark.parametrize("listener", ["moonshine", "whisper", "vosk"])
def test_what_is_not_clear_and_may_be_an_emergency_is_asked_as_one(listener: str) -> None:
    """Two that differ: where one of all heard smell of gas, or wrote "gas" without the grammar, that is the first
    alternative; a value on which all agree is not held up by it."""
    differing = {"moonshine": NINE_TWO, "whisper": NINE_FIVE, "vosk": YES}
    alarm = Command("smell_of_gas")
    for told in (
        Opinion(listener, (Candidate("x", differing[listener], -1.0),), "the gas lead", -1.0),
        Opinion(listener, (Candidate("smell of gas", alarm, -1.0),), "smell of gas", 9.0),
    ):
        others = [opinion(name, value) for name, value in differing.items() if name != listener]
        outcome = agree([told, *others], GATES).outcome
        assert isinstance(outcome, Unsure)
        assert outcome.alternatives[0] == alarm
    clear = [Opinion(n, (Candidate("gas meter", NINE_TWO, -1.0),), "gas meter", -1.0) for n in sorted(NEURAL)]
    assert agree(clear, GATES).outcome == NINE_TWO


def test_sense_breaks_a_tie_of_sounds_and_overrules_no_clear_one() -> None:
    """Values are compared by sound and plausibility together: the likelier one leads where sounds are level, the one
    heard clearly stays first, and the free ratio is of sound alone."""
    likely, strange = Candidate("nineteen", NINE_TWO, -1.5), Candidate("ninety", NINE_FIVE, -1.0, plausibility=-3.0)
    assert Opinion("whisper", (likely, strange)).margin == pytest.approx(2.5)
    clear = Opinion(
        "whisper", (Candidate("ninety", NINE_FIVE, -1.0, plausibility=-3.0), Candidate("x", NINE_TWO, -9.0))
    )
    assert clear.margin == pytest.approx(5.0)
    assert Opinion("whisper", clear.values, "free", -0.5).free_ratio == pytest.approx(0.5)
    assert clear.weight_of(outcome_key(NINE_FIVE)) == pytest.approx(-4.0)


def test_a_third_listener_alone_decides_nothing() -> None:
    """It never overrules two that agree by more than their margins, and never speaks for them."""
    clear = [opinion(n, NINE_TWO, NINE_FIVE, margin=12.0) for n in sorted(NEURAL)]
    assert agree([*clear, opinion("vosk", NINE_FIVE)], GATES).outcome == NINE_TWO
    assert isinstance(agree([opinion("vosk", NINE_FIVE)], GATES).outcome, Unsure)


def test_numerically_equal_values_agree() -> None:
    """2.5 and 2.50 bar are the same value, digit strings with another zero are not."""

    def bar(v: str) -> Readings:
        return Readings((Reading(Decimal(v), "system_pressure", "bar"),))

    assert isinstance(pair(opinion("moonshine", bar("2.5")), opinion("whisper", bar("2.50"))), Readings)
    assert isinstance(pair(opinion("moonshine", Text("05", "digits")), opinion("whisper", Text("5", "digits"))), Unsure)


@pytest.mark.parametrize("urgent", ["smell_of_gas", "unsafe"])
@pytest.mark.parametrize("name", ["moonshine", "whisper"])
def test_one_listener_is_enough_for_danger(urgent: str, name: str) -> None:
    """A miss is worse than a false alarm: the other listener, and small margins, do not silence it."""
    other = "whisper" if name == "moonshine" else "moonshine"
    heard = [opinion(name, Command(urgent), Command("yes"), margin=0.1), opinion(other, NINE_TWO)]
    assert pair(*heard) == Command(urgent)


def test_danger_is_not_heard_in_talk() -> None:
    """When even that listener likes its own words far better, it was talk."""
    heard = [opinion("moonshine", Command("unsafe"), ratio=30.0), opinion("whisper", Command("unsafe"), ratio=30.0)]
    assert isinstance(pair(*heard), Nothing)


def test_what_the_language_finds_ambiguous_stays_ambiguous() -> None:
    """Agreement on words that can be read two ways is passed on as unsure."""
    two_ways = Unsure((NINE_TWO, NINE_FIVE), "it can be read two ways")
    assert pair(opinion("moonshine", two_ways), opinion("whisper", two_ways)) == two_ways


@pytest.mark.parametrize("change", ["margin_each = 1.0\n", "[value]\nmargin_each = 'much'\n", "[value\n"])
def test_a_broken_file_of_thresholds_is_named(tmp_path: Path, change: str) -> None:
    """Missing tables, words for numbers and bad TOML are errors that name the file."""
    path = tmp_path / "gates.toml"
    path.write_text(change, encoding="utf-8")
    with pytest.raises(BadInput, match=r"gates\.toml"):
        load_gates(path)
