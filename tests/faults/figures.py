"""Figures of the trials: each test adds a line to a file, and ``python -m tests.faults.figures FILE`` prints a table."""

from __future__ import annotations

import json
import os
import sys
from pathlib import Path

#: File that the figures are added to, one JSON object a line; none unless it is set.
FILE = "GWNET_FAULTS_FIGURES"


def note_figures(trial: str, **numbers: float) -> None:
    """Add what a trial counted to the file of figures, where one is named."""
    if name := os.environ.get(FILE):
        with Path(name).open("a", encoding="utf-8") as file:
            file.write(json.dumps({"trial": trial, **numbers}) + "\n")


def table(lines: list[str]) -> str:
    """Return figures as a table for a terminal: one line a trial, the last run of each."""
    newest = {row["trial"]: row for row in map(json.loads, lines)}
    rows = []
    for row in sorted(newest.values(), key=lambda row: row["trial"]):
        numbers = ", ".join(f"{name.replace('_', ' ')} {value:g}" for name, value in row.items() if name != "trial")
        rows.append((row["trial"], numbers))
    width = max((len(trial) for trial, _ in rows), default=0)
    return "\n".join(f"{trial:<{width}}  {numbers}" for trial, numbers in rows)


if __name__ == "__main__":
    print(table(Path(sys.argv[1]).read_text(encoding="utf-8").splitlines()))
