"""Writing results: whole or not at all."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from lapwright.errors import UsageError
from lapwright.messages import Message


@dataclass(frozen=True, slots=True)
class Made:
    """A document as data and as files: names and bytes, not yet written."""

    document: dict[str, Any]
    files: dict[str, bytes]
    messages: tuple[Message, ...]


def write_outputs(directory: Path, files: Mapping[str, bytes]) -> tuple[Path, ...]:
    """Write files into a directory; an interruption leaves the old ones as they were.

    Each file is written beside its place under another name first; only when all are
    complete are they moved.

    Raises
    ------
    UsageError
        If the directory cannot be written.
    """
    waiting: list[tuple[Path, Path]] = []
    try:
        directory.mkdir(parents=True, exist_ok=True)
        for name, content in files.items():
            handle, part = tempfile.mkstemp(prefix=f".{name}.", dir=directory)
            waiting.append((Path(part), directory / name))
            with os.fdopen(handle, "wb") as stream:
                stream.write(content)
            Path(part).chmod(0o644)
        for part_path, target in waiting:
            part_path.replace(target)
    except OSError as error:
        raise UsageError(f"{directory}: cannot be written ({error.strerror}).") from error
    finally:
        for part_path, _ in waiting:
            part_path.unlink(missing_ok=True)
    return tuple(target for _, target in waiting)
