"""Recordings as a source of a visit: one utterance each time it listens, cut by what is expected then."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from live.murmur import voice
from numpy.typing import NDArray

from handsfree.audio.wav import encode_wav
from handsfree.errors import BadInput
from handsfree.model import SAMPLE_RATE, Expectation, Segment
from handsfree.sources import Ended, RecordingSource, Spoken


def spoken(seconds: float, *words: tuple[float, float]) -> NDArray[np.float32]:
    """Faint hiss with a voice at the given times (s)."""
    sound = 1e-4 * np.random.default_rng(1).standard_normal(int(seconds * SAMPLE_RATE))
    for start, end in words:
        said = voice(end - start)
        sound[int(start * SAMPLE_RATE) :][: len(said)] += said
    return sound.astype(np.float32)


def heard(source: RecordingSource) -> list[Segment]:
    found = []
    while isinstance(arrival := source.listen(Expectation(), None), Spoken):
        found.append(arrival.segment)
    assert isinstance(arrival, Ended)
    return found


def test_a_pause_in_a_long_recording_is_held_open_where_the_step_at_hand_says_so(tmp_path: Path) -> None:
    """Two equal pauses: what is asked about the second one is what the visit expects by then."""
    (tmp_path / "visit.wav").write_bytes(encode_wav(spoken(8.0, (1.0, 1.8), (2.6, 3.4), (5.0, 5.8), (6.6, 7.4))))
    source = RecordingSource(tmp_path / "visit.wav")
    pause_s = 1.3
    source.hold_open(lambda segment: pause_s)
    first = source.listen(Expectation("number"), None)
    assert isinstance(first, Spoken)
    assert (first.segment.start_s < 1.0, first.segment.end_s > 3.4) == (True, True)
    pause_s = 0.0
    rest = heard(source)
    assert [round(s.speech_start_s or 0.0) for s in rest] == [5, 7]


def test_a_long_recording_is_cut_at_every_pause_while_nothing_holds_it_open(tmp_path: Path) -> None:
    """Without listeners that could tell, the usual pause ends an utterance."""
    (tmp_path / "visit.wav").write_bytes(encode_wav(spoken(5.0, (1.0, 1.8), (2.6, 3.4))))
    assert len(heard(RecordingSource(tmp_path / "visit.wav"))) == 2


def test_a_folder_gives_its_files_whole(tmp_path: Path) -> None:
    """Whoever cut the files decided what an utterance is."""
    (tmp_path / "1.wav").write_bytes(encode_wav(spoken(5.0, (1.0, 1.8), (2.6, 3.4))))
    (tmp_path / "2.wav").write_bytes(encode_wav(spoken(2.0, (0.5, 1.0))))
    assert [len(s.samples) for s in heard(RecordingSource(tmp_path))] == [5 * SAMPLE_RATE, 2 * SAMPLE_RATE]


@pytest.mark.parametrize("what", ["missing", "empty folder", "silence"])
def test_what_holds_no_utterance_is_refused_before_the_visit(tmp_path: Path, what: str) -> None:
    """Nothing there, a folder without recordings, and a recording of silence are told at once, by name."""
    path = tmp_path / "visit.wav"
    if what == "empty folder":
        path.mkdir()
    elif what == "silence":
        path.write_bytes(encode_wav(spoken(3.0)))
    with pytest.raises(BadInput, match=r"visit\.wav"):
        RecordingSource(path)
