"""A Result as JSON, and the JSON Schema that says what other programs may rely on.

Inside: `to_json`, `from_json`, `schema`.
"""

from typing import Any

import msgspec

from heeltap.errors import TakeFileError
from heeltap.model.plan import MOST_BARS
from heeltap.model.result import FORMAT, Result

__all__ = ["from_json", "schema", "to_json"]


def to_json(result: Result, *, indent: bool = False) -> bytes:
    """The result as UTF-8 JSON: one line, or indented for reading."""
    data = msgspec.json.encode(result)
    return msgspec.json.format(data, indent=2) if indent else data


def from_json(data: bytes, *, where: str = "result") -> Result:
    """The result back from its JSON; raises `TakeFileError` when it is not one, or of another version."""
    try:
        result = msgspec.json.decode(data, type=Result)
    except (msgspec.MsgspecError, UnicodeDecodeError, RecursionError) as error:
        raise TakeFileError(where, f"not a {FORMAT} document ({error})") from error
    if result.format != FORMAT:
        raise TakeFileError(where, f"format {result.format!r}", FORMAT, "written by another version of heeltap")
    stretches = [(one.first_bar, one.last_bar) for one in result.replay]
    stretches += [(one.first_bar, one.last_bar) for one in result.by_section]
    if any(not 0 <= first <= last <= MOST_BARS for first, last in stretches):
        raise TakeFileError(where, "bars that no take has", f"bars in order, at most {MOST_BARS:,}")
    return result


def schema() -> dict[str, Any]:
    """JSON Schema (2020-12) of `heeltap.result/2`."""
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", "title": FORMAT, **msgspec.json.schema(Result)}
