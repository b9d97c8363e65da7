"""Write the guide's table of findings from the program's own rows: run ``python -m tests.makers.guide_tables``.

Inside: `findings_table`, `FINDINGS_GUIDE`.
"""

import re
from pathlib import Path

from heeltap.analysis.findings.catalogue import FINDING_KINDS

__all__ = ["FINDINGS_GUIDE", "findings_table"]

FINDINGS_GUIDE = Path(__file__).resolve().parents[2] / "docs" / "guide" / "findings.md"

_HEAD = "| code | about | what is asked | advice |\n|---|---|---|---|"


def findings_table() -> str:
    """The table of all kinds of finding, in Markdown."""
    rows = [f"| `{kind.code}` | {kind.measure} | {kind.asks} | `{kind.advice}` |" for kind in FINDING_KINDS]
    return "\n".join([_HEAD, *rows])


def main() -> None:
    """Replace the table in the guide."""
    text = FINDINGS_GUIDE.read_text(encoding="utf-8")
    table = re.compile(re.escape(_HEAD) + r"(\n\|.*)*")
    if not table.search(text):
        raise SystemExit(f"{FINDINGS_GUIDE}: no table of findings; expected its head line")
    FINDINGS_GUIDE.write_text(table.sub(lambda _: findings_table(), text), encoding="utf-8")


if __name__ == "__main__":
    main()
