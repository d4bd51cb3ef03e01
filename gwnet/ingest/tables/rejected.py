"""Rejected rows written to files that can be fixed and loaded again."""

from __future__ import annotations

import csv
import io
import re
from collections import defaultdict
from collections.abc import Callable, Collection, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from gwnet.errors import OutputError
from gwnet.ingest.tables.parse import Parsed
from gwnet.ingest.tables.raw import split_heading
from gwnet.records import Rejection
from gwnet.store.contract import PROBLEM_COLUMN


@dataclass(frozen=True)
class Excerpt:
    """Some rows of a file of which a mapping made tables, below the lines that come before its rows.

    Attributes
    ----------
    stem, suffix : str
        Parts of the file's name, between which ``.rejected`` is put.
    content : bytes
        The lines.
    lines : dict of int to int
        Line here of each line of the file.
    """

    stem: str
    suffix: str
    content: bytes
    lines: dict[int, int]


#: Takes rows, by their lines, out of the table of this name; None where they are of no file.
TakeRows = Callable[[str, Collection[int]], Excerpt | None]


def write_rejected(tables: Sequence[tuple[Parsed, TakeRows | None]], target: Path) -> list[Path]:
    """Write the rejected rows of tables to files; the folder is made.

    The rows of a table are written with a column ``problem``. Rows of which a mapping made a table are written as they
    are in their file, and their problems to a file beside it.

    Parameters
    ----------
    tables : sequence of tuple
        Each table with what takes rows out of its file, for tables that a mapping made.
    target : pathlib.Path
        The folder.

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
        for stem, suffix, content in _contents(tables):
            path = _free_name(target, stem, suffix)
            # Fails where another load has taken the name since: its rows must not be lost.
            with path.open("xb") as file:
                written.append(path)
                file.write(content)
    except OSError as error:
        for path in written:
            path.unlink(missing_ok=True)
        message = f"The rejected rows cannot be written: {error.strerror or error}. Nothing was recorded."
        raise OutputError(message, where=str(target), fix="Run the command in a folder that you can write.") from error
    return written


def _contents(tables: Sequence[tuple[Parsed, TakeRows | None]]) -> Iterator[tuple[str, str, bytes]]:
    """Yield stem, suffix and bytes of each file to be written."""
    of_file: dict[str, tuple[TakeRows, list[Rejection]]] = {}
    for parsed, take_rows in tables:
        if take_rows is None or take_rows(parsed.raw.sheet.file, ()) is None:
            yield _stem(parsed), ".rejected.csv", _with_problems(parsed)
        else:
            of_file.setdefault(parsed.raw.sheet.file, (take_rows, []))[1].extend(parsed.rejections)
    for name, (take_rows, rejections) in of_file.items():
        excerpt = take_rows(name, {rejection.row for rejection in rejections if rejection.row is not None})
        if excerpt is not None:
            yield excerpt.stem, f".rejected{excerpt.suffix}", excerpt.content
            yield excerpt.stem, ".problems.csv", _problems(rejections, excerpt)


def _stem(parsed: Parsed) -> str:
    # Rows that are rejected once more, after a try to correct them, do not gather endings.
    stem = re.sub(r"(\.rejected(-\d+)?)+$", "", re.sub(r"[^\w.\-]+", "_", parsed.raw.sheet.title))
    return stem if stem.lower().startswith(parsed.table.name) else f"{parsed.table.name}_{stem}"


def _free_name(target: Path, stem: str, suffix: str) -> Path:
    path = target / f"{stem}{suffix}"
    kind, _, ending = suffix[1:].partition(".")
    number = 2
    while path.exists():
        path = target / f"{stem}.{kind}-{number}.{ending}".rstrip(".")
        number += 1
    return path


def _with_problems(parsed: Parsed) -> bytes:
    """Return the rejected rows of a table with a column ``problem``, as CSV."""
    sheet = parsed.raw.sheet
    problems: dict[int, list[str]] = defaultdict(list)
    for problem in parsed.rejections:
        if problem.row is not None:
            column = f"{problem.column}: " if problem.column else ""
            problems[problem.row].append(f"{column}{problem.message} {problem.fix}".strip())
    # Without the problems of the load before, where the file is itself one of rejected rows.
    kept = [place for place, heading in enumerate(sheet.headings) if split_heading(heading)[0] != PROBLEM_COLUMN]
    text = io.StringIO(newline="")
    writer = csv.writer(text, delimiter=sheet.delimiter or ",")
    writer.writerow([*(sheet.headings[place] for place in kept), PROBLEM_COLUMN])
    for number, cells in zip(sheet.numbers, sheet.rows, strict=True):
        if number in problems:
            writer.writerow([*(cells[place] for place in kept), " | ".join(problems[number])])
    return text.getvalue().encode("utf-8")


def _problems(rejections: Sequence[Rejection], excerpt: Excerpt) -> bytes:
    """Return the problems of rejected rows with their lines in the file and among the rejected rows, as CSV."""
    text = io.StringIO(newline="")
    writer = csv.writer(text)
    writer.writerow(("line", "line_of_source", "column", "value", "problem", "message", "fix"))
    rows = [
        (
            "" if one.row is None else excerpt.lines[one.row],
            one.row,
            one.column,
            one.value,
            one.problem,
            one.message,
            one.fix,
        )
        for one in sorted(rejections, key=lambda one: one.row or 0)
    ]
    writer.writerows(dict.fromkeys(rows))  # a row of which two tables are made has its problem once
    return text.getvalue().encode("utf-8")
