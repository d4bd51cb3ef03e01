"""What reading a logger file would give: first and last rows, gaps, odd rows, span; nothing is stored."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from gwnet.clock import offset_minutes, offset_text
from gwnet.errors import LayoutError
from gwnet.ingest.loggers.columns import Column
from gwnet.ingest.loggers.guess import Proposal, incomplete, propose_layout
from gwnet.ingest.loggers.layout import Layout
from gwnet.ingest.loggers.rows import LoggerFile, OddRow, open_logger_file

if TYPE_CHECKING:
    import pandas as pd

#: Gaps that are listed; all are counted.
MOST_GAPS: Final[int] = 1_000


@dataclass(frozen=True)
class Trial:
    """What a file would give.

    Attributes
    ----------
    file : str
        Its name.
    layout : gwnet.ingest.loggers.layout.Layout
        The layout that it was read with.
    proposal : gwnet.ingest.loggers.guess.Proposal or None
        How the layout was inferred, where none was given.
    columns : tuple of gwnet.ingest.loggers.plan.Column
        Columns of values.
    zone : str
        Zone of its times.
    serial, title : str or None
        Serial number and title that it gives.
    rows : int
        Samples.
    missing : tuple of int
        How many of them have no value, for each column.
    first_utc, last_utc : numpy.datetime64
        Earliest and latest time; NaT without rows.
    step_s : float
        Most frequent step between times [s]; NaN with fewer than two.
    duplicates, backward : int
        Rows whose time stands more than once, and rows that are earlier than the row before.
    first, last : pandas.DataFrame
        First and last rows as read: row, local, utc, and one column for each column of values.
    gaps : pandas.DataFrame
        Steps longer than one and a half usual ones: after_utc, before_utc, hours, lacking (samples).
    gap_count : int
        How many there are.
    odd_counts : dict of str to int
        Odd rows of each kind.
    odd : tuple of gwnet.ingest.loggers.careful.OddRow
        Odd rows, the first thousand of each kind.
    notes : tuple of str
        What was decided without being asked.
    """

    file: str
    layout: Layout
    proposal: Proposal | None
    columns: tuple[Column, ...]
    zone: str
    serial: str | None
    title: str | None
    rows: int
    missing: tuple[int, ...]
    first_utc: np.datetime64
    last_utc: np.datetime64
    step_s: float
    duplicates: int
    backward: int
    first: pd.DataFrame
    last: pd.DataFrame
    gaps: pd.DataFrame
    gap_count: int
    odd_counts: dict[str, int]
    odd: tuple[OddRow, ...]
    notes: tuple[str, ...]

    @property
    def bad(self) -> int:
        """Return how many rows cannot be read; a load would refuse the file for them."""
        return self.odd_counts.get("bad", 0)

    def local_span(self) -> tuple[str, str]:
        """Return the earliest and latest time on the clock of the file, with its offset from UTC."""
        times = np.array([self.first_utc, self.last_utc], dtype="datetime64[ms]")
        zone = "UTC" if self.zone == "in each stamp" else self.zone
        minutes = offset_minutes(times.astype("datetime64[us]"), zone)
        local = _texts((times.astype(np.int64) + minutes * 60_000).astype("datetime64[ms]"))
        first, last = (f"{text}{offset_text(shift)}" for text, shift in zip(local, minutes.tolist(), strict=True))
        return first, last

    def utc_text(self, time: np.datetime64) -> str:
        """Return a time of the file as text.

        Parameters
        ----------
        time : numpy.datetime64
            Time in UTC.
        """
        return f"{_texts(np.array([time], dtype='datetime64[ms]'))[0]}Z"

    def toml(self) -> str:
        """Return the layout as TOML, with the reasons and doubts of a proposed one."""
        return self.proposal.toml() if self.proposal is not None else self.layout.toml()

    def rows_frame(self) -> pd.DataFrame:
        """Return the first and last rows together."""
        import pandas as pd

        shown = set(self.first["row"])
        # A short file has the same rows first and last.
        later = self.last[~self.last["row"].isin(shown)]
        return pd.concat([self.first, later], ignore_index=True) if len(later) else self.first


def try_file(
    path: str | Path,
    layout: Layout | None = None,
    *,
    zone: str = "",
    only: str = "",
    quantity: str = "",
    repeated_hour: str = "",
    shown: int = 5,
) -> Trial:
    """Read a file without storing anything.

    Parameters
    ----------
    path : str or pathlib.Path
        The file.
    layout : Layout, optional
        Layout; one is proposed unless given.
    zone : str, optional
        Zone to take where neither the layout nor the file says one. Without any, times are shown as if they were UTC.
    only : str, optional
        Which well or instrument to read, where a column says it; the first unless given.
    quantity : str, optional
        Read this quantity alone; where a single column has such a unit, it is taken to be this.
    repeated_hour : str, optional
        ``first`` or ``second``: of which hour a time that was twice is where nothing shows it.
    shown : int, optional
        How many of the first and of the last rows to give.

    Returns
    -------
    Trial
        What was read.

    Raises
    ------
    gwnet.errors.IngestError
        If the file cannot be read, or no layout fits it; a `PartialLayoutError` has what could be inferred.
    """
    if layout is not None:
        layout = replace(layout, repeated_hour=repeated_hour or layout.repeated_hour)
        file = open_logger_file(path, layout, zone=zone, only=only, quantity=quantity)
        return _trial(file, layout, None, [], shown)
    notes: list[str] = []
    proposal = propose_layout(path, zone=zone, only=only, quantity=quantity)
    proposed = replace(proposal.layout, repeated_hour=repeated_hour)
    proposal = replace(proposal, layout=proposed)
    try:
        zone = zone or _stand_in(proposed, notes)
        only = only or _first_of_several(path, proposed, notes)
        # What is shown may stand on an assumption; the layout that is saved has none of these.
        known = _with_units(path, proposed, notes)
        file = open_logger_file(path, known, zone=zone, only=only, quantity=quantity)
    except LayoutError as error:
        raise incomplete(error, proposal) from None
    return _trial(file, proposed, proposal, notes, shown)


def _trial(file: LoggerFile, layout: Layout, proposal: Proposal | None, notes: list[str], shown: int) -> Trial:
    """Read a file through."""
    reading = _Reading(file, shown)
    times = reading.times
    ordered = np.unique(times)
    step, gaps, count = _gaps(ordered)
    span = ordered[[0, -1]].astype("datetime64[ms]") if ordered.size else np.array(["NaT", "NaT"], "datetime64[ms]")
    return Trial(
        file=file.name,
        layout=layout,
        proposal=proposal,
        columns=file.columns,
        zone=file.zone,
        serial=file.serial,
        title=file.title,
        rows=int(times.size),
        missing=tuple(int(n) for n in reading.missing),
        first_utc=span[0],
        last_utc=span[1],
        step_s=step,
        duplicates=int(times.size - ordered.size),
        backward=int(np.count_nonzero(np.diff(times) < 0)),
        first=reading.frame(reading.first),
        last=reading.frame(reading.last),
        gaps=gaps,
        gap_count=count,
        odd_counts=file.odd_counts(),
        odd=tuple(file.odd()),
        notes=(*notes, *file.notes()),
    )


def _stand_in(layout: Layout, notes: list[str]) -> str:
    """Return UTC to show times by, where a proposed layout has no zone."""
    forms = (*layout.formats, *layout.clock_formats, *(layout.start_formats if layout.start_pattern else ()))
    stamped = any("%z" in form or form.startswith("epoch") for form in forms)
    if layout.zone or layout.zone_pattern or stamped:
        return ""
    notes.append("times are shown as if they were UTC, since nothing says their zone")
    return "UTC"


def _with_units(path: str | Path, layout: Layout, notes: list[str]) -> Layout:
    """Return a proposed layout without the columns whose unit nothing says."""
    from gwnet.ingest.loggers.plan import lacking_units
    from gwnet.ingest.loggers.text import read_head

    lacking = lacking_units(layout, read_head(Path(path), layout.encoding, layout.sheet))
    notes += [
        f"column {column.column!r} is not shown: nothing says the unit of the {column.quantity}" for column in lacking
    ]
    kept = tuple(rule for rule in layout.columns if rule not in lacking)
    if kept or not lacking:
        return replace(layout, columns=kept)
    message = f"Nothing says the unit of {' or '.join(repr(rule.column) for rule in lacking)}."
    raise LayoutError(message, where=str(path), fix="Write a layout with the unit under [[columns]].")


def _first_of_several(path: str | Path, layout: Layout, notes: list[str]) -> str:
    """Return the first cell of the column that says which well or instrument a row is of."""
    from gwnet.ingest.loggers.plan import first_selected
    from gwnet.ingest.loggers.text import read_head

    if layout.select_column is None:
        return ""
    selected = first_selected(layout, read_head(Path(path), layout.encoding, layout.sheet))
    notes.append(f"of several wells or instruments, {selected!r} is shown; --only shows another")
    return selected


Part = tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.float64]]


class _Reading:
    """Reads a file through and keeps its times and its first and last rows."""

    def __init__(self, file: LoggerFile, shown: int) -> None:
        self.file = file
        self.missing = np.zeros(len(file.columns), dtype=np.int64)
        kept: list[NDArray[np.int64]] = []
        empty = np.empty(0, dtype=np.int64)
        self.first: Part = (empty, empty, np.empty((0, len(file.columns))))
        self.last: Part = self.first
        for chunk in file.chunks():
            kept.append(chunk.time_ms)
            values = np.column_stack(chunk.values)
            self.missing += np.isnan(values).sum(axis=0)
            part: Part = (chunk.row, chunk.time_ms, values)
            if self.first[0].size < shown:
                self.first = _joined(self.first, part, slice(0, shown))
            self.last = _joined(self.last, _cut(part, slice(-shown, None)), slice(-shown, None))
        self.times = np.concatenate(kept) if kept else empty

    def frame(self, part: Part) -> pd.DataFrame:
        """Return rows as a frame."""
        import pandas as pd

        row, time_ms, values = part
        utc = time_ms.astype("datetime64[ms]")
        zone = self.file.plan.zone or "UTC"
        shift = offset_minutes(utc.astype("datetime64[us]"), zone)
        local = (time_ms + shift * 60_000).astype("datetime64[ms]")
        frame = pd.DataFrame({"row": row, "local": _texts(local), "utc": [f"{text}Z" for text in _texts(utc)]})
        for place, column in enumerate(self.file.columns):
            frame[f"{column.quantity} [{column.unit}]"] = values[:, place]
        return frame


def _texts(times: NDArray[np.datetime64]) -> list[str]:
    whole = times.astype("datetime64[s]")
    exact = bool((whole.astype("datetime64[ms]") == times).all())
    shown = whole if exact else times.astype("datetime64[ms]")
    return [text.replace("T", " ") for text in np.datetime_as_string(shown).tolist()]


def _cut(part: Part, keep: slice) -> Part:
    return part[0][keep], part[1][keep], part[2][keep]


def _joined(first: Part, second: Part, keep: slice) -> Part:
    rows, times = np.concatenate((first[0], second[0])), np.concatenate((first[1], second[1]))
    return _cut((rows, times, np.concatenate((first[2], second[2]))), keep)


def _gaps(ordered: NDArray[np.int64]) -> tuple[float, pd.DataFrame, int]:
    """Return the usual step, the gaps and their number, of rising times."""
    import pandas as pd

    names = ["after_utc", "before_utc", "hours", "lacking"]
    steps = np.diff(ordered)
    if not steps.size:
        return float("nan"), pd.DataFrame(columns=names), 0
    # The most frequent step, since a mean counts the gaps that are looked for.
    lengths, often = np.unique(steps, return_counts=True)
    usual = int(lengths[often.argmax()])
    places = np.flatnonzero(steps > 1.5 * usual)
    first = places[:MOST_GAPS]
    frame = pd.DataFrame(
        {
            "after_utc": [f"{text}Z" for text in _texts(ordered[first].astype("datetime64[ms]"))],
            "before_utc": [f"{text}Z" for text in _texts(ordered[first + 1].astype("datetime64[ms]"))],
            "hours": steps[first] / 3_600_000.0,
            "lacking": np.round(steps[first] / usual).astype(np.int64) - 1,
        },
        columns=names,
    )
    return usual / 1000.0, frame, int(places.size)
