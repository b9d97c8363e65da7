"""The schema of the history as numbered steps. Never change a published step; add a new one.

Inside: `MIGRATIONS`, `NEWEST`, `COLUMNS`.
"""

__all__ = ["COLUMNS", "MIGRATIONS", "NEWEST"]

MIGRATIONS: tuple[tuple[str, ...], ...] = (
    (
        """
        CREATE TABLE takes (
            folder TEXT PRIMARY KEY,
            date TEXT NOT NULL,
            exercise TEXT NOT NULL,
            title TEXT NOT NULL,
            family TEXT NOT NULL,
            grade INTEGER NOT NULL,
            seed INTEGER,
            tempo_bpm REAL NOT NULL,
            lean_ms REAL NOT NULL,
            length_s REAL NOT NULL,
            ending TEXT NOT NULL,
            n INTEGER NOT NULL,
            bias_ms REAL,
            spread_ms REAL,
            in_pocket REAL,
            held REAL,
            score REAL,
            planned INTEGER NOT NULL,
            missed INTEGER NOT NULL,
            extra INTEGER NOT NULL,
            method TEXT NOT NULL,
            findings TEXT NOT NULL,
            scored_by TEXT NOT NULL
        ) WITHOUT ROWID
        """,
        # Apart from the figures: a list of 2,000 takes must not page through 2,000 results.
        "CREATE TABLE results (folder TEXT PRIMARY KEY, result BLOB NOT NULL) WITHOUT ROWID",
    ),
    ("CREATE INDEX takes_by_date ON takes (date, folder)",),
    # When the folder of takes last changed as far as the index knows: while it has not, nobody looks through 2,000 names.
    ("CREATE TABLE seen (changed_ns INTEGER NOT NULL)",),
)
"""SQL of each step; step ``n`` (from 1) leads to schema ``n``."""

NEWEST = len(MIGRATIONS)
"""The schema that this heeltap reads and writes."""

COLUMNS = (
    "folder", "date", "exercise", "title", "family", "grade", "seed", "tempo_bpm", "lean_ms", "length_s", "ending",
    "n", "bias_ms", "spread_ms", "in_pocket", "held", "score", "planned", "missed", "extra", "method", "findings",
    "scored_by",
)  # fmt: skip
"""Columns of ``takes``, in order; the fields of `heeltap.model.past_take.PastTake`."""
