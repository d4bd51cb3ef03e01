"""What a chart of coverage shows, as plain numbers: which logger has data when, and which well a manual reading."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from gwnet.errors import SettingsError
from gwnet.figures.base.axes import day_number, to_local_days
from gwnet.figures.base.text import known_text, plain, shown
from gwnet.records import RecordState

Floats = NDArray[np.float64]

#: Columns that the frames must have.
_INSTALLED: Final = ("well", "instrument", "installed_at_utc", "removed_at_utc")
_RUNS: Final = ("well", "instrument", "start_utc", "end_utc", "left_out")


@dataclass(frozen=True, slots=True, eq=False)
class CoverageRow:
    """One line of the chart; times in days since 1970-01-01, local clock.

    Parameters
    ----------
    well, instrument : str
        As printed; a barometer has no well, a well without a logger no instrument.
    installed : numpy.ndarray, shape (k, 2)
        From when to when it was installed there; the end of the axis where it still is.
    runs : numpy.ndarray, shape (m, 2)
        First and last sample of each unbroken run whose samples are used.
    left_out : numpy.ndarray, shape (n, 2)
        The same for samples that are left out.
    hands : numpy.ndarray, shape (h,)
        Manual readings.
    share : float
        Share of the time in which it was installed and the axis shows that has used samples; NaN where it never was.
    """

    well: str
    instrument: str
    installed: Floats
    runs: Floats
    left_out: Floats
    hands: Floats
    share: float

    @property
    def share_text(self) -> str:
        """The share as printed; 100 % only where nothing is missing."""
        if not math.isfinite(self.share):
            return ""
        percent = 100.0 * self.share
        if percent >= 99.5:
            # Rounded, a missing day of a year would read as nothing missing.
            return "100 %" if percent >= 99.995 else ">99 %"
        return f"{percent:.0f} %" if percent >= 0.5 or percent == 0 else "<1 %"


@dataclass(frozen=True, slots=True, eq=False)
class CoveragePlotData:
    """A chart of coverage as plain numbers.

    Parameters
    ----------
    site : str
        Name of the site, as printed.
    rows : tuple of CoverageRow
        From top to bottom: barometers, then wells; what has nothing within the axis has no row.
    first, last : float
        Ends of the time axis, days since 1970-01-01, local clock.
    notes : tuple of str
        Sentences of the caption.
    """

    site: str
    rows: tuple[CoverageRow, ...]
    first: float
    last: float
    notes: tuple[str, ...]


def coverage_plot_data(
    deployments: pd.DataFrame,
    runs: pd.DataFrame,
    hands: pd.DataFrame | None = None,
    *,
    site: Mapping[str, Any] | pd.Series,
    start: dt.date | None = None,
    end: dt.date | None = None,
    known_on: RecordState | None = None,
) -> CoveragePlotData:
    """Work out what the chart of coverage of a site shows.

    Parameters
    ----------
    deployments : pandas.DataFrame
        Deployments: well (empty for a barometer), instrument, installed_at_utc, removed_at_utc (NaT while
        it is installed).
    runs : pandas.DataFrame
        Unbroken runs of samples: well, instrument, start_utc, end_utc, left_out (bool).
    hands : pandas.DataFrame, optional
        Manual readings: well, measured_at_utc. Wells that have only these get a row as well.
    site : mapping or pandas.Series
        Row of the sites frame: site, name, time_zone.
    start, end : datetime.date, optional
        First and last local date; from the first deployment to the newest sample or reading unless given.
    known_on : gwnet.records.RecordState, optional
        Aware time as of which the record is shown, printed in the caption.

    Returns
    -------
    CoveragePlotData
        Plain numbers.

    Raises
    ------
    SettingsError
        If the end lies before the start.

    Notes
    -----
    What is still installed counts until the newest sample of all, so that the chart does not depend on the day on which
    it is drawn.
    """
    if start is not None and end is not None and end < start:
        message = f"The figure would end on {end.isoformat()}, before its start on {start.isoformat()}."
        raise SettingsError(message, fix="Exchange the two dates.")
    zone = plain(site.get("time_zone")) or "UTC"
    installed = _spans(deployments[list(_INSTALLED)], ("installed_at_utc", "removed_at_utc"), zone)
    sampled = _spans(runs[list(_RUNS)], ("start_utc", "end_utc"), zone)
    read = _hands(hands, zone)
    first, last = _limits(installed, sampled, read, start, end)
    # A logger that still hangs is counted to the newest sample of any: what has not been read out is not missing.
    newest = float(sampled["to"].max()) if len(sampled) else last
    every = [_row(key, installed, sampled, read, (first, last), newest) for key in _keys(installed, sampled, read)]
    rows = tuple(row for row in every if any(len(part) for part in (row.installed, row.runs, row.left_out, row.hands)))
    return CoveragePlotData(
        site=shown(plain(site.get("name")) or plain(site.get("site"))),
        rows=rows,
        first=first,
        last=last,
        notes=_notes(rows, known_on),
    )


def drawn_runs(runs: Floats, least: float) -> Floats:
    """Return runs as they are drawn: no gap between two of them narrower than can be seen, and no run either.

    Parameters
    ----------
    runs : numpy.ndarray, shape (m, 2)
        First and last sample of each run, in order of time; a gap lies between any two.
    least : float
        Narrowest gap and run that can be seen, in the unit of the runs.

    Returns
    -------
    numpy.ndarray, shape (m, 2)
        Where a gap is narrower than that, the run before it ends earlier, but never takes less than half of the time
        until the next one, if it lasted so long; a run of one sample gets a quarter of the narrowest width.
    """
    spans = np.array(runs, dtype=np.float64).reshape(-1, 2)
    if not len(spans):
        return spans
    room = np.append(np.diff(spans[:, 0]), np.inf)
    half = 0.5 * room
    # A gap takes from the run before it, but no more than half of what there is from one start to the next.
    length = np.minimum(np.maximum(spans[:, 1] - spans[:, 0], 0.25 * least), np.maximum(room - least, half))
    spans[:, 1] = spans[:, 0] + length
    return spans


def _spans(table: pd.DataFrame, names: tuple[str, str], zone: str) -> pd.DataFrame:
    """Return a table with its two times as local days, ``since`` and ``to``; an open end is NaN."""
    spans = table.drop(columns=list(names)).reset_index(drop=True)
    spans["well"] = spans["well"].fillna("").astype(str)
    spans["instrument"] = spans["instrument"].astype(str)
    for name, days in zip(names, ("since", "to"), strict=True):
        spans[days] = to_local_days(table[name].tolist(), zone) if len(table) else np.empty(0)
    return spans


def _hands(hands: pd.DataFrame | None, zone: str) -> pd.DataFrame:
    if hands is None or hands.empty:
        return pd.DataFrame({"well": pd.Series(dtype=object), "day": pd.Series(dtype=np.float64)})
    days = to_local_days(hands["measured_at_utc"].tolist(), zone)
    return pd.DataFrame({"well": hands["well"].astype(str).to_numpy(), "day": days})


def _limits(
    installed: pd.DataFrame, sampled: pd.DataFrame, read: pd.DataFrame, start: dt.date | None, end: dt.date | None
) -> tuple[float, float]:
    """Return the ends of the axis: those wanted, else from the first logger (or reading) on, with a little room."""
    begins = (
        np.concatenate([installed["since"], sampled["since"]])
        if len(installed) + len(sampled)
        else read["day"].to_numpy()
    )
    ends = np.concatenate([installed["to"], installed["since"], sampled["to"], read["day"]])
    low = float(np.nanmin(begins)) if begins.size else 0.0
    high = max(float(np.nanmax(ends)), low) if ends.size else low + 365.0
    room = max(0.01 * (high - low), 2.0)
    first = day_number(start) if start is not None else math.floor(low - room)
    last = day_number(end) + 1 if end is not None else math.ceil(high + room)
    return float(first), float(max(last, first + 1))


def _keys(installed: pd.DataFrame, sampled: pd.DataFrame, read: pd.DataFrame) -> list[tuple[str, str]]:
    """Return wells and instruments in the order of the chart: barometers, then by well and by time."""
    columns = ["well", "instrument", "since"]
    known = pd.concat([installed[columns], sampled[columns]], ignore_index=True)
    starts = known.groupby(["well", "instrument"], sort=True)["since"].min()
    logged = {well for well, _ in starts.index}
    keys = [(well != "", well, float(since), instrument) for (well, instrument), since in starts.items()]
    # A well with readings alone has a row of its own; others carry their readings on the rows of their loggers.
    keys += [(True, well, math.inf, "") for well in sorted(set(read["well"])) if well not in logged]
    return [(well, instrument) for _, well, _, instrument in sorted(keys)]


def _row(
    key: tuple[str, str],
    installed: pd.DataFrame,
    sampled: pd.DataFrame,
    read: pd.DataFrame,
    limits: tuple[float, float],
    newest: float,
) -> CoverageRow:
    well, instrument = key
    own = installed[(installed["well"] == well) & (installed["instrument"] == instrument)].sort_values("since")
    ours = sampled[(sampled["well"] == well) & (sampled["instrument"] == instrument)].sort_values("since")
    intervals = own[["since", "to"]].to_numpy(dtype=np.float64)
    until = (
        np.where(np.isnan(intervals[:, 1]), max(newest, limits[0]), intervals[:, 1]) if len(intervals) else np.empty(0)
    )
    out = ours["left_out"].astype(bool).to_numpy() if len(ours) else np.empty(0, dtype=bool)
    runs = ours[["since", "to"]].to_numpy(dtype=np.float64)
    days = np.sort(read.loc[read["well"] == well, "day"].to_numpy(dtype=np.float64)) if well else np.empty(0)
    # Drawn to the end of the axis, as it hangs there still; counted to the newest sample alone, above.
    shown_installed = np.column_stack(
        [intervals[:, 0], np.where(np.isnan(intervals[:, 1]), limits[1], intervals[:, 1])]
    )
    return CoverageRow(
        well=shown(well),
        instrument=shown(instrument),
        installed=_inside(shown_installed, limits),
        runs=_inside(runs[~out], limits),
        left_out=_inside(runs[out], limits),
        hands=days[(days >= limits[0]) & (days <= limits[1])],
        share=_share(_inside(np.column_stack([intervals[:, 0], until]), limits), _inside(runs[~out], limits)),
    )


def _inside(spans: Floats, limits: tuple[float, float]) -> Floats:
    """Return spans cut to the axis; those beyond it are dropped."""
    kept = spans[(spans[:, 1] >= limits[0]) & (spans[:, 0] <= limits[1])]
    return np.clip(kept, *limits)


def _share(installed: Floats, runs: Floats) -> float:
    """Return which share of the time in which it was installed lies within runs."""
    whole = float((installed[:, 1] - installed[:, 0]).sum())
    if not whole > 0:
        return math.nan
    within = 0.0
    for since, to in installed:
        within += float(np.clip(np.minimum(runs[:, 1], to) - np.maximum(runs[:, 0], since), 0, None).sum())
    return min(within / whole, 1.0)


def _notes(rows: tuple[CoverageRow, ...], known_on: RecordState | None) -> tuple[str, ...]:
    notes = []
    if not rows:
        notes.append("No logger and no reading on record.")
    if any(row.instrument for row in rows):
        notes.append("At the right the share of the time in which each logger was installed that has samples in use.")
    return (*notes, *known_text(known_on))
