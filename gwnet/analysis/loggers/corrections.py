"""Corrections of loggers: recorded by a person with a reason, withdrawn, listed, and what they change."""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import pandas as pd
from sqlalchemy import Connection

from gwnet.analysis.loggers.channels import LEVEL_QUANTITIES, deployments_in, loggers_of, suppose_corrections
from gwnet.analysis.loggers.correction_history import describe_correction
from gwnet.analysis.loggers.correction_kinds import DISMISSED, KINDS, check_parameters
from gwnet.analysis.loggers.efficiency import find_response, refuse_without_air
from gwnet.analysis.loggers.finding_rules import RULES
from gwnet.analysis.loggers.findings import findings_of
from gwnet.analysis.loggers.heads import LoggerHeads, iterate_heads
from gwnet.analysis.loggers.suggestion import LoggerFinding, span_around
from gwnet.clock import to_instant
from gwnet.errors import AnalysisError, NotFoundError
from gwnet.store.save import samples as save_samples
from gwnet.store.snapshot import Snapshot

#: Columns of the list of corrections.
CORRECTION_COLUMNS: Final = tuple(
    "correction instrument quantity kind start_utc end_utc description reason recorded_by recorded_at_utc".split()
)


@dataclass(frozen=True)
class Correction:
    """A correction that a person wants.

    Attributes
    ----------
    instrument : str
        Code of the instrument.
    kind : str
        Kind of correction: `gwnet.analysis.loggers.correction_kinds.KINDS`.
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
    """What was recorded or withdrawn, and what it changes.

    Attributes
    ----------
    numbers : tuple of int
        Numbers of the corrections.
    description : str
        The corrections in words.
    moved : pandas.DataFrame
        One row a deployment that it changes: site, well, instrument, heads (samples that are used afterwards), moved
        (those whose head changed, also one that an open finding kept out), gained, lost (samples that came into or fell
        out of use), largest_m (largest change of a head, with its sign), residual_before_m, residual_after_m (root mean
        square of the leave-one-out residuals).
    """

    numbers: tuple[int, ...]
    description: str
    moved: pd.DataFrame


@dataclass(frozen=True)
class PlannedCorrections:
    """Corrections that were looked at and can be recorded, or withdrawn.

    Attributes
    ----------
    steps : tuple of tuple
        What is to be recorded: the correction, its parameters, and the series that it is of.
    numbers : tuple of int
        What is to be withdrawn.
    description : str
        The corrections in words.
    moved : pandas.DataFrame
        As in `Corrected`.
    """

    steps: tuple[tuple[Correction, Mapping[str, Any], tuple[int, ...]], ...]
    numbers: tuple[int, ...]
    description: str
    moved: pd.DataFrame


def plan_corrections(record: Snapshot, *wanted: Correction) -> PlannedCorrections:
    """Look what corrections of loggers would change; nothing is recorded.

    Parameters
    ----------
    record : gwnet.store.snapshot.Snapshot
        The record.
    *wanted : Correction
        The corrections.

    Returns
    -------
    PlannedCorrections
        What `record_corrections` records.

    Raises
    ------
    NotFoundError
        If an instrument has no such series.
    AnalysisError
        If parameters do not serve, or the same correction is on record.
    SettingsError
        If a span does not run forward.
    ReductionError
        If the heads cannot be worked out with them.
    """
    on_record = loggers_of(record).corrections
    supposed = on_record
    steps = []
    for each in wanted:
        parameters = check_parameters(each.kind, each.parameters, start=each.start, end=each.end)
        quantity, series_ids = _series_of(record, each)
        if each.kind == "efficiency":
            refuse_without_air(record, each.instrument)
            if "lags" in parameters:
                parameters |= find_response(record, each.instrument, parameters["lags"], each.start, each.end)
        # Against those supposed so far, so that one call cannot give the same correction twice.
        _refuse_twice(supposed, each, quantity, parameters)
        # Clock and factor belong to a segment; the others hold for the quantity, and stand once, at its newest segment.
        chosen = tuple(series_ids if KINDS[each.kind].per_segment else series_ids[-1:])
        steps.append((each, parameters, chosen))
        supposed = _with_correction(supposed, each, quantity, parameters, chosen)
    words = "; ".join(
        describe_correction(each.kind, parameters, each.start, each.end, _zone_of(record, each.instrument))
        for each, parameters, _ in steps
    )
    moved = _what_moves(record, supposed, {each.instrument for each in wanted})
    return PlannedCorrections(tuple(steps), (), words, moved)


def plan_withdrawal(record: Snapshot, *numbers: int) -> PlannedCorrections:
    """Look what withdrawing corrections would change; nothing is recorded.

    Parameters
    ----------
    record : gwnet.store.snapshot.Snapshot
        The record.
    *numbers : int
        Numbers of the corrections.

    Returns
    -------
    PlannedCorrections
        What `record_corrections` withdraws.

    Raises
    ------
    NotFoundError
        If there is no such correction on record.
    """
    on_record = loggers_of(record).corrections
    known = set(on_record["correction_id"])
    for number in numbers:
        if number not in known:
            message = f"There is no correction {number} on record."
            raise NotFoundError(message, fix="'gwnet logger correct --list' lists those that are.")
    # Each once, in the order given: a number written twice is withdrawn once.
    rows = on_record.set_index("correction_id").loc[list(dict.fromkeys(numbers))]
    left = on_record[~on_record["correction_id"].isin(list(numbers))].reset_index(drop=True)
    moved = _what_moves(record, left, set(rows["instrument"]))
    return PlannedCorrections(
        (), tuple(int(number) for number in rows.index), "; ".join(_describe_rows(record, rows)), moved
    )


def record_corrections(connection: Connection, planned: PlannedCorrections, *, by: str, reason: str) -> Corrected:
    """Record corrections, or withdraw those that are to be withdrawn: all of them or none.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        Connection of a writing unit of work, on the state of the record on which they were planned.
    planned : PlannedCorrections
        The corrections.
    by : str
        Who decides.
    reason : str
        Why.

    Returns
    -------
    Corrected
        Their numbers and what they change together.

    Raises
    ------
    SettingsError
        If the reason or the name is missing.
    """
    for number in planned.numbers:
        save_samples.take_back(connection, number, by, reason)
    recorded = tuple(
        save_samples.correct(connection, number, each.kind, parameters, each.start, each.end, by, reason)
        for each, parameters, series_ids in planned.steps
        for number in series_ids
    )
    return Corrected(recorded or planned.numbers, planned.description, planned.moved)


def _zone_of(record: Snapshot, instrument: str) -> str:
    return loggers_of(record).zone_of_instrument(instrument)


def _describe_rows(record: Snapshot, rows: pd.DataFrame) -> list[str]:
    return [
        describe_correction(row.kind, row.parameters, row.start_utc, row.end_utc, _zone_of(record, row.instrument))
        for row in rows.itertuples()
    ]


@dataclass(frozen=True)
class Wanted:
    """Which findings about loggers are meant, beside those that are named.

    Attributes
    ----------
    rules : tuple of str
        All findings of these rules that suggest a correction; none unless given.
    wells : tuple of str
        Only about loggers in these wells; all unless given.
    instrument : str or None
        Only about this instrument.
    start, end : datetime.datetime or None
        Of a rule, only those wholly inside this span.
    """

    rules: tuple[str, ...] = ()
    wells: tuple[str, ...] = ()
    instrument: str | None = None
    start: dt.datetime | None = None
    end: dt.datetime | None = None

    def is_about(self, finding: LoggerFinding) -> bool:
        """Return whether a finding is about the wells and the instrument that are meant.

        Parameters
        ----------
        finding : gwnet.analysis.loggers.suggestion.LoggerFinding
            A finding.

        Returns
        -------
        bool
            True where none is named, too.
        """
        return self.instrument in (None, finding.instrument) and (not self.wells or finding.well in self.wells)

    def is_of_rule(self, finding: LoggerFinding) -> bool:
        """Return whether a finding is meant by its rule and time, and suggests something.

        Parameters
        ----------
        finding : gwnet.analysis.loggers.suggestion.LoggerFinding
            A finding.

        Returns
        -------
        bool
            False where it suggests nothing.
        """
        first, last = (None if moment is None else to_instant(moment) for moment in (self.start, self.end))
        is_inside = (first is None or finding.start_utc >= first) and (last is None or finding.end_utc <= last)
        return bool(finding.kind and finding.rule in self.rules and is_inside)


def suggested_corrections(record: Snapshot, *names: str, wanted: Wanted | None = None) -> list[Correction]:
    """Return the corrections that findings suggest.

    Parameters
    ----------
    record : gwnet.store.snapshot.Snapshot
        The record.
    *names : str
        Names of the findings, or the first letters of them.
    wanted : Wanted, optional
        Which others are meant, by rule, and about which wells, instrument and span.

    Returns
    -------
    list of Correction
        What each of them suggests; of a finding that is named twice only once.

    Raises
    ------
    NotFoundError
        If there is no such finding any more, or several begin so.
    AnalysisError
        If one suggests nothing, or there is no such rule.
    """
    asked = wanted or Wanted()
    unknown = [rule for rule in asked.rules if rule not in RULES]
    if unknown:
        message = f"There is no rule {unknown[0]!r}."
        raise AnalysisError(message, fix=f"One of: {', '.join(RULES)}.")
    found = findings_of(record, iterate_heads(record, deployments_in(record)))
    # A finding has no stored number, so the wanted ones are looked for among all that hold now.
    by_key = {finding.key(): finding for finding in found if asked.is_about(finding)}
    chosen = {key: by_key[key] for key in (_complete_key(name, by_key) for name in names)}
    of_rules = {key: finding for key, finding in by_key.items() if asked.is_of_rule(finding)}
    if asked.rules and not of_rules:
        message = f"No finding of {' or '.join(asked.rules)} that suggests a correction matches."
        raise NotFoundError(message, fix="'gwnet logger findings' lists them; check well, span and rule.")
    chosen |= of_rules
    for key, finding in chosen.items():
        if not finding.kind:
            message = f"Finding {key!r} ({finding.rule}) suggests no correction: {finding.message}"
            raise AnalysisError(message, fix="Decide which one serves, and give it in full.")
    return [
        Correction(
            finding.instrument,
            finding.kind,
            dict(finding.parameters),
            finding.quantity,
            _aware(finding.from_utc),
            _aware(finding.to_utc),
        )
        for finding in chosen.values()
    ]


def dismissals(record: Snapshot, *names: str) -> list[Correction]:
    """Return the corrections that dismiss findings: they keep the samples as levels.

    Parameters
    ----------
    record : gwnet.store.snapshot.Snapshot
        The record.
    *names : str
        Names of the findings, or the first letters of them.

    Returns
    -------
    list of Correction
        One ``keep`` each, against its rule alone and over its samples alone.

    Raises
    ------
    NotFoundError
        If there is no such finding any more, or several begin so.
    AnalysisError
        If findings of that rule keep no samples out, so that there is nothing to dismiss.
    """
    found = findings_of(record, iterate_heads(record, deployments_in(record)))
    by_key = {finding.key(): finding for finding in found}
    kept = []
    for key in dict.fromkeys(_complete_key(name, by_key) for name in names):
        finding = by_key[key]
        if finding.rule not in DISMISSED:
            message = f"Finding {key!r} ({finding.rule}) keeps no samples out: {finding.message}"
            raise AnalysisError(message, fix=f"Findings that can be dismissed are of: {', '.join(DISMISSED)}.")
        start, end = span_around(finding.start_utc, finding.end_utc)
        against = {"against": finding.rule}
        kept.append(Correction(finding.instrument, "keep", against, finding.quantity, _aware(start), _aware(end)))
    return kept


def _complete_key(name: str, keys: Iterable[str]) -> str:
    """Return the one name of a finding that begins so."""
    matching = [key for key in keys if key.startswith(name.strip().lower())]
    if len(matching) != 1:
        message = f"There {'is no finding' if not matching else 'are several findings'} {name!r} about a logger."
        raise NotFoundError(message, fix="'gwnet logger findings' lists them; one that was acted on is gone.")
    return matching[0]


def list_corrections(record: Snapshot, instrument: str | None = None) -> pd.DataFrame:
    """Return the corrections on record.

    Parameters
    ----------
    record : gwnet.store.snapshot.Snapshot
        The record.
    instrument : str, optional
        Only of this instrument.

    Returns
    -------
    pandas.DataFrame
        Columns of `CORRECTION_COLUMNS`, in order of recording.
    """
    table = loggers_of(record).corrections.rename(columns={"correction_id": "correction"})
    if instrument is not None:
        table = table[table["instrument"] == instrument]
    return table.assign(description=_describe_rows(record, table))[list(CORRECTION_COLUMNS)].reset_index(drop=True)


def _series_of(record: Snapshot, wanted: Correction) -> tuple[str, list[int]]:
    """Return the quantity that is meant and the segments of it that have samples, or the newest."""
    table = loggers_of(record).series
    mine = table[table["instrument"] == wanted.instrument]
    if mine.empty:
        message = f"There is no series of instrument {wanted.instrument!r} on record."
        raise NotFoundError(message, fix="'gwnet logger status' lists the loggers; load its files first.")
    have = list(dict.fromkeys(mine[mine["sample_count"] > 0]["quantity"])) or list(dict.fromkeys(mine["quantity"]))
    # Whoever corrects a barometer means its air pressure, and a sensor the quantity of its level.
    usual = next((name for name in ("air pressure", *LEVEL_QUANTITIES) if name in have), have[0])
    quantity = wanted.quantity or usual
    rows = mine[mine["quantity"] == quantity]
    if rows.empty:
        message = f"Instrument {wanted.instrument!r} has no series {quantity!r}."
        raise NotFoundError(message, fix=f"It has: {', '.join(dict.fromkeys(mine['quantity']))}.")
    full = rows[rows["sample_count"] > 0]
    # Without samples yet the newest segment takes the correction, for files still to be loaded.
    chosen = full if len(full) else rows.iloc[[-1]]
    return quantity, [int(number) for number in chosen["series_id"]]


def _refuse_twice(table: pd.DataFrame, wanted: Correction, quantity: str, parameters: Mapping[str, Any]) -> None:
    """Refuse a correction that is among others word for word: it would count twice."""
    same = table[
        (table["instrument"] == wanted.instrument) & (table["quantity"] == quantity) & (table["kind"] == wanted.kind)
    ]
    for row in same.itertuples():
        start, end = (None if pd.isna(edge) else edge.to_pydatetime() for edge in (row.start_utc, row.end_utc))
        if (start, end, row.parameters) == (wanted.start, wanted.end, dict(parameters)):
            message = f"That correction is on record as number {row.correction_id}; it would count twice."
            raise AnalysisError(message, fix="Withdraw that one first, or correct something else.")


def _with_correction(
    table: pd.DataFrame, wanted: Correction, quantity: str, parameters: Mapping[str, Any], series_ids: Sequence[int]
) -> pd.DataFrame:
    """Return corrections with one more, which comes after those on record."""
    number = int(table["correction_id"].max()) if len(table) else 0
    added = pd.DataFrame(
        {
            "correction_id": [number + place + 1 for place in range(len(series_ids))],
            "series_id": list(series_ids),
            "instrument": wanted.instrument,
            "quantity": quantity,
            "kind": wanted.kind,
            "start_utc": pd.to_datetime(pd.Series([wanted.start] * len(series_ids)), utc=True),
            "end_utc": pd.to_datetime(pd.Series([wanted.end] * len(series_ids)), utc=True),
            # as it comes back from the record
            "parameters": [json.loads(json.dumps(dict(parameters))) for _ in series_ids],
            "reason": "",
            "recorded_by": "",
            # later than all on record, as it will be
            "recorded_at_utc": table["recorded_at_utc"].max() if len(table) else pd.Timestamp(0, tz="UTC"),
        }
    )
    alike = added[table.columns].astype(table.dtypes)
    return pd.concat([table, alike], ignore_index=True) if len(table) else alike


def _what_moves(record: Snapshot, supposed: pd.DataFrame, instruments: Collection[str]) -> pd.DataFrame:
    """Return what other corrections change: see `Corrected`."""
    before = _affected_heads(record, instruments)
    return _compare_heads(before, _affected_heads(suppose_corrections(record, supposed), instruments))


def _affected_heads(record: Snapshot, instruments: Collection[str]) -> dict[int, LoggerHeads]:
    """Return the heads of the deployments that instruments take part in, as sensor or as barometer."""
    table = deployments_in(record)
    # A barometer moves the heads of every sensor that it serves.
    affected = table["instrument"].isin(list(instruments)) | table["barometer"].isin(list(instruments))
    return {heads.deployment_id: heads for heads in iterate_heads(record, table[affected])}


_MOVED: Final = tuple(
    "site well instrument heads moved gained lost largest_m residual_before_m residual_after_m".split()
)


def _compare_heads(before: Mapping[int, LoggerHeads], after: Mapping[int, LoggerHeads]) -> pd.DataFrame:
    """Return what changed from the heads before to those after, sample by sample as they are in the files."""
    rows = []
    for number in sorted({*before, *after}):
        old, new = before.get(number), after.get(number)
        either = new or old
        if either is None:
            continue
        # By time in the file: a corrected clock gives the same sample another true time.
        pairs = pd.concat([_by_file_time(old, "old"), _by_file_time(new, "new")], axis=1, sort=True)
        # Where an open finding keeps a head out it still moves, and its size is part of the answer.
        levels = [_by_file_time(heads, "", doubtful=True).reindex(pairs.index) for heads in (old, new)]
        change = (levels[1] - levels[0]).to_numpy(dtype=np.float64)
        # Beyond rounding: a head worked out twice may differ in the last bit.
        moved = np.abs(np.nan_to_num(change)) > 1e-9
        gained = int((pairs["old"].isna() & pairs["new"].notna()).sum())
        lost = int((pairs["old"].notna() & pairs["new"].isna()).sum())
        largest = float(change[int(np.nanargmax(np.abs(change)))]) if moved.any() else 0.0
        residuals = [_residual(heads) for heads in (old, new)]
        # A clock may move samples without moving a level.
        same = np.array_equal(residuals[0], residuals[1], equal_nan=True) and _same_times(old, new)
        if moved.any() or gained or lost or not same:
            place = (either.site, either.well, either.instrument)
            used = int(pairs["new"].notna().sum())
            rows.append((*place, used, int(moved.sum()), gained, lost, largest, *residuals))
    return pd.DataFrame(rows, columns=list(_MOVED))


def _by_file_time(heads: LoggerHeads | None, name: str, *, doubtful: bool = False) -> pd.Series:
    """Return heads by their time in the file, with those that an open finding keeps out where wanted."""
    if heads is None:
        return pd.Series(dtype="float64", name=name)
    elevation = heads.water_elevation_m
    if doubtful:
        elevation = np.where(np.isnan(elevation), heads.doubtful_m, elevation)
    values = pd.Series(elevation, index=heads.level.channel.file_time_utc, name=name)
    # One of two samples at one instant: an index with doubles cannot be joined.
    return values[~values.index.duplicated()]


def _same_times(old: LoggerHeads | None, new: LoggerHeads | None) -> bool:
    return old is not None and new is not None and bool(np.array_equal(old.time_utc, new.time_utc))


def _residual(heads: LoggerHeads | None) -> float:
    """Return the root mean square of the leave-one-out residuals; NaN for none."""
    if heads is None:
        return float("nan")
    known = heads.manual["leave_one_out_residual_m"].dropna().to_numpy(dtype=np.float64)
    return float(np.sqrt(np.mean(np.square(known)))) if known.size else float("nan")


def _aware(moment: np.datetime64) -> dt.datetime | None:
    return None if np.isnat(moment) else pd.Timestamp(moment, tz="UTC").to_pydatetime()
