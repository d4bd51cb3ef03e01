"""Rejected rows written to files that can be fixed and loaded again."""

from __future__ import annotations

import csv
import re
from collections import defaultdict
from collections.abc import Sequence
from pathlib import Path

from gwnet.errors import OutputError
from gwnet.ingest.tables.parse import Parsed
from gwnet.ingest.tables.raw import split_heading
from gwnet.store.contract import PROBLEM_COLUMN


def write_rejected(tables: Sequence[Parsed], target: Path) -> list[Path]:
    """Write the rejected rows of tables, each to a file of its own with a column ``problem``; the folder is made.

    Returns
    -------
    list of pathlib.Path
        Files written; none is ever overwritten.

    Raises
    ------
    OutputError
        If the folder cannot be written.
    """
    written: list[Path] = []
    try:
        if tables:
            target.mkdir(parents=True, exist_ok=True)
        for parsed in tables:
            path = _free_name(target, parsed)
            with path.open("x", encoding="utf-8", newline="") as file:
                written.append(path)
                _write(csv.writer(file, delimiter=parsed.raw.sheet.delimiter or ","), parsed)
    except OSError as error:
        for path in written:
            path.unlink(missing_ok=True)
        message = f"The rejected rows cannot be written: {error.strerror or error}. Nothing was recorded."
        raise OutputError(message, where=str(target), fix="Run the command in a folder that you can write.") from error
    return written


def _free_name(target: Path, parsed: Parsed) -> Path:
    stem = re.sub(r"(\.rejected(-\d+)?)+$", "", re.sub(r"[^\w.\-]+", "_", parsed.raw.sheet.title))
    if not stem.lower().startswith(parsed.table.name):
        stem = f"{parsed.table.name}_{stem}"
    path = target / f"{stem}.rejected.csv"
    number = 2
    while path.exists():
        path = target / f"{stem}.rejected-{number}.csv"
        number += 1
    return path


def _write(writer: csv.writer, parsed: Parsed) -> None:  # type: ignore[valid-type]
    sheet = parsed.raw.sheet
    problems: dict[int, list[str]] = defaultdict(list)
    for problem in parsed.rejections:
        if problem.row is not None:
            column = f"{problem.column}: " if problem.column else ""
            problems[problem.row].append(f"{column}{problem.message} {problem.fix}".strip())
    kept = [place for place, heading in enumerate(sheet.headings) if split_heading(heading)[0] != PROBLEM_COLUMN]
    writer.writerow([*(sheet.headings[place] for place in kept), PROBLEM_COLUMN])  # type: ignore[attr-defined]
    for number, cells in zip(sheet.numbers, sheet.rows, strict=True):
        if number in problems:
            row = [*(cells[place] for place in kept), " | ".join(problems[number])]
            writer.writerow(row)  # type: ignore[attr-defined]
