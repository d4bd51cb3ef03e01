"""What the record remembers about an instrument: the layouts of its files, their names, and its kind.

Nothing is stored for it: every download has the whole layout that its file was read with. So next month's file is read
as the last one was, whatever its neighbours in the folder look like.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from functools import cached_property
from pathlib import Path
from typing import Final

import pandas as pd

from gwnet.clock import zone_of
from gwnet.errors import IngestError
from gwnet.ingest.loggers.careful import Careful, Oddities
from gwnet.ingest.loggers.layout import Layout, parse_layout
from gwnet.ingest.loggers.plan import SAMPLE, Plan, fit
from gwnet.ingest.loggers.text import Head, read_head
from gwnet.store.fetch import programme as fetch_programme
from gwnet.store.fetch import samples as fetch_samples
from gwnet.store.fetch.registry import sites
from gwnet.store.session import Store

#: What the pressure is that an instrument of a kind measures.
PRESSURE_OF_KIND: Final[dict[str, str]] = {
    "absolute pressure logger": "absolute pressure",
    "vented pressure logger": "water pressure",
    "barometer": "air pressure",
}

#: Dates and times in the names of files, and the numbers of further copies. Other numbers may be those of wells.
_CHANGING: Final = re.compile(
    r"(?<![0-9])(?:19|20)\d\d(?:[-_.]?\d\d){1,5}(?![0-9])|(?<![0-9])\d{1,2}[-_.]\d{1,2}[-_.](?:19|20)\d\d(?![0-9])"
    r"|\s*\(\d+\)$"
)


@dataclass(frozen=True)
class Remembered:
    """A layout that files of an instrument were read with.

    Attributes
    ----------
    instrument : str
        Code of the instrument.
    layout : gwnet.ingest.loggers.layout.Layout
        The layout as it is on record.
    quantities : frozenset of str
        What the file gave.
    file : str
        The newest file that was read so.
    """

    instrument: str
    layout: Layout
    quantities: frozenset[str]
    file: str


@dataclass(frozen=True)
class Known:
    """What is on record about instruments and the files that were loaded.

    Attributes
    ----------
    instruments, downloads : pandas.DataFrame
        As `gwnet.store.fetch.programme.instruments` and `gwnet.store.fetch.samples.downloads`.
    zones : dict of str to set of str
        Time zones of the sites at which each instrument was installed; under no name those of all sites.
    """

    instruments: pd.DataFrame
    downloads: pd.DataFrame
    zones: dict[str, set[str]] = field(default_factory=dict)

    @cached_property
    def remembered(self) -> tuple[Remembered, ...]:
        """Return the layouts of the files of each instrument, the newest first."""
        table = self.downloads[self.downloads["layout_text"].fillna("") != ""]
        layouts: dict[tuple[str, Layout], Remembered] = {}
        for (text, code, file), rows in reversed(
            list(table.groupby(["layout_text", "instrument", "file"], sort=False))
        ):
            try:
                layout = parse_layout(str(text), where="layout on record")
            except IngestError:
                # written by another version; the file is looked at afresh
                continue
            # A layout under two names reads alike.
            key = (str(code), replace(layout, name="", about=""))
            layouts.setdefault(key, Remembered(str(code), layout, frozenset(rows["quantity"]), str(file)))
        return tuple(layouts.values())

    def instrument_of(self, serial: str | None, name: str) -> str:
        """Return the instrument that a file is of, by its serial number or else by its name; empty where unknown.

        Parameters
        ----------
        serial : str or None
            Serial number that the file gives.
        name : str
            Name of the file.
        """
        if serial:
            mine = self.instruments[self.instruments["serial"].map(plain_serial) == plain_serial(serial)]
            # Serial numbers are of a maker; two instruments may share one.
            return str(mine["instrument"].iloc[0]) if len(mine) == 1 else ""
        return self.instrument_by_name(name)

    def instrument_by_name(self, name: str) -> str:
        """Return the only instrument with files of such a name on record, or whose code stands in it; else empty.

        Parameters
        ----------
        name : str
            Name of the file. Dates in it do not matter.
        """
        own = self.downloads["file"].map(name_without_dates)
        codes = set(self.downloads["instrument"][own == name_without_dates(name)])
        if not codes:
            words = re.split(r"[^0-9a-z-]+", Path(name).stem.casefold())
            known = map(str, self.instruments["instrument"])
            # a bare number in a name may be anything
            codes = {code for code in known if code.casefold() in words and not code.isdigit()}
        return str(codes.pop()) if len(codes) == 1 else ""

    def pressure_of(self, code: str) -> str:
        """Return what the pressure is that an instrument measures, by its kind; empty where its kind does not say."""
        kinds = self.instruments["kind"][self.instruments["instrument"] == code]
        return PRESSURE_OF_KIND.get(str(kinds.iloc[0]), "") if len(kinds) else ""

    def length_unit_of(self, code: str) -> str:
        """Return the unit of length of an instrument on record; empty for none."""
        units = self.instruments["length_unit"][self.instruments["instrument"] == code]
        return "" if units.empty or pd.isna(units.iloc[0]) else str(units.iloc[0])

    def fixed_zone_of(self, code: str) -> str:
        """Return the zone of the site of an instrument, where it keeps one offset all year; else empty.

        Parameters
        ----------
        code : str
            The instrument; of one that was never installed all sites count.
        """
        # An instrument that was never installed may be of any site.
        zones = self.zones.get(code) or self.zones.get("", set())
        (zone, *others) = sorted(zones) or [""]
        # Only a zone of one offset knows it without a moment.
        return zone if zone and not others and zone_of(zone).utcoffset(None) is not None else ""

    def choose(
        self, path: Path, instrument: str | None, *, zone: str, only: str, must_read: bool = True
    ) -> Remembered | None:
        """Return the newest layout of the instrument of a file that reads the file's first rows, None for none.

        Parameters
        ----------
        path : pathlib.Path
            The file.
        instrument : str or None
            The instrument; found by the serial number or the name of the file unless given.
        zone, only : str
            What is asked for beside the layout.
        must_read : bool, optional
            Whether all of the first rows must be read; else it is enough that headings and columns fit.
        """
        heads: dict[tuple[str, str], Head | None] = {}
        for each in self.remembered:
            layout = each.layout
            if (instrument not in (None, each.instrument)) or (zone and layout.zone not in {"", zone}):
                continue
            # Heads are read once for all layouts: a network has hundreds of them, and few encodings.
            kind = (layout.encoding, layout.sheet)
            if kind not in heads:
                heads[kind] = _head_of(path, *kind)
            head = heads[kind]
            plan = _fitted(layout, head, zone, only) if head is not None else None
            if head is None or plan is None or (must_read and not _reads(plan, head)):
                continue
            if instrument is not None or self.instrument_of(plan.serial, path.name) == each.instrument:
                given = {column.quantity for column in plan.columns}
                # a lone column that was said to be something else
                return each if each.quantities & given or len(each.quantities) == 1 else None
        return None


def read_known(store: Store) -> Known:
    """Return what is on record about instruments and the files that were loaded.

    Parameters
    ----------
    store : gwnet.store.session.Store
        Open database.
    """
    with store.reading() as connection:
        table = sites(connection)
        of_site = dict(zip(table["site"], table["time_zone"], strict=True))
        zones = {"": set(map(str, of_site.values()))}
        for row in fetch_samples.deployments(connection).itertuples():
            zones.setdefault(str(row.instrument), set()).add(str(of_site[row.site]))
        return Known(fetch_programme.instruments(connection), fetch_samples.downloads(connection), zones)


def plain_serial(serial: object) -> str:
    """Return a serial number as it is compared."""
    return str(serial or "").strip().casefold()


def name_without_dates(name: object) -> str:
    """Return the name of a file without its dates.

    Parameters
    ----------
    name : str
        Name of the file.

    Examples
    --------
    >>> name_without_dates("N-3_2026-04-07.csv") == name_without_dates("N-3_2026-05-04.csv")
    True
    >>> name_without_dates("N-3_2026-04.csv") == name_without_dates("N-4_2026-04.csv")
    False
    """
    path = Path(str(name or ""))
    return f"{_CHANGING.sub('*', path.stem)}{path.suffix}".casefold()


def _head_of(path: Path, encoding: str, sheet: str) -> Head | None:
    try:
        return read_head(path, encoding, sheet)
    except IngestError:
        return None


def _fitted(layout: Layout, head: Head, zone: str, only: str) -> Plan | None:
    try:
        return fit(layout, head, zone=zone, only=only)
    except IngestError:
        return None


def _reads(plan: Plan, head: Head) -> bool:
    """Return whether the first rows of a file are read, and none of them cannot be."""
    odd = Oddities()
    lines = list(_first_lines(plan, head))
    rows = Careful(plan, odd).read(lines, range(plan.first_line, plan.first_line + len(lines)))
    return bool(rows.row.size) and not odd.counts["bad"]


def _first_lines(plan: Plan, head: Head) -> Iterator[str]:
    yield from head.lines[plan.first_line - 1 : plan.first_line - 1 + SAMPLE]
