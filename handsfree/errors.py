"""What went wrong and what to do next, as one exception family that carries its exit code."""

from __future__ import annotations


class HandsfreeError(Exception):
    """Base of every error that the program raises on purpose.

    Args:
        message: what is wrong and where (file and line, key, value, range).
        hint: what to do next, in one sentence.

    The command line prints `message` and `hint` on standard error and exits with `exit_code`.
    """

    exit_code = 2

    def __init__(self, message: str, hint: str = "") -> None:
        super().__init__(message)
        self.message = message
        self.hint = hint

    def __str__(self) -> str:
        return f"{self.message}. {self.hint}" if self.hint else self.message


class BadInput(HandsfreeError):
    """A file, key, value or command-line word that cannot be used (exit code 2)."""


class NeedsEngineer(HandsfreeError):
    """The work finished, but something is open, unsafe or does not check out (exit code 1)."""

    exit_code = 1


class MissingPart(HandsfreeError):
    """A part of the machine is missing: microphone, model, library, disk space (exit code 3)."""

    exit_code = 3
