"""Seeded ways to spoil text files: tables, exports of loggers, layouts and definitions.

Each takes the bytes of a good file and a source of chance and returns other bytes. None of them knows what the file
means; those that move rows, cells and headings take it as delimited text.
"""

from __future__ import annotations

import random
from collections.abc import Callable
from typing import Final

Mutation = Callable[[bytes, random.Random], bytes]

#: Digits 0 to 9 of other scripts.
SCRIPTS: Final = tuple(
    "".join(chr(first + at) for at in range(10)) for first in (0x0660, 0x06F0, 0x0966, 0xFF10, 0x1D7CE)
)
#: Texts in the place of a number that are none, or none that a field book could hold.
NO_NUMBERS: Final = (
    *("1E99", "-1E99", "1e308", "1e400", "9" * 400, "0x10", "1_000", "NaN", "inf", "-inf", "1/2", "4.1.2", "4,1,2"),
    *(
        "--4",
        "+-4",
        "4 m",
        "4m",
        "4'3\"",
        "1 000",
        "1.000.000,5",
        "²",
        "½",
        "٫4",
        "−4.1",
        "4..1",
        ".",
        "-",
        "e5",
        "1e",
        "٤",
    ),
)
#: Texts that are no words of any column.
ODD_WORDS: Final = (
    *(
        "\x00",
        "\x07",
        "\x1b[31m",
        "\u202e",
        "\ufeff",
        "\u00a0",
        "\u200b",
        "=1+1",
        "@x",
        "' OR 1=1 --",
        "\\",
        '"',
        "'",
        "{0}",
        "%s",
    ),
    *("n/a", "-", "?", "NULL", "None", "#REF!", "x" * 5_000, "é" * 200, "\U0001f30a"),
)
UNITS: Final = (
    "m",
    "ft",
    "cm",
    "mm",
    "ftUS",
    "in",
    "inch",
    "M",
    "Ft",
    "km",
    "",
    " ",
    "m/s",
    "feet",
    "metre",
    "kPa",
    "bar",
    "?",
)
ENDS: Final = (b"\r\n", b"\r", b"\n\r", b"\n\n", b"\x0b", b"\x85", b"")


def _at(content: bytes, rng: random.Random) -> int:
    return rng.randrange(max(len(content), 1))


def flip_bit(content: bytes, rng: random.Random) -> bytes:
    """Turn over one bit."""
    spoilt = bytearray(content)
    if spoilt:
        spoilt[_at(content, rng)] ^= 1 << rng.randrange(8)
    return bytes(spoilt)


def replace_bytes(content: bytes, rng: random.Random) -> bytes:
    """Replace up to eight bytes by any."""
    spoilt = bytearray(content)
    for _ in range(rng.randint(1, 8)):
        if spoilt:
            spoilt[_at(content, rng)] = rng.randrange(256)
    return bytes(spoilt)


def delete_span(content: bytes, rng: random.Random) -> bytes:
    """Delete up to 40 bytes in a row."""
    start = _at(content, rng)
    return content[:start] + content[start + rng.randint(1, 40) :]


def insert_bytes(content: bytes, rng: random.Random) -> bytes:
    """Insert up to twelve bytes, any or such as text has."""
    start = _at(content, rng)
    more = rng.randbytes(rng.randint(1, 12))
    if rng.random() < 0.5:
        more = bytes(rng.choice(b"0123456789.,;\t-eE \"'[]=#\n") for _ in more)
    return content[:start] + more + content[start:]


def repeat_span(content: bytes, rng: random.Random) -> bytes:
    """Write some bytes twice, as a copy that was interrupted does."""
    start = _at(content, rng)
    end = start + rng.randint(1, 200)
    return content[:end] + content[start:end] + content[end:]


def truncate(content: bytes, rng: random.Random) -> bytes:
    """Cut the file anywhere."""
    return content[: _at(content, rng)]


def truncate_last_rows(content: bytes, rng: random.Random) -> bytes:
    """Cut the file within its last bytes."""
    return content[: max(len(content) - rng.randint(1, 60), 0)]


def _with_lines(change: Callable[[list[str], random.Random], None]) -> Mutation:
    """Return a mutation that changes the lines of a text in place."""

    def mutate(content: bytes, rng: random.Random) -> bytes:
        lines = content.decode("utf-8").splitlines()
        change(lines, rng)
        return "".join(f"{line}\n" for line in lines).encode("utf-8", "surrogatepass")

    mutate.__name__ = change.__name__.removeprefix("_")
    mutate.__doc__ = change.__doc__
    return mutate


def _with_cells(change: Callable[[list[list[str]], random.Random], None]) -> Mutation:
    """Return a mutation that changes the cells of the rows of a text in place; its first row has the headings."""

    def split(lines: list[str], rng: random.Random) -> None:
        first = next((at for at, line in enumerate(lines) if "," in line), 0)
        rows = [line.split(",") for line in lines[first:]]
        change(rows, rng)
        lines[first:] = [",".join(row) for row in rows]

    split.__name__, split.__doc__ = change.__name__, change.__doc__
    return _with_lines(split)


@_with_lines
def duplicate_row(lines: list[str], rng: random.Random) -> None:
    """Write a line twice, at another place."""
    lines.insert(rng.randint(0, len(lines)), rng.choice(lines))


@_with_lines
def delete_row(lines: list[str], rng: random.Random) -> None:
    """Leave a line out."""
    del lines[rng.randrange(len(lines))]


@_with_lines
def shuffle_rows(lines: list[str], rng: random.Random) -> None:
    """Write the lines in another order."""
    rng.shuffle(lines)


@_with_lines
def join_rows(lines: list[str], rng: random.Random) -> None:
    """Lose the end of a line."""
    at = rng.randrange(len(lines))
    lines[at : at + 2] = ["".join(lines[at : at + 2])]


@_with_cells
def swap_columns(rows: list[list[str]], rng: random.Random) -> None:
    """Swap two columns, with their headings or without."""
    one, other = rng.randrange(len(rows[0])), rng.randrange(len(rows[0]))
    for row in rows[rng.randrange(2) :]:
        if max(one, other) < len(row):
            row[one], row[other] = row[other], row[one]


@_with_cells
def drop_cell(rows: list[list[str]], rng: random.Random) -> None:
    """Leave a cell out of a row."""
    row = rng.choice(rows)
    del row[rng.randrange(len(row))]


@_with_cells
def drop_last_cells(rows: list[list[str]], rng: random.Random) -> None:
    """Leave the last cells of a row out."""
    row = rng.choice(rows)
    del row[rng.randrange(len(row)) :]


@_with_cells
def add_cell(rows: list[list[str]], rng: random.Random) -> None:
    """Write a cell too many in a row."""
    row = rng.choice(rows)
    row.insert(rng.randint(0, len(row)), rng.choice(["", "7", "x"]))


@_with_cells
def empty_cell(rows: list[list[str]], rng: random.Random) -> None:
    """Empty a cell."""
    row = rng.choice(rows)
    row[rng.randrange(len(row))] = ""


def _numeric(rows: list[list[str]]) -> list[tuple[list[str], int]]:
    return [(row, at) for row in rows[1:] for at, cell in enumerate(row) if cell.replace(".", "", 1).isdigit()]


@_with_cells
def write_no_number(rows: list[list[str]], rng: random.Random) -> None:
    """Write something else where a number is."""
    if places := _numeric(rows):
        row, at = rng.choice(places)
        row[at] = rng.choice(NO_NUMBERS)


@_with_cells
def write_other_digits(rows: list[list[str]], rng: random.Random) -> None:
    """Write the digits of a number, or of all, in another script."""
    script = rng.choice(SCRIPTS)
    places = _numeric(rows)
    for row, at in [rng.choice(places)] if places and rng.random() < 0.7 else places:
        row[at] = "".join(script[int(sign)] if sign.isdigit() else sign for sign in row[at])


@_with_cells
def write_decimal_comma(rows: list[list[str]], rng: random.Random) -> None:
    """Write a decimal comma in a number, or in all, quoted or not."""
    quote = rng.choice(["", '"'])
    places = _numeric(rows)
    for row, at in [rng.choice(places)] if places and rng.random() < 0.5 else places:
        row[at] = quote + row[at].replace(".", ",") + quote


@_with_cells
def scale_number(rows: list[list[str]], rng: random.Random) -> None:
    """Multiply a number, or write it with an exponent."""
    if places := _numeric(rows):
        row, at = rng.choice(places)
        row[at] = rng.choice(["{:g}", "{:.2e}", "-{:g}", "+{:g}", " {:g} ", "{:g}0000000"]).format(
            float(row[at]) * rng.choice([1, 10, 0.1, 3.2808, 1e6])
        )


@_with_cells
def write_odd_word(rows: list[list[str]], rng: random.Random) -> None:
    """Write a text that no column expects."""
    row = rng.choice(rows)
    row[rng.randrange(len(row))] = rng.choice(ODD_WORDS)


@_with_cells
def change_unit(rows: list[list[str]], rng: random.Random) -> None:
    """Give a heading a unit, another one or none."""
    at = rng.randrange(len(rows[0]))
    rows[0][at] = f"{rows[0][at].partition('[')[0].strip()} [{rng.choice(UNITS)}]"


@_with_cells
def change_heading(rows: list[list[str]], rng: random.Random) -> None:
    """Misspell a heading, write it twice, or in another way."""
    at = rng.randrange(len(rows[0]))
    name = rows[0][at]
    rows[0][at] = rng.choice(
        [
            name[:-1],
            name + "s",
            name.upper(),
            name.replace("_", " "),
            f"({name})",
            rng.choice(rows[0]),
            f'"{name}"',
            " " + name,
        ]
    )


@_with_cells
def change_date(rows: list[list[str]], rng: random.Random) -> None:
    """Write a date in another way, or one that is none."""
    places = [(row, at) for row in rows[1:] for at, cell in enumerate(row) if len(cell) >= 10 and cell[4:5] == "-"]
    if places:
        row, at = rng.choice(places)
        year, month, day = row[at][:4], row[at][5:7], row[at][8:10]
        row[at] = rng.choice(
            [
                *(f"{day}.{month}.{year}", f"{day}/{month}/{year}", f"{month}/{day}/{year}", f"{year}{month}{day}"),
                *(
                    f"{year[2:]}-{month}-{day}",
                    f"{year}-13-{day}",
                    f"{year}-02-30",
                    "2025-10-26",
                    "2099-01-01",
                    "0001-01-01",
                ),
                *(
                    f"{year}-{month}-{day}T25:00",
                    f"{year}-{month}-{day} 02:30",
                    f"{year}-{int(month)}-{int(day)}",
                    "45000",
                ),
            ]
        )


def change_line_ends(content: bytes, rng: random.Random) -> bytes:
    """End lines in another way: all, or some."""
    end = rng.choice(ENDS)
    if rng.random() < 0.5:
        return content.replace(b"\n", end)
    return b"".join(line + (end if rng.random() < 0.3 else b"\n") for line in content.split(b"\n"))


def change_encoding(content: bytes, rng: random.Random) -> bytes:
    """Write the text in another encoding, with a word that shows it, or put a mark before it that promises another."""
    text = content.decode("utf-8").replace("good", "güt", 1)
    name = rng.choice(
        ["utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "utf-32", "latin-1", "cp1252", "cp037", "utf-7"]
    )
    if rng.random() < 0.2:
        return rng.choice([b"\xff\xfe", b"\xfe\xff", b"\xef\xbb\xbf\xef\xbb\xbf", b"\x00\x00\xfe\xff"]) + content
    return text.encode(name)


def change_delimiter(content: bytes, rng: random.Random) -> bytes:
    """Separate cells by another sign: in all lines, or in those after one."""
    sign = rng.choice([b";", b"\t", b"|", b" ", b",,"])
    if rng.random() < 0.6:
        return content.replace(b",", sign)
    at = _at(content, rng)
    return content[:at] + content[at:].replace(b",", sign)


def garble_quotes(content: bytes, rng: random.Random) -> bytes:
    """Put quotes at one or two places."""
    for _ in range(rng.randint(1, 2)):
        at = _at(content, rng)
        content = content[:at] + rng.choice([b'"', b"'", b'""', b'"\n', b'\\"']) + content[at:]
    return content


def make_long(content: bytes, rng: random.Random) -> bytes:
    """Make the file, a line or a cell very long."""
    lines = content.splitlines(keepends=True)
    return rng.choice(
        [
            content + lines[-1] * 3_000,
            content + b"," * 200_000 + b"\n",
            content + b'"' + b"x" * 300_000 + b'"\n',
            content + b"\n" * 200_000,
            content + b"\x00" * 2_000_000,
        ]
    )


#: Mutations of any text.
ANY_TEXT: Final[tuple[Mutation, ...]] = (
    *(
        flip_bit,
        replace_bytes,
        delete_span,
        insert_bytes,
        repeat_span,
        truncate,
        duplicate_row,
        delete_row,
        shuffle_rows,
    ),
    *(join_rows, change_line_ends, change_encoding, garble_quotes),
)
#: Mutations of delimited text.
DELIMITED: Final[tuple[Mutation, ...]] = (
    *ANY_TEXT,
    *(truncate_last_rows, swap_columns, drop_cell, drop_last_cells, add_cell, empty_cell, write_no_number),
    *(write_other_digits, write_decimal_comma, scale_number, write_odd_word, change_unit, change_heading, change_date),
    *(change_delimiter, make_long),
)


def mutate(content: bytes, mutations: tuple[Mutation, ...], rng: random.Random) -> tuple[bytes, str]:
    """Return a spoilt file and what was done: one mutation, now and then two."""
    names = []
    for _ in range(1 if rng.random() < 0.85 else 2):
        mutation = rng.choice(mutations)
        try:
            content = mutation(content, rng)
        except (UnicodeError, ValueError, IndexError):  # a second mutation of what is no text any more
            continue
        names.append(mutation.__name__)
    return content, ", ".join(names)
