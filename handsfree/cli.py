"""Words of the command line in, the right command out; errors become one message on standard error and an exit code."""

from __future__ import annotations

import difflib
import errno
import faulthandler
import importlib
import os
import sys
from typing import NoReturn

import click

from handsfree.errors import BadInput, HandsfreeError, MissingPart

COMMANDS = {
    "visit": "Hold a visit: prompts, listens, reads back, computes, saves.",
    "resume": "Carry on with a visit that was cut off or left open.",
    "demo": "The recorded visit that comes with the program, from sound to report.",
    "hear": "Recordings in, outcomes out.",
    "understand": "Words on standard input, outcomes out.",
    "work-out": "One trade computation.",
    "plan": "List, show, check and sample the plans of visits.",
    "grammar": "Look over the grammar and your own words.",
    "review": "Listen again, amend with a reason, sign off.",
    "report": "Write the report of a visit.",
    "verify": "Is the journal of a visit intact, torn at the end, or altered?",
    "archive": "Find values and trends over many visits.",
    "model": "Speech models: list, add, check.",
    "doctor": "What is missing on this machine, and the cure.",
}
"""Command -> its line in the help. Help must not import what it describes: it is to be there at once."""


class LazyCommands(click.Group):
    """A group that imports a command's module only when that command runs."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        if cmd_name not in COMMANDS:
            near = difflib.get_close_matches(cmd_name, COMMANDS, n=1)
            hint = f"did you mean {near[0]}?" if near else "handsfree --help lists them"
            raise BadInput(f"there is no command {cmd_name!r}", hint)
        module = importlib.import_module(f"handsfree.commands.{cmd_name.replace('-', '_')}")
        command: click.Command = module.command
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        with formatter.section("Commands"):
            formatter.write_dl(list(COMMANDS.items()))


@click.group(cls=LazyCommands, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(package_name="handsfree", prog_name="handsfree")
def group() -> None:
    """A spoken assistant for commissioning and servicing condensing gas boilers, hands in the casing.

    The maker's instructions, the law and your own judgement come first. The program computes, compares and reminds; it never says
    that an installation is safe.
    """


def keep_native_noise_out() -> None:
    """Give Python its own copies of standard output and error, and point descriptors 1 and 2 at nothing.

    The speech and sound libraries write to the descriptors directly (Kaldi and ALSA to 2, pyttsx3's drivers to 1); `--json` promises
    that standard output carries JSON lines and nothing else.
    """
    if os.environ.get("HANDSFREE_NATIVE_NOISE"):
        return
    sys.stdout.flush()
    sys.stderr.flush()
    out, error = os.dup(1), os.dup(2)
    nothing = os.open(os.devnull, os.O_WRONLY)
    os.dup2(nothing, 1)
    os.dup2(nothing, 2)
    os.close(nothing)
    sys.stdout = os.fdopen(out, "w", buffering=1, encoding="utf-8", errors="replace")
    sys.stderr = os.fdopen(error, "w", buffering=1, encoding="utf-8", errors="replace")
    faulthandler.enable(file=sys.stderr)


def main() -> NoReturn:
    """Entry point: run the command line and leave with its exit code."""
    keep_native_noise_out()
    sys.exit(_run(sys.argv[1:]))


def _run(arguments: list[str]) -> int:
    try:
        result = group.main(arguments, prog_name="handsfree", standalone_mode=False)
    except click.exceptions.Exit as leave:
        return leave.exit_code
    except click.Abort:
        print("handsfree: stopped", file=sys.stderr)
        return 130
    except click.ClickException as error:
        error.show(file=sys.stderr)
        return error.exit_code
    except HandsfreeError as error:
        print(f"handsfree: {error}", file=sys.stderr)
        return error.exit_code
    except KeyboardInterrupt:
        print("handsfree: stopped", file=sys.stderr)
        return 130
    except BrokenPipeError:
        # The reader went away (`handsfree ... | head`): nothing is left to say, and the interpreter must not try again at exit.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 0
    except OSError as error:
        if error.errno == errno.ENOSPC:
            print("handsfree: the disk is full. Free some space; everything confirmed so far is kept", file=sys.stderr)
            return MissingPart.exit_code
        raise
    return result if isinstance(result, int) else 0
