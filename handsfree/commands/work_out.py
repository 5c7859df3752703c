"""`handsfree work-out`: one trade computation, or the list of them."""

from __future__ import annotations

import json
from collections.abc import Sequence
from decimal import Decimal
from typing import Any

import click

from handsfree.errors import BadInput
from handsfree.model import Result, WorkedOut
from handsfree.trade import computations, work_out
from handsfree.trade.computations import find_computation
from handsfree.trade.given import Computation


@click.command("work-out")
@click.argument("name", required=False)
@click.argument("pairs", metavar="[KEY=VALUE]...", nargs=-1)
@click.option("--list", "listing", is_flag=True, help="List every computation, or the keys of the one named.")
@click.option("--json", "as_json", is_flag=True, help="JSON lines on standard output, nothing else.")
def command(name: str | None, pairs: Sequence[str], listing: bool, as_json: bool) -> None:
    """One trade computation: NAME with KEY=VALUE..., the unit in the key's name.

    For example: handsfree work-out gas_rate volume_m3=0.088 time_s=122
    """
    if listing:
        _list(name, as_json)
        return
    if name is None:
        raise BadInput("no computation named", "handsfree work-out --list names them")
    result = work_out(name, _split(pairs))
    click.echo(json.dumps(to_json(result), ensure_ascii=False) if as_json else in_words(result))


def _split(pairs: Sequence[str]) -> dict[str, str]:
    given: dict[str, str] = {}
    for pair in pairs:
        key, equals, value = pair.partition("=")
        if not equals or not key:
            raise BadInput(f"{pair!r} is not KEY=VALUE", "write it like time_s=122")
        if key in given:
            raise BadInput(f"{key} is given twice, {given[key]!r} and {value!r}", "give it once")
        given[key] = value
    return given


def to_json(result: WorkedOut) -> dict[str, Any]:
    """The JSON object of a computation done."""
    return {
        "computation": result.computation,
        "given": dict(result.given),
        "results": [
            {"name": r.name, "value": r.value, "unit": r.unit, "basis": r.basis, "spread": r.spread}
            for r in result.results
        ],
        "formula": result.formula,
        "source": result.source,
        "sure": result.sure,
    }


def in_words(result: WorkedOut) -> str:
    """A computation done, for the screen."""
    lines = [_result_words(r) for r in result.results]
    return "\n".join([*lines, f"  formula: {result.formula}", f"  source: {result.source} ({result.sure})"])


def _result_words(result: Result) -> str:
    value = result.value if isinstance(result.value, str) else _digits(result.value, 5)
    unit = "" if result.unit in ("-", "date") else f" {result.unit}"
    basis = f" {result.basis}" if result.basis else ""
    spread = "" if result.spread is None else f", give or take {_digits(result.spread, 2)}{unit}"
    return f"{result.name}: {value}{unit}{basis}{spread}"


def _digits(value: float, significant: int) -> str:
    """Never in exponent form: 0.000008, not 8e-06."""
    return format(Decimal(f"{value:.{significant}g}"), "f")


def _list(name: str | None, as_json: bool) -> None:
    for computation in (find_computation(name),) if name else computations():
        if as_json:
            click.echo(json.dumps(listing_to_json(computation), ensure_ascii=False))
        else:
            click.echo(f"{computation.name}: {computation.about}")
            for key in listing_to_json(computation)["keys"]:
                click.echo(f"    {_key_words(key)}")


def _key_words(key: dict[str, Any]) -> str:
    span = f" {key['low']:g} to {key['high']:g}" if key["low"] is not None else ""
    unit = f" {key['unit']}" if key["unit"] != "-" else ""
    words = f" ({', '.join(key['choices'])})" if key["choices"] else ""
    default = f"; {key['default']} when not given" if key["default"] is not None else ""
    return f"{key['name']}: {key['meaning']}{words}{span}{unit}{default}"


def listing_to_json(computation: Computation) -> dict[str, Any]:
    """The JSON object that describes a computation: keys with unit and range, results, formula, source."""
    return {
        "computation": computation.name,
        "about": computation.about,
        "keys": [
            {
                "name": key.name,
                "meaning": key.meaning,
                "kind": key.kind,
                "unit": key.unit,
                "low": key.low if key.kind == "number" else None,
                "high": key.high if key.kind == "number" else None,
                "choices": list(key.choices),
                "default": key.default,
                "optional": key.optional or key.default is not None,
            }
            for key in computation.keys
        ],
        "one_of": [[list(group) for group in groups] for groups in computation.one_of],
        "results": list(computation.results),
        "formula": computation.formula,
        "source": computation.source,
        "sure": computation.sure,
    }
