"""Our additions to the networks' weights: known files, added where they belong, refused where they do not fit."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from handsfree.errors import BadInput, MissingPart
from handsfree.listeners import additions, models


@pytest.mark.parametrize("name", ["moonshine", "whisper"])
def test_the_shipped_additions_are_the_known_ones(name: str) -> None:
    """Both files ship with the package, have the sums that we state, are small, and hold plain numbers."""
    table = additions.read_additions(name)
    assert (additions.FOLDER / models.wheel_models()[name].additions.file).stat().st_size < 9_000_000
    assert len(table) > 50
    assert all(np.isfinite(value).all() for value in table.values())
    assert any(np.abs(value).max() > 1e-3 for value in table.values())


def test_a_missing_or_altered_file_is_named(tmp_path: Path) -> None:
    """Without the file, or with another one, the listener is not made; the message says which file and what helps."""
    with pytest.raises(MissingPart, match=r"whisper_additions\.npz is missing.*not adapted"):
        additions.read_additions("whisper", tmp_path)
    (tmp_path / "whisper_additions.npz").write_bytes(b"other")
    with pytest.raises(BadInput, match=r"whisper_additions\.npz is not the file we know"):
        additions.read_additions("whisper", tmp_path)


def test_additions_are_added_in_the_kind_of_the_weight() -> None:
    """A matrix of 16 bits stays one, a convolution keeps its shape, what has no addition is the same."""
    weights = {"a": np.ones((2, 3, 4), np.float16), "b": np.zeros(3, np.float32), "c": np.ones(1, np.int8)}
    result = additions.adapted(weights, {"a": np.full((2, 12), 0.5, np.float32), "b": np.ones(3, np.float32)})
    assert result["a"].dtype == np.float16
    np.testing.assert_array_equal(result["a"], np.full((2, 3, 4), 1.5))
    np.testing.assert_array_equal(result["b"], np.ones(3))
    assert result["c"] is weights["c"]


@pytest.mark.parametrize("extra", [{"d": np.ones(3, np.float32)}, {"b": np.ones(4, np.float32)}])
def test_additions_that_do_not_fit_are_refused(extra: dict[str, np.ndarray]) -> None:
    """An addition for a weight that is not there, or of another size, names the weight."""
    with pytest.raises(BadInput, match=f"do not fit the weights: {next(iter(extra))}"):
        additions.adapted({"b": np.zeros(3, np.float32)}, extra)
