"""Seeded ways to spoil a workbook: its archive, its parts, and the cells in them."""

from __future__ import annotations

import csv
import io
import random
import re
import zipfile
from collections.abc import Callable, Mapping
from typing import Final

from . import mutate_text

Parts = dict[str, bytes]


def make(tables: Mapping[str, str]) -> bytes:
    """Return a workbook with one sheet a table; numbers are numbers, everything else text."""
    import xlsxwriter

    stream = io.BytesIO()
    with xlsxwriter.Workbook(stream, {"in_memory": True}) as book:
        for name, text in tables.items():
            sheet = book.add_worksheet(name)
            for row, cells in enumerate(csv.reader(io.StringIO(text))):
                for column, cell in enumerate(cells):
                    if re.fullmatch(r"\d+(\.\d+)?", cell):
                        sheet.write_number(row, column, float(cell))
                    else:
                        sheet.write_string(row, column, cell)
    return stream.getvalue()


def _unpacked(content: bytes) -> Parts:
    with zipfile.ZipFile(io.BytesIO(content)) as archive:
        return {name: archive.read(name) for name in archive.namelist()}


def _packed(parts: Parts, method: int = zipfile.ZIP_DEFLATED) -> bytes:
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w", method) as archive:
        for name, content in parts.items():
            archive.writestr(name, content)
    return stream.getvalue()


def _sheets(parts: Parts) -> list[str]:
    return sorted(name for name in parts if name.startswith("xl/worksheets/sheet"))


def drop_part(parts: Parts, rng: random.Random) -> None:
    """Leave a part out."""
    del parts[rng.choice(sorted(parts))]


def drop_sheet(parts: Parts, rng: random.Random) -> None:
    """Leave the part of a sheet out, which the workbook still lists."""
    del parts[rng.choice(_sheets(parts))]


def swap_parts(parts: Parts, rng: random.Random) -> None:
    """Swap two parts."""
    one, other = rng.sample(sorted(parts), 2)
    parts[one], parts[other] = parts[other], parts[one]


def empty_part(parts: Parts, rng: random.Random) -> None:
    """Empty a part."""
    parts[rng.choice(sorted(parts))] = b""


def spoil_part(parts: Parts, rng: random.Random) -> None:
    """Change bytes of a part."""
    name = rng.choice([*sorted(parts), *_sheets(parts) * 3, "xl/sharedStrings.xml"])
    change = rng.choice(
        [mutate_text.flip_bit, mutate_text.replace_bytes, mutate_text.delete_span, mutate_text.truncate]
    )
    parts[name] = change(parts[name], rng)


_CELL: Final = re.compile(rb"<c [^>]*?(?:/>|>.*?</c>)")


def _change_cell(parts: Parts, rng: random.Random, change: Callable[[bytes], bytes]) -> None:
    name = rng.choice(_sheets(parts))
    cells = list(_CELL.finditer(parts[name]))
    if cells:
        cell = rng.choice(cells)
        parts[name] = parts[name][: cell.start()] + change(cell[0]) + parts[name][cell.end() :]


def change_value(parts: Parts, rng: random.Random) -> None:
    """Write another value into a cell."""
    value = rng.choice([*mutate_text.NO_NUMBERS, "1e5", "-3", "45.5", "99999", "", "3.0000000000000004"])
    text = value.replace("&", "&amp;").replace("<", "&lt;").encode("utf-8", "replace")
    _change_cell(parts, rng, lambda cell: re.sub(rb"<v>.*?</v>", lambda _: b"<v>" + text + b"</v>", cell))


def change_type(parts: Parts, rng: random.Random) -> None:
    """Say that a cell is of another type."""
    kind = rng.choice([b"s", b"str", b"b", b"e", b"n", b"d", b"inlineStr", b"x"])
    _change_cell(parts, rng, lambda cell: re.sub(rb' t="\w+"', b"", cell).replace(b"<c ", b'<c t="' + kind + b'" ', 1))


def change_place(parts: Parts, rng: random.Random) -> None:
    """Say that a cell or row is at another place."""
    place = rng.choice([b"A1", b"ZZZ9", b"A1048576", b"XFD1", b"", b"7", b"a1", b"A0", b"B2"])
    _change_cell(parts, rng, lambda cell: re.sub(rb'r="\w+"', b'r="' + place + b'"', cell, count=1))


def make_formula(parts: Parts, rng: random.Random) -> None:
    """Turn a cell into a formula, with a value that was worked out before."""
    _change_cell(parts, rng, lambda cell: re.sub(rb"<v>", b"<f>1+1</f><v>", cell))


def drop_cell(parts: Parts, rng: random.Random) -> None:
    """Leave a cell out."""
    _change_cell(parts, rng, lambda _: b"")


def repeat_cell(parts: Parts, rng: random.Random) -> None:
    """Write a cell twice."""
    _change_cell(parts, rng, lambda cell: cell + cell)


def style_far_cell(parts: Parts, rng: random.Random) -> None:
    """Give an empty cell far below, or far to the right, a style."""
    name = rng.choice(_sheets(parts))
    far = rng.choice([b'<row r="1048576"><c r="A1048576" s="0"/></row>', b'<row r="900"><c r="XFD900" s="0"/></row>'])
    parts[name] = parts[name].replace(b"</sheetData>", far + b"</sheetData>")
    if rng.random() < 0.5:
        parts[name] = re.sub(rb'<dimension ref="[^"]*"/>', b'<dimension ref="A1:XFD1048576"/>', parts[name])


_ENTITIES: Final = (
    '<!DOCTYPE x [<!ENTITY a "7"><!ENTITY b "&a;&a;&a;&a;&a;&a;&a;&a;&a;&a;"><!ENTITY c "&b;&b;&b;&b;&b;&b;&b;&b;&b;&b;">'
    '<!ENTITY d "&c;&c;&c;&c;&c;&c;&c;&c;&c;&c;"><!ENTITY e "&d;&d;&d;&d;&d;&d;&d;&d;&d;&d;">'
    '<!ENTITY f "&e;&e;&e;&e;&e;&e;&e;&e;&e;&e;"><!ENTITY g "&f;&f;&f;&f;&f;&f;&f;&f;&f;&f;"]>'
)


def define_entities(parts: Parts, rng: random.Random) -> None:
    """Define entities that grow, or one that names a file, and use them in a cell; in one of several encodings."""
    name = rng.choice([*_sheets(parts), "xl/sharedStrings.xml", "xl/workbook.xml"])
    entities = rng.choice(
        [_ENTITIES, '<!DOCTYPE x [<!ENTITY g SYSTEM "file:///etc/hostname">]>', '<!DOCTYPE x [<!ENTITY g "7">]>']
    )
    text = parts[name].decode("utf-8")
    body = text.partition("?>")[2] if text.startswith("<?xml") else text
    body = re.sub(r"(<v>|<t[^>]*>)", r"\1&g;", body, count=1)
    encoding = rng.choice(["utf-8", "utf-16", "utf-16-le", "utf-7", "cp037"])
    mark = "\ufeff" if encoding == "utf-16-le" else ""
    parts[name] = f'{mark}<?xml version="1.0" encoding="{encoding}"?>{entities}{body}'.encode(encoding)


def rename_sheet(parts: Parts, rng: random.Random) -> None:
    """Give a sheet another name, that of another, or hide it."""
    names = re.findall(rb'<sheet name="(\w+)"', parts["xl/workbook.xml"])
    one = rng.choice(names)
    other = rng.choice([*names, b"Sheet1", b"(help)", one.upper(), one + b" 2", b'x" state="hidden'])
    parts["xl/workbook.xml"] = parts["xl/workbook.xml"].replace(b'name="' + one + b'"', b'name="' + other + b'"')


def fill_with_blanks(parts: Parts, rng: random.Random) -> None:
    """Add a part that unpacks to very much."""
    parts[rng.choice(["xl/blank.xml", "xl/worksheets/sheet9.xml"])] = b" " * rng.choice([5_000_000, 40_000_000])


OF_PARTS: Final = (
    *(drop_part, drop_sheet, swap_parts, empty_part, spoil_part, spoil_part, change_value, change_value, change_type),
    *(
        change_place,
        make_formula,
        drop_cell,
        repeat_cell,
        style_far_cell,
        define_entities,
        rename_sheet,
        fill_with_blanks,
    ),
)
OF_BYTES: Final = (
    *(mutate_text.flip_bit, mutate_text.replace_bytes, mutate_text.delete_span, mutate_text.insert_bytes),
    *(mutate_text.repeat_span, mutate_text.truncate),
)


def mutate(content: bytes, rng: random.Random) -> tuple[bytes, str]:
    """Return a spoilt workbook and what was done."""
    if rng.random() < 0.25:
        change = rng.choice(OF_BYTES)
        return change(content, rng), f"archive: {change.__name__}"
    parts = _unpacked(content)
    spoil = rng.choice(OF_PARTS)
    spoil(parts, rng)
    return _packed(parts, rng.choice([zipfile.ZIP_DEFLATED, zipfile.ZIP_STORED])), spoil.__name__
