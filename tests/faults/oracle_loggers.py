"""Compares samples on record with what export and layout say, read by other means."""

from __future__ import annotations

import csv
import datetime as dt
import io
import random
import re
import sqlite3
import tomllib
from collections.abc import Iterator
from typing import Any, Final
from zoneinfo import ZoneInfo

from ..helpers import Ran
from . import mutate_text, read_again
from .mutate_text import Mutation

#: Keys of the layout that is spoilt; any other in it is a misspelling.
KEYS: Final = {
    "table": {"heading_pattern"},
    "time": {"column", "formats", "zone"},
    "columns": {"quantity", "column", "unit"},
    "serial": {"pattern", "column"},
}

#: No pressure [kPa] or temperature [degC] of a well is larger.
LARGEST: Final = 1e6

_WORDS: Final = (
    *(
        '"kPa"',
        '"bar"',
        '"hPa"',
        '"m"',
        '"degC"',
        '"degF"',
        '"psi"',
        '"UTC"',
        '"Europe/Vienna"',
        '"UTC-03:30"',
        '"Mars"',
    ),
    *(
        '"%d.%m.%Y %H:%M"',
        '"%Y-%m-%d"',
        '"%H:%M"',
        '"water level"',
        '"water pressure"',
        '"battery"',
        '"Pressure"',
        '"x"',
    ),
    *(
        "7",
        "true",
        "[]",
        "{}",
        "1979-05-27",
        "inf",
        '""',
        "'''",
        '["%Y-%m-%d %H:%M", "%d/%m/%Y %H:%M"]',
        '"(((("',
        '"(a+)+$"',
    ),
)


def change_word(content: bytes, rng: random.Random) -> bytes:
    """Write another value after a key."""
    lines = content.decode("utf-8").splitlines()
    places = [at for at, line in enumerate(lines) if " = " in line]
    at = rng.choice(places)
    lines[at] = f"{lines[at].partition(' = ')[0]} = {rng.choice(_WORDS)}"
    return "".join(f"{line}\n" for line in lines).encode()


def change_key(content: bytes, rng: random.Random) -> bytes:
    """Misspell a key or the name of a table, or write one that there is not."""
    text = content.decode("utf-8")
    word = rng.choice(re.findall(r"[a-z_]{4,}(?= = |\])", text))
    return text.replace(
        word, rng.choice([word[:-1], word + "s", word.upper(), "decimal", "delimiter", "missing"]), 1
    ).encode()


LAYOUT_MUTATIONS: Final[tuple[Mutation, ...]] = (*mutate_text.ANY_TEXT, *(change_word,) * 4, *(change_key,) * 2)


def faults(record: sqlite3.Connection, layout: str, text: str, ran: Ran) -> Iterator[str]:
    """Yield where the samples differ from the file.

    Parameters
    ----------
    record : sqlite3.Connection
        The record; its samples are those of this file alone.
    layout : str
        Layout with which the file was read.
    text : str
        The file.
    ran : tests.helpers.Ran
        What the command said.
    """
    try:
        keys: dict[str, Any] = tomllib.loads("\n".join(layout.splitlines()))  # an old end of line is one, too
    except tomllib.TOMLDecodeError as error:
        yield f"the layout is no TOML, and was accepted: {error}"
        return
    yield from _unknown_keys(keys)
    columns = keys.get("columns", [])
    query = "SELECT s.id, s.quantity, s.unit FROM logger_series s ORDER BY s.id"
    for number, quantity, unit in record.execute(query).fetchall():
        [column] = [entry for entry in columns if entry.get("quantity") == quantity] or [None]
        if column is None:
            yield f"{quantity} is stored, which the layout does not name"
            continue
        if column.get("unit", unit).lower() != unit.lower():
            yield f"{quantity} is stored in {unit}, the layout says {column.get('unit')}"
        stored = dict(record.execute("SELECT time_ms, value FROM sample WHERE series_id = ?", (number,)).fetchall())
        yield from _sample_faults(stored, _written(keys, str(column.get("column")), text), quantity, ran)


def _unknown_keys(keys: dict[str, Any]) -> Iterator[str]:
    for table, entries in keys.items():
        for entry in entries if isinstance(entries, list) else [entries]:
            extra = set(entry) - KEYS.get(table, set()) if isinstance(entry, dict) else {table}
            if extra - {"decimal", "delimiter", "missing"}:
                yield f"the layout has unknown keys {sorted(extra)} in {table!r}, and was accepted"


def _written(keys: dict[str, Any], column: str, text: str) -> tuple[dict[int, set[float]], list[str]]:
    """Return the values of each time in a column of a file, and the rows that say none."""
    zone = _zone(keys["time"].get("zone", "UTC"))
    formats = keys["time"].get("formats", ["%Y-%m-%d %H:%M", "%Y-%m-%dT%H:%M"])
    values: dict[int, set[float]] = {}
    odd = []
    headings: list[str] | None = None
    heading_line = ""
    for line in text.splitlines():
        if headings is None:
            if re.search(keys["table"]["heading_pattern"], line):
                heading_line = line
                delimiter = max(",;\t", key=line.count)
                headings = [_plain(heading) for heading in next(csv.reader([line], delimiter=delimiter))]
            continue
        cells = dict(zip(headings, next(csv.reader(io.StringIO(line), delimiter=delimiter), []), strict=False))
        try:
            value = read_again.number(cells.get(_plain(column), ""))
            for moment in _moments(cells.get(_plain(keys["time"]["column"]), ""), formats, zone):
                values.setdefault(moment, set()).add(value)
        except ValueError:
            if line.strip(', ;\t"') and line != heading_line:
                odd.append(line)
    return values, odd


def _plain(heading: str) -> str:
    """Return a heading as it is compared: blanks and case do not matter."""
    return "".join(heading.split()).lower()


def _zone(name: str) -> dt.tzinfo:
    if match := re.fullmatch(r"UTC([+-])(\d\d):(\d\d)", name):
        minutes = int(match[2]) * 60 + int(match[3])
        return dt.timezone(dt.timedelta(minutes=-minutes if match[1] == "-" else minutes))
    return ZoneInfo(name)


def _moments(cell: str, formats: list[str], zone: dt.tzinfo) -> set[int]:
    """Return the instants that a cell can mean [ms since 1970]."""
    for form in formats:
        try:
            local = dt.datetime.strptime(cell.strip(), form)  # noqa: DTZ007 (the zone comes next)
        except ValueError:
            continue
        if not cell.strip().isascii():
            break
        moments = (local.replace(fold=fold, tzinfo=zone) for fold in (0, 1))
        return {round(moment.timestamp() * 1000) for moment in moments}
    message = f"{cell!r} is no time"
    raise ValueError(message)


def _sample_faults(
    stored: dict[int, float], written: tuple[dict[int, set[float]], list[str]], quantity: str, ran: Ran
) -> Iterator[str]:
    values, odd = written
    for time, value in stored.items():
        if not any(abs(value - wanted) <= 1e-9 * max(1.0, abs(wanted)) for wanted in values.get(time, ())):
            yield f"{quantity} at {time}: {value!r} is stored, the file says {values.get(time, 'nothing')}"
        if abs(value) > LARGEST:
            yield f"{quantity} at {time}: {value!r} was accepted"
    lost = sorted(set(values) - set(stored))
    if lost and not (odd or ran.err.strip()):
        yield f"{quantity}: {len(lost)} times of the file are not stored, the first {lost[0]}, and nothing was said"
    if odd and not (
        ran.err.strip() or re.search(r"\d+ (row|event|line|heading)s?\b.*(?:without|passed|event|no )", ran.out)
    ):
        yield f"{quantity}: {len(odd)} rows say no value, the first {odd[0]!r}, and nothing was said"
