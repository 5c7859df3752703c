"""Where data, models and cache live, and the settings file that overrides the defaults."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import platformdirs

from handsfree.errors import BadInput

_KEYS = {
    "data_folder",
    "model_folder",
    "cache_folder",
    "aliases_file",
    "voice",
    "microphone",
    "loudspeaker",
    "words_a_minute",
}


@dataclass(frozen=True, slots=True)
class Settings:
    """All that a user can set. Folders are made when first written to, not before."""

    data_folder: Path
    """visits and the archive's index"""
    model_folder: Path
    """models that `handsfree model add` took in"""
    cache_folder: Path
    """what can be made again: converted weights, rendered prompts"""
    aliases_file: Path
    """the engineer's own words"""
    voice: str = ""
    """name of the system voice; empty = the first English one"""
    microphone: str = ""
    """name, or part of it; empty = the system's default"""
    loudspeaker: str = ""
    words_a_minute: int = 130


def default_settings() -> Settings:
    """The settings of a machine on which nothing was set."""
    data = Path(platformdirs.user_data_dir("handsfree"))
    config = Path(platformdirs.user_config_dir("handsfree"))
    return Settings(
        data_folder=data / "visits",
        model_folder=data / "models",
        cache_folder=Path(platformdirs.user_cache_dir("handsfree")),
        aliases_file=config / "words.toml",
    )


def load_settings(environment: Mapping[str, str]) -> Settings:
    """The settings file over the defaults.

    Args:
        environment: `HANDSFREE_SETTINGS` names the file, `HANDSFREE_HOME` puts every folder under one place.

    Raises:
        BadInput: the file does not read, or a key is not one of ours.
    """
    settings = default_settings()
    if home := environment.get("HANDSFREE_HOME"):
        root = Path(home)
        settings = replace(
            settings,
            data_folder=root / "visits",
            model_folder=root / "models",
            cache_folder=root / "cache",
            aliases_file=root / "words.toml",
        )
    named = environment.get("HANDSFREE_SETTINGS")
    path = Path(named) if named else Path(platformdirs.user_config_dir("handsfree")) / "settings.toml"
    if not path.exists():
        if named:
            raise BadInput(f"settings file {path} does not exist", "correct HANDSFREE_SETTINGS or unset it")
        return settings
    try:
        table = tomllib.loads(path.read_text(encoding="utf-8"))
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        raise BadInput(f"settings file {path}: {error}", "mend the file or move it away") from None
    for key, value in table.items():
        if key not in _KEYS:
            raise BadInput(f"settings file {path}: unknown key {key!r}", f"use one of {', '.join(sorted(_KEYS))}")
        wanted = int if key == "words_a_minute" else str
        if type(value) is not wanted:
            raise BadInput(f"settings file {path}: {key} must be {'a whole number' if wanted is int else 'a text'}", "")
        changed: dict[str, Any] = {key: Path(str(value)).expanduser() if key.endswith(("_folder", "_file")) else value}
        settings = replace(settings, **changed)
    return settings
