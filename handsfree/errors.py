"""Errors a user may meet, each one line long and each with its exit code."""

from enum import IntEnum


class ExitCode(IntEnum):
    """What the process returns; README documents the same list."""

    OK = 0
    USAGE = 1
    UNREADABLE = 2
    GRAMMAR = 3
    ENGINE = 4
    LOG = 5
    INTERRUPTED = 130


class HandsfreeError(Exception):
    """Base of every expected error: its text is the one line shown to the user."""

    exit_code = ExitCode.USAGE


class UnreadableSound(HandsfreeError):
    """A recording cannot be read; the line names the file and the reason."""

    exit_code = ExitCode.UNREADABLE


class GrammarError(HandsfreeError):
    """A file in grammar/ is wrong; the line names file, line and reason."""

    exit_code = ExitCode.GRAMMAR

    def __init__(self, file: str, line: int | None, reason: str) -> None:
        self.file, self.line, self.reason = file, line, reason
        where = f"{file}:{line}" if line else file
        super().__init__(f"{where}: {reason}")


class EngineError(HandsfreeError):
    """A recognizer cannot be used; the line says why and what to do."""

    exit_code = ExitCode.ENGINE


class LogError(HandsfreeError):
    """The log is not there, or cannot be opened or written; the line says which and why."""

    exit_code = ExitCode.LOG
