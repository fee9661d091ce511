"""The errors that Lapwright raises on purpose.

::

    LapwrightError
    ├── UsageError      wrong use of a command or function            exit code 2
    ├── InputError      the input cannot be used; carries messages    exit code 3
    └── NoAnswerError   a computation has no trustworthy answer       exit code 4

A message names the argument, or the file, place and channel; says what was
found and what was needed; and gives the way out.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from lapwright.messages import Message


class LapwrightError(Exception):
    """Any error that Lapwright raises on purpose."""

    exit_code = 1


class UsageError(LapwrightError):
    """A command or function was called in a way that cannot work."""

    exit_code = 2


class InputError(LapwrightError):
    """An input cannot be used, or needs an answer first.

    Parameters
    ----------
    messages
        What was found, all at once; at least one is refused or a question.
    """

    exit_code = 3

    def __init__(self, messages: Sequence[Message]) -> None:
        self.messages = tuple(messages)
        super().__init__("\n".join(m.text for m in self.messages))


class NoAnswerError(LapwrightError):
    """A computation ended without a result that can be trusted."""

    exit_code = 4
