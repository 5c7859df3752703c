"""The speech models of this machine: list them, take one in, check them all."""

from __future__ import annotations

import os
from pathlib import Path

import click

from handsfree.errors import HandsfreeError, MissingPart
from handsfree.listeners.models import (
    VoskModel,
    add_model,
    check_sums,
    find_vosk_models,
    find_wheel_model,
    wheel_models,
)
from handsfree.settings import load_settings


@click.group("model")
def command() -> None:
    """Speech models: list, add, check. Nothing is ever downloaded."""


@command.command("list")
def list_models() -> None:
    """The models that are there."""
    for name, model in wheel_models().items():
        try:
            where = str(find_wheel_model(name))
        except MissingPart as error:
            where = f"missing: {error.message}"
        click.echo(f"{name}  {model.package} {model.version}, {model.licence}  {where}")
    for vosk in find_vosk_models(load_settings(os.environ).model_folder):
        click.echo(_vosk_line(vosk))


@command.command("add")
@click.argument("path", type=click.Path(path_type=Path))
def add(path: Path) -> None:
    """Take in a model in Vosk's format: a folder or a zip of it."""
    model = add_model(path, load_settings(os.environ).model_folder)
    click.echo(_vosk_line(model))
    if not model.runtime_grammar:
        click.echo(
            "its graph is in one piece: it listens without a grammar, which is worse; models with HCLr.fst are better"
        )


@command.command("check")
def check() -> None:
    """Compare the weights with what they should be, and load every model once."""
    settings = load_settings(os.environ)
    failed: HandsfreeError | None = None
    for name, model in wheel_models().items():
        try:
            check_sums(find_wheel_model(name), model.files)
            click.echo(f"{name}: the weights are the known ones")
        except HandsfreeError as error:
            click.echo(f"{name}: {error}")
            failed = error
    for vosk in find_vosk_models(settings.model_folder):
        from handsfree.listeners.vosk import load_model

        try:
            load_model(vosk)
            click.echo(f"{vosk.name}: loads")
        except HandsfreeError as error:
            click.echo(f"{vosk.name}: {error}")
            failed = error
    if failed is not None:
        raise MissingPart("not every model is usable", failed.hint)


def _vosk_line(model: VoskModel) -> str:
    grammar = "runtime grammar" if model.runtime_grammar else "no runtime grammar"
    return f"vosk  {model.name}, {model.bytes / 1e6:.0f} MB, {grammar}, {model.source}  {model.folder}"
