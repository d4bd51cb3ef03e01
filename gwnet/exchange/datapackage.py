"""The record as a Data Package (datapackage.org, version 2): CSV, and what each column, key and reference is."""

from __future__ import annotations

import csv
import hashlib
import json
from pathlib import Path
from typing import Any, Final

import pandas as pd

from gwnet.exchange.extract import Extract
from gwnet.exchange.registry import register_format
from gwnet.exchange.tables import ExportColumn, ExportTable, export_tables
from gwnet.version import PROGRAM

_PROFILE: Final = "https://datapackage.org/profiles/2.0/datapackage.json"
_TYPES: Final = {
    "text": "string",
    "number": "number",
    "whole": "integer",
    "flag": "boolean",
    "date": "date",
    "instant": "datetime",
}
_SECONDS: Final = "%Y-%m-%dT%H:%M:%SZ"
_FRACTIONS: Final = "%Y-%m-%dT%H:%M:%S.%fZ"

#: Folders of the tables that `gwnet load` takes, and of those that were worked out from them.
GIVEN, WORKED_OUT = "data", "derived"


@register_format(
    "datapackage",
    "every table that can be loaded, as it is on record, in `data`, which `gwnet load` takes back; reduced levels and "
    "the files of loggers in `derived`; `datapackage.json` with type, unit and meaning of every column, keys and "
    "references",
    ending="",
)
def write_datapackage(extract: Extract, path: Path) -> None:
    """Write the tables of an extract as a Data Package.

    Parameters as `gwnet.exchange`.

    Notes
    -----
    CSV in UTF-8 with CRLF ends of lines, decimal points, and numbers in full; empty cells are not known. Text is as it
    is on record: a spreadsheet program may run what begins with a sign of a formula, so give those the workbook.
    Samples of loggers are in the export `parquet`.
    """
    resources = []
    for table in export_tables(extract):
        folder = GIVEN if table.is_given else WORKED_OUT
        (path / folder).mkdir(exist_ok=True)
        file = path / folder / f"{table.name}.csv"
        _write_csv(table, file)
        resources.append(_resource(table, file, f"{folder}/{file.name}"))
    # The state of the record, not the clock, so that one state gives one package byte for byte.
    moment = extract.recorded_at_utc
    package = {
        "$schema": _PROFILE,
        "name": "groundwater-record",
        "title": "Groundwater record",
        "description": (
            f"Record as known on {extract.state_text}. Lengths are in the unit that ends the names of their columns, "
            "times in UTC where these end in _utc. Depths are positive downward, elevations positive upward. An empty "
            "cell is not known."
        ),
        "created": moment.strftime(_SECONDS),
        "version": str(extract.record.state.serial if extract.record.state else 0),
        "generator": PROGRAM,
        "resources": resources,
    }
    text = json.dumps(package, indent=2, ensure_ascii=False) + "\n"
    (path / "datapackage.json").write_text(text, encoding="utf-8", newline="\n")


def _write_csv(table: ExportTable, file: Path) -> None:
    columns = [_cells(table.frame[column.name], column) for column in table.columns]
    with file.open("w", encoding="utf-8", newline="") as target:
        # The line end of RFC 4180, whatever the machine, so that the hashes in the description are the same everywhere.
        writer = csv.writer(target, lineterminator="\r\n")
        writer.writerow([column.name for column in table.columns])
        writer.writerows(zip(*columns, strict=True))


def _cells(values: pd.Series[Any], column: ExportColumn) -> list[Any]:
    """Return the cells of a column as text and numbers; nothing where a value is not known."""
    if column.kind == "instant":
        form = _instant_format(values)
        return ["" if value is pd.NaT else value.strftime(form) for value in values.dt.tz_convert("UTC")]
    if column.kind == "flag":
        return ["true" if value else "false" for value in values]
    # Whole numbers with gaps are floats in pandas; written as they are, they would end in .0 and not be integers.
    missing = values.isna().tolist()
    if column.kind == "date":
        return ["" if no else value.isoformat() for value, no in zip(values, missing, strict=True)]
    if column.kind == "whole":
        return ["" if no else int(value) for value, no in zip(values, missing, strict=True)]
    return ["" if no else value for value, no in zip(values.tolist(), missing, strict=True)]


def _instant_format(values: pd.Series[Any]) -> str:
    known = values.dropna()
    # One form a column: a field of a Data Package has one format, and a second form would not be read by it.
    return _FRACTIONS if len(known) and bool((known.dt.microsecond != 0).any()) else _SECONDS


def _resource(table: ExportTable, file: Path, path: str) -> dict[str, Any]:
    content = file.read_bytes()
    schema: dict[str, Any] = {
        "fields": [_field(column, table.frame[column.name]) for column in table.columns],
        "missingValues": [""],
    }
    # A key with an empty cell is none to programs that check it, and they would refuse the whole package.
    if table.key and not any(_has_empty(table.frame[name]) for name in table.key):
        schema["primaryKey"] = list(table.key)
    if table.references:
        schema["foreignKeys"] = [
            {"fields": list(own), "reference": {"resource": other.replace("_", "-"), "fields": list(target)}}
            for own, other, target in table.references
        ]
    return {
        "name": table.name.replace("_", "-"),
        "title": table.title,
        "path": path,
        "type": "table",
        "format": "csv",
        "mediatype": "text/csv",
        "encoding": "utf-8",
        "bytes": len(content),
        "hash": f"sha256:{hashlib.sha256(content).hexdigest()}",
        "dialect": {"delimiter": ",", "lineTerminator": "\r\n", "header": True},
        "schema": schema,
    }


def _has_empty(values: pd.Series[Any]) -> bool:
    return bool(values.isna().any() or (values.astype(object) == "").any())


def _field(column: ExportColumn, values: pd.Series[Any]) -> dict[str, Any]:
    field: dict[str, Any] = {"name": column.name, "type": _TYPES[column.kind]}
    if column.kind == "instant":
        field["format"] = _instant_format(values)
    if column.unit and column.kind == "number":
        field["unit"] = column.unit
    if column.meaning:
        field["description"] = column.meaning
    constraints: dict[str, Any] = {}
    # Older records may lack what is required today; a constraint that the data break would make the package invalid.
    if column.required and not _has_empty(values):
        constraints["required"] = True
    if column.choices:
        constraints["enum"] = list(column.choices)
    return field | ({"constraints": constraints} if constraints else {})
