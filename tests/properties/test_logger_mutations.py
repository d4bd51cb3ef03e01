"""Exports that went wrong: each is refused with a useful error, or read right.

Every mutation is seeded. Read right means that each sample that comes out stands in the export that was not mutated,
with the same time and values; a file with a row that cannot be read is refused as a whole.
"""

from __future__ import annotations

import math
import random

import pytest

from gwnet.errors import GwnetError, IngestError
from gwnet.ingest.loggers import rows as logger_rows
from gwnet.ingest.loggers.guess import propose_layout
from gwnet.ingest.loggers.layout import parse_layout
from gwnet.ingest.loggers.rows import open_logger_file

from ..ingest.logger_exports import Export, all_exports

pytestmark = pytest.mark.slow

EXPORTS = {export.name: export for export in all_exports()}

#: Signs that cannot turn one number, time or word into another that could be.
RUIN = b"\x00\x01\x07\x1b\x80\x93\xa7\xff\xfe?@~xqz\"'{}\\"


def _ended(lines: list[str], export: Export, end: str = "\n") -> bytes:
    return "".join(f"{line}{end}" for line in lines).encode(export.encoding)


def cut(export: Export, rng: random.Random) -> bytes:
    content = export.content()
    return content[: rng.randrange(len(content))]


def cut_in_the_last_rows(export: Export, rng: random.Random) -> bytes:
    content = export.content()
    return content[: -rng.randrange(1, 120)]


def shuffled(export: Export, rng: random.Random) -> bytes:
    rows = list(export.rows)
    rng.shuffle(rows)
    return _ended([*export.above, *rows, *export.below], export)


def garbled(export: Export, rng: random.Random) -> bytes:
    content = bytearray(export.content())
    for _ in range(rng.randrange(1, 12)):
        content[rng.randrange(len(content))] = rng.choice(RUIN)
    return bytes(content)


def garbled_above(export: Export, rng: random.Random) -> bytes:
    head = len("".join(f"{line}\n" for line in export.above).encode(export.encoding))
    content = bytearray(export.content())
    for _ in range(rng.randrange(1, 6)):
        content[rng.randrange(head)] = rng.choice(RUIN)
    return bytes(content)


def random_bytes(_export: Export, rng: random.Random) -> bytes:
    return rng.randbytes(rng.randrange(1, 20_000))


def empty(_export: Export, rng: random.Random) -> bytes:
    return rng.choice([b"", b"\n", b"\xef\xbb\xbf", b" \r\n\r\n", b"\x00" * 50])


def headings_alone(export: Export, rng: random.Random) -> bytes:
    return _ended(list(export.above[: rng.randrange(len(export.above)) + 1]), export, rng.choice(["\n", "\r\n", ""]))


def headings_gone(export: Export, _rng: random.Random) -> bytes:
    return _ended([*export.rows, *export.below], export)


def headings_twice(export: Export, rng: random.Random) -> bytes:
    place = rng.choice([0, rng.randrange(len(export.rows))])
    return _ended([*export.above, *export.rows[:place], export.above[-1], *export.rows[place:], *export.below], export)


def file_twice(export: Export, _rng: random.Random) -> bytes:
    return export.content() * 2


def huge_line(export: Export, rng: random.Random) -> bytes:
    rows = list(export.rows)
    rows.insert(rng.randrange(len(rows)), rng.choice(["9", "x", ",", ";"]) * rng.choice([50_000, 3_000_000]))
    return _ended([*export.above, *rows], export)


def one_line(export: Export, _rng: random.Random) -> bytes:
    return _ended([" ".join([*export.above, *export.rows]) * 40], export)


def swapped_columns(export: Export, rng: random.Random) -> bytes:
    """Move the first column to the end, in headings, units and rows; shuffle where quotes stand in the headings."""
    if export.name == "twelve":
        return shuffled(export, rng)
    sign = {"dotted": ";", "tabbed": "\t"}.get(export.name, ",")
    start = 1 if export.name == "tabbed" else 4
    lines = [line.split(sign) for line in (*export.above[start:], *export.rows)]
    moved = [sign.join([*cells[1:], cells[0]]) for cells in lines]
    return _ended([*export.above[:start], *moved, *export.below], export)


def mixed_ends(export: Export, rng: random.Random) -> bytes:
    lines = [*export.above, *export.rows, *export.below]
    return "".join(line + rng.choice(["\n", "\r\n", "\r"]) for line in lines).encode(export.encoding)


def old_ends(export: Export, rng: random.Random) -> bytes:
    return _ended([*export.above, *export.rows, *export.below], export, rng.choice(["\r", "\r\n"]))


def lines_gone(export: Export, rng: random.Random) -> bytes:
    kept = [line for line in export.rows if rng.random() > 0.1]
    return _ended([*export.above, *kept, *export.below], export)


def lines_again(export: Export, rng: random.Random) -> bytes:
    rows = [line for line in export.rows for _ in range(1 + (rng.random() < 0.05))]
    return _ended([*export.above, *rows, *export.below], export)


def blank_lines(export: Export, rng: random.Random) -> bytes:
    sign = {"dotted": ";", "tabbed": "\t"}.get(export.name, ",")
    rows = []
    for line in export.rows:
        rows += [line] + [rng.choice(["", "   ", 2 * sign])] * (rng.random() < 0.05)
    return _ended([*export.above, *rows, *export.below], export)


def words_between(export: Export, rng: random.Random) -> bytes:
    rows = list(export.rows)
    for _ in range(rng.randrange(1, 4)):
        rows.insert(
            rng.randrange(len(rows)), rng.choice(["memory full", "restart,,", "error;7", "<html>", "1,2,3,4,5,6,7"])
        )
    return _ended([*export.above, *rows, *export.below], export)


def quote_open(export: Export, rng: random.Random) -> bytes:
    rows = list(export.rows)
    place = rng.randrange(len(rows))
    rows[place] = '"' + rows[place]
    return _ended([*export.above, *rows, *export.below], export)


def quoted(export: Export, _rng: random.Random) -> bytes:
    sign = {"dotted": ";", "tabbed": "\t"}.get(export.name, ",")
    rows = [sign.join(f'"{cell}"' for cell in line.split(sign)) for line in export.rows]
    return _ended([*export.above, *rows, *export.below], export)


def other_encoding(export: Export, rng: random.Random) -> bytes:
    text = export.content().decode(export.encoding)
    return text.encode(rng.choice(["utf-16", "utf-8-sig", "utf-8", "utf-16-be", "cp1252"]), "replace")


def padded(export: Export, rng: random.Random) -> bytes:
    rows = [line + rng.choice(["", " ", "  "]) for line in export.rows]
    return _ended([*export.above, *rows, *export.below], export)


def loose_decimals(export: Export, _rng: random.Random) -> bytes:
    """Write decimal commas where points stand, whatever parts the cells."""
    rows = [line.replace(".", ",") for line in export.rows]
    return _ended([*export.above, *rows, *export.below], export)


def impossible_days(export: Export, rng: random.Random) -> bytes:
    rows = list(export.rows)
    place = rng.randrange(len(rows))
    for day, wrong in (("2025-10-", "2025-19-"), ("10/", "19/"), (".10.2025", ".19.2025")):
        rows[place] = rows[place].replace(day, wrong)
    return _ended([*export.above, *rows, *export.below], export)


def other_kind(_export: Export, rng: random.Random) -> bytes:
    marks = [
        b"PK\x03\x04",
        b"%PDF-1.7\n",
        b"\xd0\xcf\x11\xe0\xa1\xb1",
        b"\x1f\x8b\x08",
        b"SQLite format 3\x00",
        b"\x89PNG",
    ]
    return rng.choice(marks) + rng.randbytes(5_000)


def columns_gone(export: Export, _rng: random.Random) -> bytes:
    sign = {"dotted": ";", "tabbed": "\t"}.get(export.name, ",")
    rows = [line.rpartition(sign)[0] for line in export.rows]
    return _ended([*export.above, *rows, *export.below], export)


MUTATIONS = [
    cut,
    cut_in_the_last_rows,
    shuffled,
    garbled,
    garbled_above,
    random_bytes,
    empty,
    headings_alone,
    headings_gone,
    headings_twice,
    file_twice,
    huge_line,
    one_line,
    swapped_columns,
    mixed_ends,
    old_ends,
    lines_gone,
    lines_again,
    blank_lines,
    words_between,
    quote_open,
    quoted,
    other_encoding,
    padded,
    loose_decimals,
    impossible_days,
    other_kind,
    columns_gone,
]

#: What must be read whole, however it is written.
HARMLESS = {"mixed_ends", "old_ends", "lines_gone", "blank_lines", "quoted", "padded"}


def _read(path, layout):
    """Return the samples of a file: time and values, in order."""
    file = open_logger_file(path, layout)
    samples = [
        (int(time), tuple(float(value[n]) for value in chunk.values))
        for chunk in file.chunks(rows=70)
        for n, time in enumerate(chunk.time_ms)
    ]
    file.require_good()
    return file, samples


def _same(one, two):
    return len(one) == len(two) and all(
        a == b or (math.isnan(a) and math.isnan(b)) for a, b in zip(one, two, strict=True)
    )


def _useful(error: GwnetError) -> bool:
    """Return whether an error says what was found, in which file, and what to do."""
    return isinstance(error, IngestError) and len(error.message) > 15 and bool(error.where) and bool(error.fix)


def _by_quantity(file, values):
    return {column.quantity: value for column, value in zip(file.columns, values, strict=True)}


def _check_samples(export, file, samples, *, may_lack):
    """Hold each sample to the export that was not mutated."""
    names = ("water column",) if export.name == "tabbed" else None
    truth = export.truth()
    for time, values in samples:
        if all(map(math.isnan, values)) and time not in truth:
            continue  # an event row, where the heading of its event column was ruined
        assert time in truth, f"{export.name}: a time that is not in the export"
        held = truth[time]
        given = _by_quantity(file, values)
        level = next((v for q, v in given.items() if q not in {"water temperature"}), None)
        expected = held[:1] if names or (len(given) == 1 and level is not None) else held
        if level is None:
            expected = held[1:]
        lacking = may_lack and any(map(math.isnan, given.values()))
        ordered = tuple(v for q, v in sorted(given.items(), key=lambda one: one[0] == "water temperature"))
        assert _same(ordered, expected) or lacking, f"{export.name}: values of row at {time}"


def _outcome(path, export, *, proposed):
    """Return the file and its samples, nothing of them where it left doubts, or the error that refused it."""
    try:
        if not proposed:
            return _read(path, parse_layout(export.layout))
        proposal = propose_layout(path)
        file, samples = _read(path, parse_layout(proposal.toml()))
    except GwnetError as error:
        return error
    return file, [] if proposal.doubts else samples


@pytest.fixture(autouse=True)
def _small_blocks(monkeypatch):
    """Read in several blocks, so that what stands at their edges is met as well."""
    monkeypatch.setattr(logger_rows, "_BLOCK_ROWS", 150)


@pytest.mark.parametrize("mutation", MUTATIONS, ids=lambda one: one.__name__)
def test_a_mutated_export_is_refused_usefully_or_read_right(mutation, tmp_path):
    for number, export in enumerate(EXPORTS.values()):
        for turn in range(3):
            rng = random.Random(f"{mutation.__name__} {number} {turn}")
            path = tmp_path / f"{export.name}-{turn}.csv"
            path.write_bytes(mutation(export, rng))
            for proposed in (False, True):
                outcome = _outcome(path, export, proposed=proposed)
                if isinstance(outcome, GwnetError):
                    assert _useful(outcome), repr(outcome)
                    # of the hour that the clock shows twice, one sample alone may be of either
                    alone = mutation is lines_gone and "was twice in" in outcome.message
                    assert proposed or alone or mutation.__name__ not in HARMLESS, outcome
                else:
                    _check_samples(export, *outcome, may_lack=mutation is columns_gone)


def test_there_are_more_than_three_hundred_mutations():
    assert len(MUTATIONS) * len(EXPORTS) * 3 >= 300


@pytest.mark.parametrize("export", EXPORTS.values(), ids=lambda one: one.name)
@pytest.mark.parametrize("proposed", [False, True])
def test_an_export_as_it_stands_is_read_whole(export, proposed, tmp_path):
    path = tmp_path / f"{export.name}.csv"
    path.write_bytes(export.content())
    file, samples = _outcome(path, export, proposed=proposed)
    assert len(samples) == len(export.samples)
    _check_samples(export, file, samples, may_lack=False)
