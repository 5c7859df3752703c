"""What the hearing benchmark, its conditions, its sets and the calibration promise; no speech model runs here."""

from __future__ import annotations

import itertools
import json
from decimal import Decimal
from pathlib import Path

import numpy as np
import pytest
import soundfile
from hypothesis import given
from hypothesis import strategies as st

from benchmarks import audio_safety, calibrate, conditions, hearing_counts, hearing_report, hearing_trials, spoken_sets
from handsfree.errors import BadInput
from handsfree.language import load_language
from handsfree.listeners.agreement import load_gates
from handsfree.listeners.base import FREE_AGREES, Candidate, Opinion
from handsfree.model import Command, Nothing, Outcome, Reading, Readings, Text, Unsure

GATES = load_gates()
LANGUAGE = load_language()
YES = Command("yes")
GAS = Command("smell_of_gas")


def co2(value: str) -> Readings:
    return Readings((Reading(Decimal(value), "co2", "%", "maximum"),))


def trial(
    truth: Outcome, *heard: Outcome, path: str = "a.flac", margin: float = 9.0, words: str = "nine percent"
) -> hearing_trials.Trial:
    """A clip that moonshine, whisper and a third listener made these outcomes of, with this margin."""
    names = ("moonshine", "whisper", "vosk")
    opinions = tuple(
        Opinion(
            n,
            (Candidate(words, o, -1.0), Candidate("no", Command("no"), -1.0 - margin)),
            words,
            -2.0,
            scores={FREE_AGREES: 1.0},
        )
        for n, o in zip(names, heard, strict=False)
    )
    return hearing_trials.Trial(path, "reading", "s1", "clean", words, "service/co2_max", truth, opinions, 1.0, 0.1)


# --------------------------------------------------------------------------------------- conditions


def tone() -> conditions.Samples:
    t = np.arange(16000) / 16000
    return (0.3 * np.sin(2 * np.pi * 440 * t) * (t > 0.2)).astype(np.float32)


@pytest.mark.parametrize("kind", ["pink", "fan", "rec"])
@pytest.mark.parametrize("decibels", [20, 10, 5])
def test_noise_has_the_stated_level(kind: str, decibels: int, tmp_path: Path) -> None:
    """What is added has so many decibels less power than the frames with speech."""
    soundfile.write(tmp_path / "engine.wav", np.random.default_rng(1).normal(0, 0.1, 40000), 16000)
    noisy = conditions.degraded(tone(), f"{kind}:{decibels}", np.random.default_rng(3), tmp_path)
    added = noisy.astype(float) / 1.0 - tone()
    ratio = 10 * np.log10(conditions.speech_power(tone()) / (added**2).mean())
    assert ratio == pytest.approx(decibels, abs=0.2)


@pytest.mark.parametrize(
    ("condition", "length", "peak"),
    [("clean", 16000, 0.3), ("level:-40", 16000, 0.003), ("clip:12", 16000, 1.0), ("offset:0.3", 16000, 0.6),
     ("band:4000", 16000, 0.3), ("rate:44100", 16000, 0.3), ("rate:48000", 16000, 0.3), ("pause:3", 16000 * 7, 0.3)],
)  # fmt: skip
def test_conditions_change_what_they_say(condition: str, length: int, peak: float) -> None:
    """Length and level of the tone in each condition."""
    changed = conditions.degraded(tone(), condition, np.random.default_rng(0))
    assert changed.dtype == np.float32
    assert len(changed) == pytest.approx(length, abs=1)
    assert float(np.abs(changed).max()) == pytest.approx(peak, rel=0.06)


def test_a_telephone_lets_no_high_tones_through() -> None:
    """A tone of 6 kHz is gone in the band up to 4 kHz, one of 1 kHz stays."""
    t = np.arange(16000) / 16000
    high, low = (np.sin(2 * np.pi * f * t).astype(np.float32) for f in (6000, 1000))
    assert float((conditions.degraded(high, "band:4000", np.random.default_rng(0)) ** 2).mean()) < 1e-4
    assert float((conditions.degraded(low, "band:4000", np.random.default_rng(0)) ** 2).mean()) == pytest.approx(
        0.5, abs=0.01
    )


def test_broken_samples_are_broken() -> None:
    """Some of them are no numbers."""
    assert 0 < np.isnan(conditions.degraded(tone(), "broken:20", np.random.default_rng(0))).sum() <= 20


@pytest.mark.parametrize("condition", ["loud", "pink", "pink:", "hiss:3"])
def test_an_unknown_condition_is_named(condition: str) -> None:
    """With the ones there are."""
    with pytest.raises(BadInput, match=condition.split(":")[0]) as error:
        conditions.degraded(tone(), condition, np.random.default_rng(0))
    assert "pink" in str(error.value.hint)


def test_recorded_noise_needs_recordings(tmp_path: Path) -> None:
    """No folder, or an empty one, is an error that says so."""
    for folder in (None, tmp_path):
        with pytest.raises(BadInput, match="recorded noise"):
            conditions.degraded(tone(), "rec:10", np.random.default_rng(0), folder)


# ---------------------------------------------------------------------------------------- manifests


def test_a_manifest_gives_clips_with_what_their_words_answer(tmp_path: Path) -> None:
    """ "auto" takes digits for digits, a step for commands, any fixed kind for talk; a column decides where there is one."""
    path = tmp_path / "m.tsv"
    path.write_text(
        "path\ttranscript\texpect\na/1.flac\tfour two one\t\na/2.flac\tyes\t\ntalk/3.flac\tthe van is here\t\n"
        "a/4.flac\tnine point two\tservice/co2_max\na/5.flac\tforty two\t\n",
        encoding="utf-8",
    )
    clips = hearing_trials.read_manifest(path, "auto", LANGUAGE)
    assert [c.expect for c in clips[:2]] == ["digits", "yes_no"]
    assert clips[2].expect in hearing_trials.UNGUESSED
    assert [c.expect for c in clips[3:]] == ["service/co2_max", "number"]
    assert clips[2].part == "talk"
    truths = [hearing_trials.truth_of(c, LANGUAGE) for c in clips]
    assert truths[:2] == [Text("421", "digits"), YES]
    assert isinstance(truths[2], Nothing)
    assert truths[3] == co2("9.2")


def test_words_of_talk_are_talk_whatever_they_mean() -> None:
    """A word near one of ours is never to be accepted, even where the language would take it."""
    clip = hearing_trials.Clip(Path("x"), "x", "yes", "yes_no", "near", "s")
    assert isinstance(hearing_trials.truth_of(clip, LANGUAGE), Nothing)


def test_trials_are_kept_whole(tmp_path: Path) -> None:
    """What is written and read again is the same."""
    before = [trial(co2("9.2"), co2("9.2"), co2("9.5"), YES), trial(Nothing(), Unsure((YES,), "why"), path="b.flac")]
    path = tmp_path / "o.jsonl"
    path.write_text("\n".join(json.dumps(hearing_trials.trial_to_json(t)) for t in before), encoding="utf-8")
    kept = hearing_trials.load_trials([path])
    assert [t.opinions for t in kept] == [t.opinions for t in before]
    assert [(t.path, t.condition, t.expect) for t in kept] == [(t.path, t.condition, t.expect) for t in before]
    assert kept[0].truth == before[0].truth


# ------------------------------------------------------------------------------------------- counts


@pytest.mark.parametrize(
    ("outcome", "truth", "wanted"),
    [
        (co2("9.2"), co2("9.20"), "right"),
        (co2("9.5"), co2("9.2"), "wrong_value"),
        (YES, co2("9.2"), "wrong_command"),
        (GAS, Nothing(), "wrong_urgent"),
        (Unsure((co2("9.2"), YES), ""), co2("9.2"), "asked"),
        (Unsure((YES,), ""), co2("9.2"), "refused"),
        (Nothing(), co2("9.2"), "refused"),
        (Unsure((YES,), ""), Nothing(), "right"),
        (Nothing(), Nothing(), "right"),
        (co2("9.2"), Unsure((co2("9.2"), co2("92")), "two ways"), "right"),
        (co2("9.5"), Unsure((co2("9.2"), co2("92")), "two ways"), "wrong_value"),
        (YES, Unsure((YES,), "it sounds like a command"), "wrong_command"),
    ],
)
def test_verdicts(outcome: Outcome, truth: Outcome, wanted: str) -> None:
    """Accepted and other than meant is wrong; asked with the truth among what is offered is not merely refused."""
    assert hearing_counts.heard_as(outcome, truth) == wanted


@given(total=st.integers(1, 5000), data=st.data())
def test_wilson_holds_the_share(total: int, data: st.DataObject) -> None:
    """The interval lies within 0 and 1 and holds what was counted."""
    count = data.draw(st.integers(0, total))
    low, high = hearing_counts.wilson(count, total)
    assert 0 <= low <= count / total + 1e-12
    assert count / total - 1e-12 <= high <= 1


def test_wilson_as_published() -> None:
    """0 of 10 and 5 of 10 (R. G. Newcombe, Statistics in Medicine 17, 1998, method 3: 0 to 0.2775; 0.2366 to 0.7634)."""
    assert hearing_counts.wilson(0, 10) == pytest.approx((0, 0.2775), abs=1e-4)
    assert hearing_counts.wilson(5, 10) == pytest.approx((0.2366, 0.7634), abs=1e-4)


@pytest.mark.parametrize(
    ("said", "heard", "wanted"),
    [
        ("fifteen", "fifty", "teen / ten"),
        ("forty", "fourteen", "teen / ten"),
        ("fourteen", "fifty", "other number"),
        ("flow", "flue", "flow / flue"),
        ("c o two", "c o", "CO / CO2 / O2"),
        ("point", "five", "point"),
        ("oh two", "zero", "oh / o two"),
        ("double", "", "digit dropped or added"),
        ("five", "nine", "digit for digit"),
        ("hundred", "", "hundred, thousand"),
        ("twelve", "twenty", "other number"),
        ("done", "down", "other words"),
    ],
)
def test_confusions_have_classes(said: str, heard: str, wanted: str) -> None:
    """Each listed confusion is counted where it belongs."""
    assert hearing_counts.confusion_class(said.split(), heard.split()) == wanted


def test_joint_errors_are_the_same_wrong_value() -> None:
    """Both wrong, and in the same way, is told from both wrong."""
    trials = [
        trial(co2("9.2"), co2("9.5"), co2("9.5"), path="1"),
        trial(co2("9.2"), co2("9.5"), co2("9.6"), path="2"),
        trial(co2("9.2"), co2("9.2"), co2("9.6"), path="3"),
        trial(co2("9.2"), co2("9.2"), co2("9.2"), path="4"),
    ]
    (row,) = hearing_counts.joint_errors(trials)
    assert (row["clips"], row["both_wrong"], row["same_wrong"]) == (4, 2, 1)
    assert row["both_if_independent"] == 1.5


def test_stricter_gates_refuse_no_less() -> None:
    """Along the trade-off refused only grows and wrong only falls."""
    trials = [trial(co2("9.2"), co2("9.2"), co2("9.2"), path=str(m), margin=m / 4) for m in range(30)]
    trials += [trial(co2("9.2"), co2("9.5"), co2("9.5"), path=f"w{m}", margin=m / 4) for m in range(8)]
    curve = hearing_counts.trade_off(trials, GATES)
    assert curve[0]["refused"] == 0
    assert all(a["refused"] <= b["refused"] and a["wrong"] >= b["wrong"] for a, b in itertools.pairwise(curve))


def test_the_report_prints_and_draws() -> None:
    """Every table has its rows, and the curve is an SVG with a mark for each setting."""
    trials = [
        trial(co2("9.2"), co2("9.2"), co2("9.2")),
        trial(YES, YES, YES, path="b"),
        trial(Nothing(), YES, co2("9"), path="c"),
    ]
    result = hearing_report.report(trials, GATES)
    json.dumps(result)
    text = hearing_report.printed(result)
    assert all(word in text for word in ("together", "moonshine", "Trade-off", "Confusions", "wait_s"))
    picture = hearing_report.drawn(result["trade_off"], "a < b")
    assert picture.count("<circle") == len(result["trade_off"])
    assert "a &lt; b" in picture


# --------------------------------------------------------------------------------------------- sets


@pytest.mark.parametrize("name", ["tune", "eval"])
def test_a_set_is_made_of_sentences_that_mean_what_they_should(name: str) -> None:
    """Of a hundred utterances every part has its share; values mean values, danger means danger; the same number is the same utterance."""
    script = spoken_sets.Script(name, LANGUAGE)
    lines = [script.line(n) for n in range(100)]
    assert {p: sum(x.part == p for x in lines) for p in spoken_sets.SHARES} == spoken_sets.SHARES
    assert script.line(57) == lines[57] == spoken_sets.Script(name, LANGUAGE).line(57)
    for line in lines:
        outcome = LANGUAGE.understand(line.words, hearing_trials.expectation_named(line.expect, LANGUAGE))
        if line.part in ("reading", "number"):
            assert isinstance(outcome, Readings), line
        elif line.part == "digits":
            assert isinstance(outcome, Text | Readings), line
        elif line.part == "urgent":
            assert hearing_counts.kind_of(outcome) == "urgent", line


def test_the_sets_share_no_voice_and_no_talk() -> None:
    """Voices kept for evaluation are in no other set, and no sentence of talk is in both."""
    assert not set(spoken_sets.VOICES["tune"]) & set(spoken_sets.VOICES["eval"])
    kept = spoken_sets._fixture_maker().KEPT_FOR_EVALUATION
    assert kept <= set(spoken_sets.VOICES["eval"])
    tune, evaluation = (spoken_sets.Script(n, LANGUAGE) for n in ("tune", "eval"))
    assert not {*tune._talk, *tune._near} & {*evaluation._talk, *evaluation._near}


@pytest.mark.parametrize(
    ("words", "has_articles", "wanted"),
    [("c o two", True, "C O two"), ("a hundred", True, "a hundred"), ("n a", True, "N A"), ("a five", False, "A five")],
)
def test_letters_are_spelled_for_a_voice(words: str, has_articles: bool, wanted: str) -> None:
    """Capitals are spelled; an article stays one."""
    assert spoken_sets.spelled(words, has_articles=has_articles) == wanted


# -------------------------------------------------------------------------------------- calibration


def a_mixture() -> list[hearing_trials.Trial]:
    """Right pairs with wide margins, wrong ones with narrow ones, of many speakers."""
    trials = []
    for number in range(400):
        wrong = number % 8 == 0
        one = trial(
            co2("9.2"),
            *([co2("9.5" if wrong else "9.2")] * 2),
            margin=0.1 * (number % 20) if wrong else 6.0,
            path=str(number),
        )
        trials.append(hearing_trials.replace(one, speaker=f"s{number % 20}"))
    return trials


def test_calibration_keeps_out_what_is_wrong_by_its_margin() -> None:
    """50 wrong pairs at margins below 2 and 350 right ones at 6: a gate between them refuses the wrong ones alone."""
    trials = a_mixture()
    chosen = calibrate.tuned(calibrate.agreeing(trials, GATES), len(trials), 0.001, GATES)
    assert "refused 50 " in calibrate.counted(trials, chosen)
    assert "wrong 0 " in calibrate.counted(trials, chosen)


def test_halves_share_no_speaker() -> None:
    """Every trial is in one half, every speaker in one only."""
    first, second = calibrate.halves(a_mixture())
    assert len(first) + len(second) == 400
    assert not {t.speaker for t in first} & {t.speaker for t in second}


def test_a_proposal_is_a_file_of_gates(tmp_path: Path) -> None:
    """What is proposed loads as it was chosen."""
    path = tmp_path / "gates.toml"
    path.write_text(calibrate.proposal(GATES), encoding="utf-8")
    assert load_gates(path) == GATES


# ------------------------------------------------------------------------------------- audio safety


@pytest.mark.parametrize(("miss", "wrong"), [(0.0, 0), (1.0, 5)])
def test_a_wrong_value_is_saved_only_when_its_read_back_is_missed(miss: float, wrong: int) -> None:
    """Five of twenty readings are heard wrong: all are caught by one who listens, all are saved by one who never does."""
    trials = [trial(co2("9.2"), *([co2("9.5" if n < 5 else "9.2")] * 3), path=str(n)) for n in range(20)]
    (row,) = audio_safety.measured(trials, GATES, [miss], 3, 1)
    assert row["readings"] == 20
    assert row["saved right"] == 15
    assert row["saved wrong"] == wrong
    assert row["wrong read back"] == (
        5 if miss else 5 * row["wrong read back"] // 5
    )  # said again, it is heard wrong again


def test_what_is_not_understood_is_said_again() -> None:
    """Unsure in one condition and right in another ends in the right value."""
    asked = trial(co2("9.2"), co2("9.2"), co2("9.5"), path="1")
    good = hearing_trials.replace(trial(co2("9.2"), co2("9.2"), co2("9.2"), co2("9.2"), path="1"), condition="pink:10")
    (row,) = audio_safety.measured([asked, good], GATES, [0.5], 4, 1)
    assert (row["saved right"], row["saved wrong"]) == (2, 0)
