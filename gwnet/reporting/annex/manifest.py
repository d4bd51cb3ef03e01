"""The manifest beside a report: what it was made from and the digest of everything that was made."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from typing import Any

from gwnet.figures.base.archive import ARCHIVAL, PLAIN
from gwnet.reporting.content import Cell, Column, Group, Report, Table, cell_text, numbered
from gwnet.reporting.pdf.render import RenderedReport
from gwnet.reporting.view import ReportView


def manifest_json(
    view: ReportView,
    *,
    program_version: str,
    schema_revision: str,
    rendered: RenderedReport,
    files: Mapping[str, bytes],
) -> bytes:
    """Return the manifest of a report.

    Parameters
    ----------
    view : ReportView
        The report's look at the record.
    program_version, schema_revision : str
        Version of the program and revision of the database.
    rendered : RenderedReport
        The report as PDF, with its figures.
    files : mapping of str to bytes
        The report and its annex by file name.

    Returns
    -------
    bytes
        JSON in UTF-8 with sorted keys; holds no clock time and no path, so that a second run gives the same bytes.
    """
    definition, period, reviews, known_on = view.definition, view.period, view.reviews, view.data.known_on
    content: dict[str, Any] = {
        "program": {"name": "gwnet", "version": program_version},
        "schema_revision": schema_revision,
        "site": view.data.site.code,
        "definition": {"name": definition.name, "sha256": definition.sha256},
        "inputs": dict(definition.inputs),
        "period": {"label": period.label, "first": period.first.isoformat(), "last": period.last.isoformat()},
        "known_on_utc": known_on.recorded_at_utc.isoformat(),
        "record_state": {"number": known_on.serial, "digest": known_on.digest},
        "unit": view.measures.unit,
        "decimals": view.measures.decimals,
        "rounds": [gauging.code for gauging in view.in_period],
        "state": reviews.state,
        "reviews": {
            "levels": reviews.total,
            "approved": reviews.approved,
            "provisional": reviews.provisional,
            "on_hold": reviews.on_hold,
            "rejected": reviews.rejected,
        },
        "pdf": {
            "pages": rendered.pages,
            "conformance": ARCHIVAL if rendered.archival else PLAIN,
            **({"not_archival_because": rendered.reason} if rendered.reason else {}),
        },
        "sources": [
            {"name": str(row["name"]), "sha256": str(row["sha256"]), "rows": int(row["rows"])}
            for row in view.data.sources.to_dict("records")
        ],
        "figures": {key: _digest(figure) for key, figure in rendered.figures.items()},
        "files": {name: {"sha256": _digest(file), "bytes": len(file)} for name, file in files.items()},
    }
    return (json.dumps(content, indent=2, sort_keys=True, ensure_ascii=False) + "\n").encode(
        "utf-8", "backslashreplace"
    )


def _digest(content: bytes) -> str:
    return hashlib.sha256(content).hexdigest()


def printed_values(report: Report) -> list[dict[str, str]]:
    """Return every value that the tables of a report print, so that a later report can tell what has changed.

    Returns
    -------
    list of dict
        One a cell with a value: table, row (texts of the cells that identify it, and its place among rows that share
        them), column, unit, printed. Lists of what was noticed or done are left out.
    """
    values: list[dict[str, str]] = []
    for table in numbered(report).tables():
        if table.compared:
            values.extend(_table_values(table))
    return values


def _table_values(table: Table) -> list[dict[str, str]]:
    values: list[dict[str, str]] = []
    seen: dict[str, int] = {}
    headings = _headings(table)
    for row in table.rows:
        if isinstance(row, Group):
            continue
        leading = zip(row[: table.identified_by], table.columns, strict=False)
        name = ", ".join(_plain(cell, column) for cell, column in leading)
        seen[name] = seen.get(name, 0) + 1
        # Two readings of a well on one day share their texts; without the number one would hide the other.
        name = name if seen[name] == 1 else f"{name} #{seen[name]}"
        for cell, column, heading in zip(row, table.columns, headings, strict=True):
            values.append(
                {
                    "table": table.key,
                    "row": name,
                    "column": heading,
                    "unit": column.unit,
                    "printed": _plain(cell, column),
                }
            )
    return values


def _plain(cell: Cell, column: Column) -> str:
    """Return the text of a cell with plain spaces."""
    # Blanks are a matter of the print: one that is set otherwise later would be listed as a changed value.
    return cell_text(cell, column).replace("\N{NO-BREAK SPACE}", " ")


def _headings(table: Table) -> list[str]:
    """Return the name of each column; that of a half-width after the column it belongs to, so that none is twice."""
    names: list[str] = []
    for column in table.columns:
        name = f"{column.group}: {column.heading}" if column.group else column.heading
        names.append(f"{name} of {names[-1]}" if column.heading == "±" and names else name)
    return names
