"""The tables of an export: those that can be loaded, as they are on record, and those that are worked out from them."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import pandas as pd

from gwnet.analysis.levels.column_meanings import COLUMN_MEANINGS
from gwnet.analysis.pumping.readings import readings_of_tests
from gwnet.clock import zone_of
from gwnet.exchange.extract import Extract
from gwnet.store.columns import Column, Table
from gwnet.store.contract import BY_NAME, LIMIT_QUANTITIES, TABLES
from gwnet.store.fetch import levels as fetch_levels
from gwnet.store.fetch import registry, samples
from gwnet.units import metres_per

#: Kinds of columns in an export, by the kinds of columns of tables; the others are text.
_KINDS: Final[dict[str, str]] = {
    "length": "number",
    "coordinate": "number",
    "number": "number",
    "whole": "whole",
    "duration": "number",
    "rate": "number",
    "date": "date",
    "timestamp": "instant",
}

#: Tables and columns that a column of codes refers to, where they stand in an export.
_REFERENCES: Final[dict[str, tuple[str, tuple[str, ...]]]] = {
    "site": ("sites", ("site",)),
    "well": ("wells", ("site", "well")),
    "aquifer": ("aquifers", ("aquifer",)),
    "instrument": ("instruments", ("instrument",)),
    "gauging_round": ("rounds", ("site", "round")),
    "pumping_test": ("pumping_tests", ("site", "test")),
}

#: Columns that say when a row was measured, in this order.
_MEASURED: Final = ("measured_at", "date", "time")


@dataclass(frozen=True)
class ExportColumn:
    """A column of an export.

    Attributes
    ----------
    name : str
        Heading; lengths end in their unit, instants in ``_utc``.
    kind : str
        ``text``, ``number``, ``whole``, ``flag``, ``date`` or ``instant``.
    unit : str
        Unit, empty for none.
    meaning : str
        What it holds, as a sentence; empty where the name says it all.
    required : bool
        Whether it is never empty.
    choices : tuple of str
        Words that it may hold; any unless given.
    """

    name: str
    kind: str
    unit: str = ""
    meaning: str = ""
    required: bool = False
    choices: tuple[str, ...] = ()


@dataclass(frozen=True)
class ExportTable:
    """A table of an export.

    Attributes
    ----------
    name : str
        Its name; that of a table that can be loaded where it is one.
    title : str
        What one row is, as a sentence.
    columns : tuple of ExportColumn
        Its columns.
    frame : pandas.DataFrame
        Its rows; text is never missing, numbers, dates and instants may be.
    key : tuple of str
        Columns that say which row is meant; empty where a row has no key.
    references : tuple of tuple
        Columns, and the table and columns that they refer to.
    is_given : bool
        Whether it can be loaded; otherwise it is worked out.
    """

    name: str
    title: str
    columns: tuple[ExportColumn, ...]
    frame: pd.DataFrame
    key: tuple[str, ...] = ()
    references: tuple[tuple[tuple[str, ...], str, tuple[str, ...]], ...] = ()
    is_given: bool = False


def export_tables(extract: Extract) -> Iterator[ExportTable]:
    """Yield the tables of an extract that are not empty: those that can be loaded in order of dependence, then others.

    Parameters as `gwnet.exchange`.

    Yields
    ------
    ExportTable
        One at a time.
    """
    names = set()
    for done, table in enumerate(TABLES):
        extract.progress(done, len(TABLES) + 2)
        frame = _given_frame(extract, table)
        if len(frame):
            names.add(table.name)
            yield _given(table, frame, names)
    levels = levels_table(extract)
    if len(levels.frame):
        yield levels
    extract.progress(len(TABLES) + 1, len(TABLES) + 2)
    downloads = _downloads(extract)
    if len(downloads.frame):
        yield downloads


def levels_table(extract: Extract) -> ExportTable:
    """Return the reduced levels of an extract as a table."""
    frame = extract.levels.assign(day=extract.levels["day"].dt.date)
    reference = (("site", "well"), "wells", ("site", "well"))
    return worked_out("levels", "A reduced level, worked out from the readings.", frame, references=(reference,))


def worked_out(
    name: str,
    title: str,
    frame: pd.DataFrame,
    *,
    references: tuple[tuple[tuple[str, ...], str, tuple[str, ...]], ...] = (),
) -> ExportTable:
    """Return a frame that was worked out as a table of an export; kinds and units follow from its columns.

    Parameters
    ----------
    name, title : str
        Name, and what one row is.
    frame : pandas.DataFrame
        Its rows.
    references : tuple of tuple, optional
        As of `ExportTable`.
    """
    columns = []
    for heading in map(str, frame.columns):
        base = heading.removesuffix("_m")
        unit = "m" if base != heading else "UTC" if heading.endswith("_utc") else ""
        meaning = COLUMN_MEANINGS.get(base, "")
        columns.append(ExportColumn(heading, _kind_of(frame[heading]), unit, f"{meaning}." if meaning else ""))
    return ExportTable(name, title, tuple(columns), frame, references=references)


def _kind_of(column: pd.Series[Any]) -> str:
    """Return the kind of a column of a frame by its type, of objects by the first that is there."""
    if isinstance(column.dtype, pd.DatetimeTZDtype):
        return "instant"
    by_type = {"f": "number", "i": "whole", "b": "flag"}
    if column.dtype.kind in by_type:
        return by_type[column.dtype.kind]
    first = column.dropna()
    if len(first) and isinstance(first.iloc[0], bool):
        return "flag"
    return "date" if len(first) and hasattr(first.iloc[0], "isoformat") else "text"


# --- tables that can be loaded ----------------------------------------------------------------------------------------


def _given_frame(extract: Extract, table: Table) -> pd.DataFrame:
    """Return the rows of a table that can be loaded, of the wells and dates that are exported."""
    if table.name in _SPECIAL:
        return _SPECIAL[table.name](extract)
    frame: pd.DataFrame = getattr(extract.record, table.name)
    if "well" in frame.columns:
        whole = frame.get("well").eq("")  # a barometer is of no well
        kept = extract.of_wells(frame)
        frame = pd.concat([kept, frame[whole]]).drop_duplicates() if whole.any() and len(kept) < len(frame) else kept
    return frame


def _given(table: Table, frame: pd.DataFrame, names: set[str]) -> ExportTable:
    """Return a table that can be loaded with the columns that are on record."""
    columns: list[ExportColumn] = []
    values: dict[str, Any] = {}
    declared = {column.name: column for column in table.columns}
    for column in declared.values():
        name = _heading(column, frame)
        if name is None:
            continue
        # Local times with their offsets, or a date alone where no time is known: no type of files holds both.
        kind = "text" if column.name in {"measured_at", "from"} else _KINDS.get(column.kind, "text")
        unit = _unit_of(column, name) if kind == "number" else "UTC" if kind == "instant" else ""
        values[name] = _cells(frame[name], column)
        columns.append(ExportColumn(name, kind, unit, column.meaning, column.required, column.choices))
    renamed = {column.name: _heading(column, frame) for column in declared.values()}
    key = tuple(str(renamed[name]) for name in table.key if renamed[name] is not None)
    kept = pd.DataFrame(values).reset_index(drop=True)
    return ExportTable(
        table.name, table.meaning, tuple(columns), kept, key, tuple(_references(table, renamed, names)), is_given=True
    )


def _heading(column: Column, frame: pd.DataFrame) -> str | None:
    """Return the heading of a column in an export, None where nothing of it is on record."""
    if column.converts_to and not column.reading:
        return None  # it was recorded as the column that it converts to
    names = [column.name if column.of or column.name in {"measured_at", "from"} else column.frame_name]
    names += [name for name in frame.columns if column.kind == "length" and str(name).startswith(f"{column.name}_")]
    # By the ending in full: depth_to_water_2_m begins like depth_to_water as well.
    units = {f"{column.name}_{unit}" for unit in ("m", "cm", "mm", "ft", "ftus")}
    return next((str(name) for name in names if name in frame.columns and (name == names[0] or name in units)), None)


def _unit_of(column: Column, name: str) -> str:
    return name.removeprefix(f"{column.name}_") if column.kind == "length" else column.unit


def _cells(values: pd.Series[Any], column: Column) -> pd.Series[Any]:
    """Return the cells of a column as a file has them: lists joined, truth values as words."""
    if column.kind == "list":
        return values.map(lambda codes: ";".join(codes or ()))
    if column.kind == "flag":
        return values.map({True: "yes", False: "no"}).astype(object).where(values.notna(), "")
    if column.kind == "limits":
        return values.map(lambda text: "" if text is None else str(text)).astype(object)
    return values


def _references(
    table: Table, renamed: dict[str, str | None], names: set[str]
) -> Iterator[tuple[tuple[str, ...], str, tuple[str, ...]]]:
    """Yield what columns of codes refer to; an empty code of well or round refers to none, and so is left out."""
    for column in table.columns:
        other, target = _REFERENCES.get(column.of, ("", ()))
        # A table that is not exported cannot be referred to: a checker would look for its file.
        if not other or other == table.name or other not in names or not column.required:
            continue
        own = tuple("site" if part == "site" else column.name for part in target)
        if all(renamed.get(part) is not None for part in own):
            yield own, other, target


def _wells(extract: Extract) -> pd.DataFrame:
    return extract.of_wells(extract.record.wells)


def _register(extract: Extract) -> pd.DataFrame:
    record = extract.record
    return registry.register_entries(record.connection, record.known_on, record.site)


def _rounds(extract: Extract) -> pd.DataFrame:
    """Return the rounds with those of their wells that are chosen, where they name their wells."""
    rounds = extract.record.rounds
    chosen = set(extract.wells["well"])
    kept = [[well for well in wells or () if well in chosen] for wells in rounds["wells"]]
    # A round that names no wells is one of all wells.
    is_of_them = [bool(some) or not wells for some, wells in zip(kept, rounds["wells"], strict=True)]
    return rounds.assign(wells=pd.Series(kept, index=rounds.index, dtype=object))[is_of_them].reset_index(drop=True)


def _of_tests(extract: Extract, frame: pd.DataFrame) -> pd.DataFrame:
    """Return the rows of the chosen wells in tests whose pumped well is chosen as well."""
    # A reading without its test could not be loaded again.
    tests = extract.of_wells(extract.record.pumping_tests)["test"]
    return frame[frame["test"].isin(tests)].reset_index(drop=True)


def _thresholds(extract: Extract) -> pd.DataFrame:
    frame = extract.of_wells(extract.record.thresholds)
    # a gradient has no unit, and its column already
    lengths = {f"{quantity}_m": quantity for quantity in LIMIT_QUANTITIES if quantity != "gradient"}
    return frame.assign(**{name: frame["value_m"].where(frame["quantity"] == of) for name, of in lengths.items()})


def _stages(extract: Extract) -> pd.DataFrame:
    frame = extract.of_dates(extract.record.stages)
    return frame.assign(measured_at=_when(extract, frame, frame["time_known"]))


def _context(extract: Extract) -> pd.DataFrame:
    frame = extract.of_dates(extract.record.context, "date")
    return extract.of_wells(frame) if "well" in frame.columns else frame


def _pumping_rates(extract: Extract) -> pd.DataFrame:
    frame = _of_tests(extract, extract.record.pumping_rates)
    since = [
        # In the way in which it was given: an elapsed time moves with the start of the test when that is corrected.
        f"{elapsed!r}" if np.isfinite(elapsed) else moment.isoformat()
        for elapsed, moment in zip(frame["from_elapsed_min"].tolist(), frame["from_utc"], strict=True)
    ]
    return frame.assign(**{"from": pd.Series(since, index=frame.index, dtype=object)})


def _pumping_readings(extract: Extract) -> pd.DataFrame:
    frame = _of_tests(extract, extract.of_wells(extract.record.pumping_readings))
    # a reading that is given by its time since the start of the test has a date as well
    dated = extract.of_dates(readings_of_tests(extract.record))
    frame = frame[frame["pumping_reading_id"].isin(dated["pumping_reading_id"])].reset_index(drop=True)
    known = frame["measured_at_utc"].notna()
    return frame.assign(measured_at=_when(extract, frame, known).where(known, ""))


def _when(extract: Extract, frame: pd.DataFrame, time_known: pd.Series[Any]) -> pd.Series[Any]:
    """Return instants as text with their offset, local to the site; the date alone where the time is not known."""
    zones = {str(row["site"]): zone_of(str(row["time_zone"])) for _, row in extract.record.sites.iterrows()}
    rows = zip(frame["site"], frame["measured_at_utc"], time_known, strict=True)
    texts = [
        (local.isoformat() if known else local.date().isoformat())
        for site, moment, known in rows
        for local in [moment.tz_convert(zones[site]) if moment is not pd.NaT else pd.Timestamp(0, tz="UTC")]
    ]
    return pd.Series(texts, index=frame.index, dtype=object)


def _level_events(extract: Extract) -> pd.DataFrame:
    """Return the level events with their readings, in the unit that they were read in where that is one alone."""
    events = extract.record.level_records(extract.selection)
    # Readings of pumping tests are among the levels with negative numbers; they are exported in their own table.
    local = extract.levels.loc[extract.levels["event_id"] >= 0, ["event_id", "measured_at"]]
    events = extract.of_wells(events).merge(local, on="event_id", how="inner")
    if events.empty:
        return events
    readings = fetch_levels.readings(extract.record.connection, events["record_id"].to_numpy(dtype=np.int64))
    for column in BY_NAME["level_events"].columns:
        if column.reading is None:
            continue
        quantity, ordinal = column.reading
        own = readings[(readings["quantity"] == quantity) & (readings["ordinal"] == ordinal)]
        if len(own):
            name, values = _reading_values(column, own)
            events[name] = events["record_id"].map(dict(zip(own["record_id"], values, strict=True))).astype(np.float64)
    return events


def _reading_values(column: Column, own: pd.DataFrame) -> tuple[str, list[float]]:
    """Return heading and values of readings: in metres where their units differ."""
    units = own["unit"].unique().tolist()
    # As they were read, digit for digit; converted to metres, 10.07 ft would come back as another number.
    if len(units) == 1 and units[0]:
        return f"{column.name}_{units[0].lower()}", own["value"].tolist()
    metres = [value * metres_per(unit or "m") for value, unit in zip(own["value"], own["unit"], strict=True)]
    return f"{column.name}_m", metres


_SPECIAL: Final[dict[str, Callable[[Extract], pd.DataFrame]]] = {
    "wells": _wells,
    "rounds": _rounds,
    "register": _register,
    "thresholds": _thresholds,
    "stages": _stages,
    "context": _context,
    "pumping_rates": _pumping_rates,
    "pumping_readings": _pumping_readings,
    "level_events": _level_events,
}


def _downloads(extract: Extract) -> ExportTable:
    """Return the files of loggers of the chosen wells, with what each gave."""
    record = extract.record
    frame = samples.downloads(record.connection, record.known_on)
    installed = extract.of_wells(record.deployments)
    frame = frame[frame["instrument"].isin(installed["instrument"])].reset_index(drop=True)
    kept = frame.drop(columns=["layout_text", "first_ms", "last_ms", "source_file_id"])
    return worked_out("logger_downloads", "A file of a logger, and what it gave to one series of samples.", kept)
