"""What the reading process says of a file that it cannot read."""

from __future__ import annotations

from typing import Any


class Damaged(Exception):  # noqa: N818 - it never leaves the reading process
    """What is wrong with a file, found by name; turned into a message by the main process."""

    def __init__(
        self, found: str, byte: int | None = None, to_do: str = "", done: str = ""
    ) -> None:
        super().__init__(found)
        self.found, self.byte = found, byte
        self.to_do = to_do or "Copy the file again"
        self.done = done or "Nothing was imported"

    def document(self) -> dict[str, Any]:
        """Return the finding as plain data."""
        return {"found": self.found, "byte": self.byte, "to_do": self.to_do, "done": self.done}
