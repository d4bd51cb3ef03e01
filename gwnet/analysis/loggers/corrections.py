"""Corrections of loggers: recorded by a person with a reason, taken back, listed, and what they move."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any, Final

import numpy as np
import pandas as pd
from sqlalchemy import Connection

from gwnet.analysis.loggers.channels import LEVEL_QUANTITIES, LoggerRecord, gather_loggers
from gwnet.analysis.loggers.correction_history import checked_parameters, said
from gwnet.analysis.loggers.findings import findings_of
from gwnet.analysis.loggers.heads import LoggerHeads, each_head, heads_of
from gwnet.errors import AnalysisError, NotFoundError
from gwnet.store.fetch import samples as fetch_samples
from gwnet.store.save import samples as save_samples

#: Columns of the list of corrections.
CORRECTION_COLUMNS: Final = (
    "correction",
    "instrument",
    "quantity",
    "kind",
    "start_utc",
    "end_utc",
    "says",
    "reason",
    "recorded_by",
    "recorded_at_utc",
)

#: Kinds that fix how the samples of one segment were read; they are recorded for every segment that has samples.
_OF_TAKES: Final = ("clock shift", "clock drift", "scale")


@dataclass(frozen=True)
class Correction:
    """What a person wants adjusted.

    Attributes
    ----------
    instrument : str
        Code of the instrument.
    kind : str
        Kind of correction: `gwnet.analysis.loggers.correction_history.KINDS`.
    parameters : mapping
        Its parameters.
    quantity : str or None
        Which series; the one that gives the level, or the air pressure of a barometer, unless given.
    start, end : datetime.datetime or None
        Aware times of the half-open span; None for open.
    """

    instrument: str
    kind: str
    parameters: Mapping[str, Any]
    quantity: str | None = None
    start: dt.datetime | None = None
    end: dt.datetime | None = None


@dataclass(frozen=True)
class Corrected:
    """What was adjusted or taken back, and what it moves.

    Attributes
    ----------
    numbers : tuple of int
        Numbers of the corrections.
    says : str
        The correction in words.
    moved : pandas.DataFrame
        One row a deployment that it moves: site, well, instrument, heads (samples that are used afterwards), moved
        (those whose head changed), gained, lost (samples that came into or fell out of use), largest_m (largest change
        of a head, with its sign), residual_before_m, residual_after_m (root mean square of the leave-one-out
        residuals).
    """

    numbers: tuple[int, ...]
    says: str
    moved: pd.DataFrame


def correct(connection: Connection, wanted: Correction, *, by: str, reason: str, now_utc: dt.datetime) -> Corrected:
    """Record a correction of a logger.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        Connection of a writing unit of work; whatever is raised leaves the record as it was.
    wanted : Correction
        What is to be adjusted.
    by : str
        Who decides.
    reason : str
        Why.
    now_utc : datetime.datetime
        Aware time of the recording.

    Returns
    -------
    Corrected
        Its number and what it moves.

    Raises
    ------
    NotFoundError
        If the instrument has no such series.
    AnalysisError
        If the parameters do not serve, or the same correction is on record.
    SettingsError
        If the reason or the name is missing, or the span does not run forward.
    ReductionError
        If the heads cannot be worked out with it.
    """
    parameters = checked_parameters(wanted.kind, wanted.parameters, start=wanted.start, end=wanted.end)
    quantity, series_ids = _series_of(connection, wanted)
    _refuse_twice(connection, wanted, quantity, parameters)
    before = _affected(connection, wanted.instrument)
    numbers = tuple(
        save_samples.correct(connection, number, wanted.kind, parameters, wanted.start, wanted.end, by, reason, now_utc)
        for number in (series_ids if wanted.kind in _OF_TAKES else series_ids[-1:])
    )
    words = said(wanted.kind, parameters, wanted.start, wanted.end)
    return Corrected(numbers, words, _moved(before, _affected(connection, wanted.instrument)))


def take_back(connection: Connection, number: int, *, by: str, reason: str, now_utc: dt.datetime) -> Corrected:
    """Take a correction back: it is no longer applied, and stays for every earlier record.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        Connection of a writing unit of work.
    number : int
        Number of the correction.
    by : str
        Who decides.
    reason : str
        Why.
    now_utc : datetime.datetime
        Aware time.

    Returns
    -------
    Corrected
        What was taken back and what that moves.

    Raises
    ------
    NotFoundError
        If there is no such correction on record.
    SettingsError
        If the reason or the name is missing.
    """
    table = fetch_samples.corrections(connection)
    rows = table[table["correction_id"] == number]
    if rows.empty:
        message = f"There is no correction {number} on record."
        raise NotFoundError(message, fix="'gwnet logger correct --list' lists those that are.")
    row = next(rows.itertuples())
    before = _affected(connection, row.instrument)
    save_samples.take_back(connection, number, by, reason, now_utc)
    words = said(row.kind, row.parameters, row.start_utc, row.end_utc)
    return Corrected((number,), words, _moved(before, _affected(connection, row.instrument)))


def suggested(connection: Connection, finding: str, instrument: str | None = None) -> Correction:
    """Return the correction that a finding suggests.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        Connection to read from.
    finding : str
        Name of the finding, or the first letters of it.
    instrument : str, optional
        Only findings about this instrument.

    Returns
    -------
    Correction
        What it suggests.

    Raises
    ------
    NotFoundError
        If there is no such finding any more, or several begin so.
    AnalysisError
        If it suggests nothing.
    """
    record = gather_loggers(connection)
    found = [
        one
        for one in findings_of(record, each_head(record))
        if one.key().startswith(finding.strip().lower()) and instrument in (None, one.instrument)
    ]
    if len({one.key() for one in found}) != 1:
        message = f"There {'is no finding' if not found else 'are several findings'} {finding!r} about a logger."
        raise NotFoundError(message, fix="'gwnet logger findings' lists them; one that was acted on is gone.")
    one = found[0]
    if not one.kind:
        message = f"Finding {finding!r} ({one.rule}) suggests no correction: {one.message}"
        raise AnalysisError(message, fix="Decide which one serves, and give it in full.")
    return Correction(
        one.instrument, one.kind, dict(one.parameters), one.quantity, _aware(one.from_utc), _aware(one.to_utc)
    )


def corrections(
    connection: Connection, instrument: str | None = None, known_on: dt.datetime | None = None
) -> pd.DataFrame:
    """Return the corrections on record.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        Connection to read from.
    instrument : str, optional
        Only of this instrument.
    known_on : datetime.datetime, optional
        Record as known at this time.

    Returns
    -------
    pandas.DataFrame
        Columns of `CORRECTION_COLUMNS`, in order of recording.
    """
    table = fetch_samples.corrections(connection, known_on).rename(columns={"correction_id": "correction"})
    if instrument is not None:
        table = table[table["instrument"] == instrument]
    words = [said(row.kind, row.parameters, row.start_utc, row.end_utc) for row in table.itertuples()]
    return table.assign(says=words)[list(CORRECTION_COLUMNS)].reset_index(drop=True)


def _series_of(connection: Connection, wanted: Correction) -> tuple[str, list[int]]:
    """Return the quantity that is meant and the segments of it that have samples, or the newest."""
    table = fetch_samples.series(connection)
    mine = table[table["instrument"] == wanted.instrument]
    if mine.empty:
        message = f"There is no series of instrument {wanted.instrument!r} on record."
        raise NotFoundError(message, fix="'gwnet logger status' lists the loggers; load its files first.")
    have = list(dict.fromkeys(mine[mine["sample_count"] > 0]["quantity"])) or list(dict.fromkeys(mine["quantity"]))
    usual = next((name for name in ("air pressure", *LEVEL_QUANTITIES) if name in have), have[0])
    quantity = wanted.quantity or usual
    rows = mine[mine["quantity"] == quantity]
    if rows.empty:
        message = f"Instrument {wanted.instrument!r} has no series {quantity!r}."
        raise NotFoundError(message, fix=f"It has: {', '.join(dict.fromkeys(mine['quantity']))}.")
    full = rows[rows["sample_count"] > 0]
    chosen = full if len(full) else rows.iloc[[-1]]
    return quantity, [int(number) for number in chosen["series_id"]]


def _refuse_twice(connection: Connection, wanted: Correction, quantity: str, parameters: Mapping[str, Any]) -> None:
    """Refuse a correction that is on record word for word: it would count twice."""
    table = fetch_samples.corrections(connection)
    same = table[
        (table["instrument"] == wanted.instrument) & (table["quantity"] == quantity) & (table["kind"] == wanted.kind)
    ]
    for row in same.itertuples():
        start, end = (None if pd.isna(edge) else edge.to_pydatetime() for edge in (row.start_utc, row.end_utc))
        if (start, end, row.parameters) == (wanted.start, wanted.end, dict(parameters)):
            message = f"That correction is on record as number {row.correction_id}; it would count twice."
            raise AnalysisError(message, fix="Take that one back first, or adjust something else.")


def _affected(connection: Connection, instrument: str) -> dict[int, LoggerHeads]:
    """Return the heads of the deployments that an instrument takes part in, as sensor or as barometer."""
    hung = fetch_samples.deployments(connection)
    touched = hung[(hung["instrument"] == instrument) | (hung["barometer"] == instrument)]
    record = gather_loggers(connection, wells=sorted({well for well in touched["well"] if well}))
    table = record.deployments
    mine = (table["instrument"] == instrument) | (table["barometer"] == instrument)
    narrowed: LoggerRecord = replace(record, deployments=table.assign(wanted=table["wanted"] & mine))
    return {one.deployment_id: one for one in heads_of(narrowed)}


_MOVED: Final = (
    "site",
    "well",
    "instrument",
    "heads",
    "moved",
    "gained",
    "lost",
    "largest_m",
    "residual_before_m",
    "residual_after_m",
)


def _moved(before: Mapping[int, LoggerHeads], after: Mapping[int, LoggerHeads]) -> pd.DataFrame:
    """Return what changed from the heads before to those after, sample by sample as they stand in the files."""
    rows = []
    for number in sorted({*before, *after}):
        old, new = before.get(number), after.get(number)
        one = new or old
        if one is None:
            continue
        told = pd.concat([_by_file_time(old, "old"), _by_file_time(new, "new")], axis=1, sort=True)
        change = (told["new"] - told["old"]).to_numpy(dtype=np.float64)
        moved = np.abs(np.nan_to_num(change)) > 1e-9
        gained = int((told["old"].isna() & told["new"].notna()).sum())
        lost = int((told["old"].notna() & told["new"].isna()).sum())
        largest = float(change[int(np.nanargmax(np.abs(change)))]) if moved.any() else 0.0
        residuals = [_residual(each) for each in (old, new)]
        if moved.any() or gained or lost or not _same(*residuals) or not _same_times(old, new):
            used = int(told["new"].notna().sum())
            rows.append((one.site, one.well, one.instrument, used, int(moved.sum()), gained, lost, largest, *residuals))
    return pd.DataFrame(rows, columns=list(_MOVED))


def _by_file_time(one: LoggerHeads | None, name: str) -> pd.Series:
    if one is None:
        return pd.Series(dtype="float64", name=name)
    made = pd.Series(one.water_elevation_m, index=one.level.channel.file_time_utc, name=name)
    return made[~made.index.duplicated()]


def _same_times(old: LoggerHeads | None, new: LoggerHeads | None) -> bool:
    return old is not None and new is not None and bool(np.array_equal(old.time_utc, new.time_utc))


def _same(first: float, second: float) -> bool:
    return first == second or (np.isnan(first) and np.isnan(second))


def _residual(one: LoggerHeads | None) -> float:
    """Return the root mean square of the leave-one-out residuals; NaN for none."""
    if one is None:
        return float("nan")
    known = one.hand["leave_one_out_residual_m"].dropna().to_numpy(dtype=np.float64)
    return float(np.sqrt(np.mean(np.square(known)))) if known.size else float("nan")


def _aware(moment: np.datetime64) -> dt.datetime | None:
    return None if np.isnat(moment) else pd.Timestamp(moment, tz="UTC").to_pydatetime()
