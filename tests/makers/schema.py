"""Writes docs/result.schema.json: ``python -m tests.makers.schema``."""

from pathlib import Path

import msgspec

from heeltap.files.result_json import schema

if __name__ == "__main__":
    target = Path(__file__).resolve().parents[2] / "docs" / "result.schema.json"
    target.write_bytes(msgspec.json.format(msgspec.json.encode(schema()), indent=2) + b"\n")
