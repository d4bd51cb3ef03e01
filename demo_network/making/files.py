"""Writing of tables as CSV and workbook and of TOML, with the same bytes every time."""

from __future__ import annotations

import csv
import datetime as dt
import io
import zipfile
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path
from typing import Any
from xml.sax.saxutils import escape

Row = Mapping[str, Any]


@dataclass(frozen=True)
class Style:
    """How a CSV file is written."""

    delimiter: str = ","
    encoding: str = "utf-8"
    decimal_comma: bool = False
    dotted_dates: bool = False
    centimetres: tuple[str, ...] = ()  # columns of lengths that are written in centimetres


def _heading(column: str, units: Mapping[str, str], style: Style) -> str:
    unit = "cm" if column in style.centimetres else units.get(column, "")
    return f"{column} [{unit}]" if unit else column


def _cell(value: Any, column: str, style: Style) -> str:
    if value is None or value == "":
        return ""
    if column in style.centimetres:
        value = (Decimal(value) * 100).quantize(Decimal("0.1"))
    if isinstance(value, Decimal):
        return str(value).replace(".", ",") if style.decimal_comma else str(value)
    if isinstance(value, dt.date):
        return value.strftime("%d.%m.%Y") if style.dotted_dates else value.isoformat()
    return str(value)


def write_csv(
    path: Path,
    columns: Sequence[str],
    rows: Iterable[Row],
    units: Mapping[str, str] | None = None,
    style: Style = Style(),
) -> None:
    """Write a table as delimited text."""
    made = io.StringIO()
    writer = csv.writer(made, delimiter=style.delimiter, lineterminator="\n")
    writer.writerow([_heading(column, units or {}, style) for column in columns])
    for row in rows:
        writer.writerow([_cell(row.get(column), column, style) for column in columns])
    path.write_bytes(made.getvalue().encode(style.encoding))


_TYPES = """<Types xmlns="http://schemas.openxmlformats.org/package/2006/content-types">
<Default Extension="rels" ContentType="application/vnd.openxmlformats-package.relationships+xml"/>
<Default Extension="xml" ContentType="application/xml"/>
<Override PartName="/xl/workbook.xml"
 ContentType="application/vnd.openxmlformats-officedocument.spreadsheetml.sheet.main+xml"/>
<Override PartName="/xl/styles.xml"
 ContentType="application/vnd.openxmlformats-officedocument.spreadsheetml.styles+xml"/>
{sheets}</Types>
"""
_STYLES = """<styleSheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main">
<fonts count="1"><font><sz val="11"/></font></fonts>
<fills count="2"><fill><patternFill patternType="none"/></fill><fill><patternFill patternType="gray125"/></fill></fills>
<borders count="1"><border/></borders>
<cellStyleXfs count="1"><xf numFmtId="0" fontId="0" fillId="0" borderId="0"/></cellStyleXfs>
<cellXfs count="2"><xf numFmtId="0" fontId="0" fillId="0" borderId="0" xfId="0"/>
<xf numFmtId="14" fontId="0" fillId="0" borderId="0" xfId="0" applyNumberFormat="1"/></cellXfs>
<cellStyles count="1"><cellStyle name="Normal" xfId="0" builtinId="0"/></cellStyles>
</styleSheet>
"""
_MAIN = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
_RELATED = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
_PACKAGE = "http://schemas.openxmlformats.org/package/2006/relationships"
_FIRST_SERIAL = dt.date(1899, 12, 30)


def _relations(targets: Sequence[tuple[str, str]]) -> str:
    made = f'<Relationships xmlns="{_PACKAGE}">\n'
    for number, (kind, target) in enumerate(targets, start=1):
        made += f'<Relationship Id="rId{number}" Type="{_RELATED}/{kind}" Target="{target}"/>\n'
    return made + "</Relationships>\n"


def _workbook_cell(place: str, value: Any) -> str:
    if value is None or value == "":
        return ""
    if isinstance(value, dt.date):
        return f'<c r="{place}" s="1"><v>{(value - _FIRST_SERIAL).days}</v></c>'
    if isinstance(value, (Decimal, int)):
        return f'<c r="{place}"><v>{value}</v></c>'
    return f'<c r="{place}" t="inlineStr"><is><t>{escape(str(value))}</t></is></c>'


def _sheet(columns: Sequence[str], rows: Iterable[Row], units: Mapping[str, str]) -> str:
    lines: list[list[Any]] = [[_heading(column, units, Style()) for column in columns]]
    lines += [[row.get(column) for column in columns] for row in rows]
    made = f'<worksheet xmlns="{_MAIN}"><sheetData>\n'
    for number, line in enumerate(lines, start=1):
        cells = "".join(_workbook_cell(f"{chr(65 + place)}{number}", value) for place, value in enumerate(line))
        made += f'<row r="{number}">{cells}</row>\n'
    return made + "</sheetData></worksheet>\n"


def write_workbook(path: Path, sheets: Mapping[str, tuple[Sequence[str], Sequence[Row], Mapping[str, str]]]) -> None:
    """Write a workbook with one sheet a table, uncompressed and without any time, so that its bytes never change."""
    names = list(sheets)
    sheet_type = "application/vnd.openxmlformats-officedocument.spreadsheetml.worksheet+xml"
    types = "".join(
        f'<Override PartName="/xl/worksheets/sheet{number}.xml" ContentType="{sheet_type}"/>\n'
        for number in range(1, len(names) + 1)
    )
    listed = "".join(
        f'<sheet name="{escape(name)}" sheetId="{number}" r:id="rId{number}"/>'
        for number, name in enumerate(names, start=1)
    )
    targets = [("worksheet", f"worksheets/sheet{number}.xml") for number in range(1, len(names) + 1)]
    parts = {
        "[Content_Types].xml": _TYPES.format(sheets=types),
        "_rels/.rels": _relations([("officeDocument", "xl/workbook.xml")]),
        "xl/workbook.xml": f'<workbook xmlns="{_MAIN}" xmlns:r="{_RELATED}"><sheets>{listed}</sheets></workbook>\n',
        "xl/_rels/workbook.xml.rels": _relations([*targets, ("styles", "styles.xml")]),
        "xl/styles.xml": _STYLES,
    }
    for number, name in enumerate(names, start=1):
        parts[f"xl/worksheets/sheet{number}.xml"] = _sheet(*sheets[name])
    made = io.BytesIO()
    with zipfile.ZipFile(made, "w", zipfile.ZIP_STORED) as archive:
        for name, text in parts.items():
            member = zipfile.ZipInfo(name, (1980, 1, 1, 0, 0, 0))
            member.create_system = 3
            member.external_attr = 0o600 << 16
            archive.writestr(member, '<?xml version="1.0" encoding="UTF-8" standalone="yes"?>\n' + text)
    path.write_bytes(made.getvalue())


def _toml_value(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, (int, float)):
        return repr(value + 0.0 if isinstance(value, float) else value)
    if isinstance(value, (list, tuple)):
        return "[" + ", ".join(_toml_value(item) for item in value) + "]"
    if isinstance(value, dt.datetime):
        return value.strftime("%Y-%m-%dT%H:%M:%SZ")
    if isinstance(value, dt.date):
        return value.isoformat()
    text = str(value).replace("\\", "\\\\").replace('"', '\\"')
    return f'"{text}"'


def _toml_key(key: str) -> str:
    bare = key.isascii() and key.replace("_", "").replace("-", "").isalnum()
    return key if bare else _toml_value(key)


def _is_tables(value: Any) -> bool:
    return isinstance(value, list) and bool(value) and all(isinstance(item, Mapping) for item in value)


def toml_text(values: Mapping[str, Any], above: str = "") -> str:
    """Return a mapping as TOML: plain keys first, then tables and arrays of tables."""
    plain = {key: value for key, value in values.items() if not isinstance(value, Mapping) and not _is_tables(value)}
    made = "".join(f"{_toml_key(key)} = {_toml_value(value)}\n" for key, value in plain.items())
    for key, value in values.items():
        name = f"{above}{key}"
        if isinstance(value, Mapping):
            made += f"\n[{name}]\n{toml_text(value, name + '.')}"
        elif _is_tables(value):
            for item in value:
                made += f"\n[[{name}]]\n{toml_text(item, name + '.')}"
    return made
