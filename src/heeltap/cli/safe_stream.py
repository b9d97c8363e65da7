"""Standard output and error as commands see them: whatever is written, only harmless text reaches the terminal.

Inside: `SafeStream`, `safe_streams`, `bare`.
"""

import sys
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any, TextIO

from heeltap.safe_text import safe

__all__ = ["SafeStream", "bare", "safe_streams"]


class SafeStream:
    """A text stream that puts ``?`` in place of what a terminal would obey, and of what its encoding does not have."""

    def __init__(self, stream: TextIO) -> None:
        self.bare_stream = stream

    def write(self, text: str) -> int:
        """Write the text, made safe; the number of its characters."""
        plain, encoding = safe(text), self.bare_stream.encoding
        if encoding and not encoding.lower().startswith("utf"):
            plain = plain.encode(encoding, "replace").decode(encoding)
        self.bare_stream.write(plain)
        return len(text)

    def writelines(self, lines: "list[str]") -> None:
        """Write each of them."""
        for line in lines:
            self.write(line)

    def __getattr__(self, name: str) -> Any:
        """Everything else is the stream's own."""
        return getattr(self.bare_stream, name)


def bare(stream: Any) -> TextIO:
    """The stream itself, for what heeltap draws: its own bars need the cursor."""
    found: TextIO = getattr(stream, "bare_stream", stream)
    return found


@contextmanager
def safe_streams() -> Iterator[None]:
    """Standard output and error are safe within; a stream that is closed (None) is left alone."""
    before = sys.stdout, sys.stderr
    if before[0] is not None:
        sys.stdout = SafeStream(bare(before[0]))
    if before[1] is not None:
        sys.stderr = SafeStream(bare(before[1]))
    try:
        yield
    finally:
        sys.stdout, sys.stderr = before
