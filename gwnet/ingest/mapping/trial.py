"""What files would give by a mapping, without a record: columns with their first values, unused and missing ones."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final

import pandas as pd

from gwnet.ingest.mapping.apply import Applied, MappedTable, apply_mapping
from gwnet.ingest.mapping.grids import read_source
from gwnet.ingest.mapping.mapping import Mapping, read_mapping
from gwnet.ingest.mapping.point_rows import PointChange
from gwnet.ingest.mapping.propose import Known, Proposal, open_checks, propose_mapping
from gwnet.records import Rejection
from gwnet.store.contract import BY_NAME

#: First values of a column that are shown.
_SHOWN: Final = 3
COLUMNS: Final[tuple[str, ...]] = ("file", "source_column", "target", "rows", "filled", "first_values")


@dataclass(frozen=True)
class Trial:
    """What files would give.

    Attributes
    ----------
    mapping : gwnet.ingest.mapping.mapping.Mapping
        The mapping.
    proposal : gwnet.ingest.mapping.propose.Proposal or None
        The proposal that it comes from.
    applied : gwnet.ingest.mapping.apply.Applied
        Tables that it makes.
    checks : tuple of str
        Lines of the mapping that are open.
    columns : pandas.DataFrame
        One row a column of ours, with what it is made of; see `COLUMNS`.
    missing : list of str
        Columns of ours that are needed and that nothing fills.
    """

    mapping: Mapping
    proposal: Proposal | None
    applied: Applied
    checks: tuple[str, ...]
    columns: pd.DataFrame
    missing: list[str] = field(default_factory=list)

    @property
    def changes(self) -> list[PointChange]:
        """Return the measuring points that are dated by their changes."""
        return [change for table in self.applied.tables for change in table.changes]

    @property
    def rejections(self) -> list[Rejection]:
        """Return the problems of rows that the mapping cannot read; loading finds others."""
        return [
            rejection for table in self.applied.tables for _, sheet in table.sheets for rejection in sheet.rejections
        ]

    @property
    def remarks(self) -> list[str]:
        """Return what was passed over, joined or set aside."""
        return list(dict.fromkeys(remark for table in self.applied.tables for remark in table.remarks))


def try_files(
    addresses: Sequence[str],
    *,
    mapping: str | Path | Mapping | None = None,
    query: str = "",
    known: Known | None = None,
) -> Trial:
    """Look at files with a mapping, or with the one that looking proposes, and store nothing.

    Parameters
    ----------
    addresses : sequence of str
        Files, or the address of a database.
    mapping : path or gwnet.ingest.mapping.mapping.Mapping, optional
        The mapping; one is proposed unless given.
    query : str, optional
        The SQL, for a database.
    known : gwnet.ingest.mapping.propose.Known, optional
        What is said beforehand of the site, for a proposal.

    Returns
    -------
    Trial
        What the files would give.

    Raises
    ------
    gwnet.errors.IngestError
        If a file cannot be read, nothing is recognised in it, or the mapping does not fit.
    """
    files = [read_source(address, query) for address in addresses]
    proposal = None
    if mapping is None:
        proposal = propose_mapping(files, known or Known())
        used = proposal.mapping
    else:
        used = mapping if isinstance(mapping, Mapping) else read_mapping(mapping)
    if proposal is not None:  # files without a table of ours are named in the reasons
        names = {source.file for source in used.sources.values()}
        # A file that no source takes would stop the mapping; when it is proposed, that is a note and no error.
        files = [file for file in files if any(_is_named(file.name, name) for name in names)]
    applied = apply_mapping(used, files)
    return Trial(used, proposal, applied, tuple(open_checks(used.text)), show_columns(applied), _missing(applied))


def _is_named(name: str, pattern: str) -> bool:
    from fnmatch import fnmatch

    return name == pattern or fnmatch(name.lower(), pattern.lower())


def show_columns(applied: Applied) -> pd.DataFrame:
    """Return what each column of ours is made of, with its first values.

    Parameters
    ----------
    applied : gwnet.ingest.mapping.apply.Applied
        What a mapping made.

    Returns
    -------
    pandas.DataFrame
        See `COLUMNS`.
    """
    rows = [row for table in applied.tables for row in _rows_of(table)]
    return pd.DataFrame(rows, columns=list(COLUMNS))


def _rows_of(table: MappedTable) -> list[tuple[str, str, str, int, int, str]]:
    rows = []
    for _, sheet in table.sheets:
        for place, heading in enumerate(sheet.headings):
            name = heading.partition(" [")[0]
            cells = [row[place] for row in sheet.rows]
            first = list(dict.fromkeys(cell for cell in cells if cell))[:_SHOWN]
            origin = sheet.origins[name][0]
            shown = "" if origin == name and table.plan.table not in sheet.file else origin
            rows.append(
                (
                    sheet.file,
                    shown or "",
                    f"{table.plan.table}.{heading}",
                    len(cells),
                    sum(map(bool, cells)),
                    ", ".join(first),
                )
            )
    return rows


def _missing(applied: Applied) -> list[str]:
    """Return the columns that a table needs and that are empty in all its rows."""
    missing = []
    for table in applied.tables:
        ours = BY_NAME[table.plan.table]
        filled = {
            heading.partition(" [")[0]
            for _, sheet in table.sheets
            for place, heading in enumerate(sheet.headings)
            if any(row[place] for row in sheet.rows)
        }
        required, groups = ours.required()
        missing += [f"{ours.name}.{name}" for name in required if name not in filled]
        for group in groups:
            if not any(filled.issuperset(way) for way in group):
                missing.append(f"{ours.name}.{' or '.join(' and '.join(way) for way in group)}")
    return missing
