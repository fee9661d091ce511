"""Taking offered answers: read once more with them and list them as repairs."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from lapwright.errors import InputError
from lapwright.messages import Message, split_options
from lapwright.model.recording import Recording
from lapwright.readers.mapping import ChannelMapping, add_answers, parse_answers

_Read = Callable[[ChannelMapping], Recording]


def settle_questions(read: _Read, mapping: ChannelMapping, accept_offered: bool) -> Recording:
    """Read, and where offered answers are accepted read again with them.

    Raises
    ------
    InputError
        When a question has no offered answer that can be taken unseen.
    """
    if not accept_offered:
        return read(mapping)
    recording = read(mapping)
    asked = [m for m in recording.messages if m.outcome == "ask" and m.answer]
    if not asked:
        return recording
    given = [part for m in asked if m.answer for part in split_options(m.answer)]
    answers = parse_answers(given)
    again = read(add_answers(mapping, answers))
    taken = tuple(accept_question(m) for m in asked)
    return replace(again, messages=(*taken, *again.messages))


def accept_question(message: Message) -> Message:
    """Turn a question into the repair that taking its offered answer is."""
    return replace(
        message,
        outcome="repaired",
        done=f"Answered as offered ({message.answer})",
        to_do="",
    )


def has_questions(error: InputError) -> bool:
    """Whether an error holds questions, rather than a refusal."""
    return any(m.outcome == "ask" for m in error.messages)
