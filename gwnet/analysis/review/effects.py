"""What corrections did to the levels: every level that moved between two states of the record, before and after.

Elevations are not stored, so a new survey or tape check moves every level that rests on it. Reducing the same events
with the record as known at two times shows which, by how much, and what did it.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from typing import Any, Final

import numpy as np
import pandas as pd
from sqlalchemy import Connection

from gwnet.analysis.levels.frame import levels_frame
from gwnet.analysis.levels.inputs import gather
from gwnet.analysis.levels.reduce import reduce_levels
from gwnet.analysis.review.logger_effects import LEAST_DIFFERENCE_M, compare_loggers
from gwnet.errors import SettingsError
from gwnet.records import Selection
from gwnet.store.fetch.recorded_reasons import newest_edit, recorded_reasons
from gwnet.store.snapshot import Snapshot

#: Columns of the frame of effects.
EFFECT_COLUMNS: Final = tuple(
    (
        "site well measured_at event_id access water_elevation_before_m water_elevation_after_m difference_m "
        "by_survey_m by_tape_m by_reading_m by_other_m bound_before bound_after status_before status_after review "
        "cause reason"
    ).split()
)

_NUMBERS: Final = ("point_m", "tape_m", "reading_m", "water_elevation_m")

#: Causes, and the tables whose reasons explain them.
_CAUSES: Final[dict[str, tuple[str, ...]]] = {
    "survey": ("measuring_point",),
    "tape check": ("tape_check", "instrument_record"),
    "reading": ("level_record",),
    "withdrawn": ("level_record",),
    "other": ("construction_part", "well_record", "instrument_record", "site_record"),
}


def reduce_state(record: Snapshot, selection: Selection | None = None) -> pd.DataFrame:
    """Reduce the levels in one state of the record, with what they were worked out from.

    Parameters as `gwnet.analysis.review`.

    Returns
    -------
    pandas.DataFrame
        One row an event, indexed by its number.
    """
    inputs = gather(record, selection)
    reduced = reduce_levels(inputs)
    frame, records = levels_frame(inputs, reduced), inputs.records
    return pd.DataFrame(
        {
            **{name: frame[name] for name in ("site", "well", "measured_at", "access", "status", "bound", "review")},
            "water_elevation_m": frame["water_elevation_m"],
            "point_m": reduced.point_elevation_m,
            "tape_m": reduced.tape.correction_m,
            "reading_m": reduced.repeats.depth_m,
            "record_id": records["record_id"],
            "well_id": records["well_id"],
            "instrument_id": records["instrument_id"],
            "event_id": records["event_id"],
        }
    ).set_index("event_id")


def compare_states(before: pd.DataFrame, after: pd.DataFrame) -> pd.DataFrame:
    """Return the levels that moved from one state of the record to another.

    Parameters
    ----------
    before, after : pandas.DataFrame
        The two states, as `reduce_state`.

    Returns
    -------
    pandas.DataFrame
        One row a level that was on record before and has another elevation, bound or status after, or none any more;
        columns of `EFFECT_COLUMNS` with an empty reason, and ``well_id``, ``instrument_id``. ``difference_m`` is after
        less before, positive upward, and the sum of its four parts: measuring point, tape correction, reading, and
        whatever else (ground, screen, product). Parts are NaN where either elevation is.
    """
    # By the earlier state: a level that was added since did not move.
    old, new = before, after.reindex(before.index)
    # Withdrawn since: in the earlier state only.
    gone = new["site"].isna().to_numpy(dtype=bool)
    values = {name: _pair(old[name], new[name]) for name in _NUMBERS}
    head_old, head_new = values["water_elevation_m"]
    changed = gone | _differ(head_old, head_new)
    for name in ("bound", "status"):
        changed |= (old[name] != new[name]).to_numpy(dtype=bool)
    difference = head_new - head_old
    survey, tape, reading = _attributed(values)
    parts = {"by_survey_m": survey, "by_tape_m": tape, "by_reading_m": reading}
    # Where one of the heads is missing no difference exists that could have parts.
    parts = {name: np.where(np.isnan(difference), np.nan, np.nan_to_num(part)) for name, part in parts.items()}
    other = difference - sum(parts.values())
    # Rounding of the sum must not appear as a cause of its own.
    parts["by_other_m"] = np.where(np.abs(other) < LEAST_DIFFERENCE_M, 0.0, other)
    table = pd.DataFrame(
        {
            **{name: old[name] for name in ("site", "well", "measured_at", "access", "well_id", "instrument_id")},
            "water_elevation_before_m": head_old,
            "water_elevation_after_m": head_new,
            "difference_m": difference,
            **parts,
            **{f"{name}_before": old[name] for name in ("bound", "status")},
            "bound_after": new["bound"].where(~gone, ""),
            "status_after": new["status"].where(~gone, "withdrawn"),
            "review": new["review"].where(~gone, old["review"]),
            "cause": _causes(values, old["record_id"], new["record_id"], gone, parts["by_other_m"]),
            "reason": "",
        },
        index=old.index,
    )
    kept = table[changed].reset_index().sort_values(["site", "well", "measured_at", "event_id"], kind="stable")
    return kept[[*EFFECT_COLUMNS, "well_id", "instrument_id"]].reset_index(drop=True)


def _pair(old: pd.Series, new: pd.Series) -> tuple[Any, Any]:
    return old.to_numpy(dtype=np.float64), new.to_numpy(dtype=np.float64)


def _differ(before: Any, after: Any) -> Any:
    """Return where two arrays differ; two missing numbers do not."""
    with np.errstate(invalid="ignore"):
        return (np.abs(before - after) > LEAST_DIFFERENCE_M) | (np.isnan(before) != np.isnan(after))


def _attributed(values: dict[str, tuple[Any, Any]]) -> tuple[Any, Any, Any]:
    """Return the parts of the difference by measuring point, tape correction and reading.

    An elevation is point less (reading plus correction); an event without a reading from a measuring point has none of
    the three parts.
    """
    by_point = ~np.isnan(values["reading_m"][0]) & ~np.isnan(values["reading_m"][1])
    parts = []
    for name, sign in (("point_m", 1.0), ("tape_m", -1.0), ("reading_m", -1.0)):
        old, new = values[name]
        # -0.0 would print a sign
        parts.append(np.where(by_point, sign * (np.nan_to_num(new) - np.nan_to_num(old)), 0.0) + 0.0)
    return parts[0], parts[1], parts[2]


def _causes(
    values: dict[str, tuple[Any, Any]], old_record: pd.Series, new_record: pd.Series, gone: Any, other: Any
) -> list[str]:
    """Return what moved each level, in words."""
    edited = (old_record != new_record).to_numpy(dtype=bool) & ~gone
    by_point = ~np.isnan(values["reading_m"][0]) & ~np.isnan(values["reading_m"][1])
    flags = {
        "survey": _differ(*values["point_m"]) & ~gone,
        "tape check": _differ(*values["tape_m"]) & by_point & ~gone,
        "reading": edited,
        "withdrawn": gone,
        "other": (np.nan_to_num(other) != 0) & ~edited & ~gone,
    }
    causes = ["; ".join(name for name in flags if flags[name][row]) for row in range(len(gone))]
    return [words or "other" for words in causes]


def find_effects(
    record: Snapshot, selection: Selection | None = None, since: dt.datetime | None = None
) -> pd.DataFrame:
    """Return the levels that corrections moved between two times of the record, before and after.

    Parameters as `gwnet.analysis.review`.

    Parameters
    ----------
    since : datetime.datetime, optional
        Aware time; the record as known then is ``before``. Just before the newest edit that can move levels unless
        given.

    Returns
    -------
    pandas.DataFrame
        Columns of `EFFECT_COLUMNS`. Levels that were not on record before are left out. Heads of loggers that moved are
        one row a logger and well, as of `gwnet.analysis.review.logger_effects.compare_loggers`.

    Raises
    ------
    SettingsError
        If the record is known at a time before ``since``.
    """
    until = record.known_on
    if since is None:
        newest = newest_edit(record.connection, until)
        if newest is None:
            return pd.DataFrame(columns=list(EFFECT_COLUMNS))
        # Just before the newest edit, as a state known on its moment includes it.
        since = newest - dt.timedelta(microseconds=1)
    if until is not None and until < since:
        message = f"{until.isoformat()} lies before {since.isoformat()}."
        raise SettingsError(message, fix="Give the earlier time first.")
    earlier = Snapshot(record.connection, since, record.site)
    table = compare_states(reduce_state(earlier, selection), reduce_state(record, selection))
    wells = None if selection is None or selection.wells is None else list(selection.wells)
    heads = compare_loggers(earlier, record, set(table["well"]), wells)
    reasons = recorded_reasons(record.connection, since, until)
    return _with_loggers(_join_reasons(table, reasons), _join_logger_reasons(record, heads, reasons))


def _with_loggers(table: pd.DataFrame, heads: pd.DataFrame) -> pd.DataFrame:
    """Return effects on manual readings and on the heads of loggers, well by well."""
    if heads.empty:
        return table
    alike = heads[list(table.columns)]
    joined = pd.concat([table, alike.astype(table.dtypes.to_dict())], ignore_index=True) if len(table) else alike
    return joined.sort_values(["site", "well", "event_id", "measured_at"], kind="stable", ignore_index=True)


def _join_logger_reasons(
    record: Snapshot, heads: pd.DataFrame, reasons: Mapping[tuple[Any, ...], Sequence[str]]
) -> pd.DataFrame:
    """Return effects on loggers with the reasons given for their installations and for measuring points."""
    if heads.empty:
        return heads
    wells = record.wells.set_index(["site", "well"])["well_id"]
    texts = []
    for row in heads.itertuples():
        # No well has this number: one that is not in the later state has no reasons to be looked up.
        well = int(wells.get((row.site, row.well), -1))
        words = [*reasons.get(("deployment", well), ()), *reasons.get(("measuring_point", well, str(row.access)), ())]
        texts.append("; ".join(dict.fromkeys(words)))
    return heads.assign(reason=texts)


def _join_reasons(table: pd.DataFrame, reasons: Mapping[tuple[Any, ...], Sequence[str]]) -> pd.DataFrame:
    """Return effects with the reasons that were given for what caused them."""
    texts = []
    for row in table.itertuples():
        words: list[str] = []
        for cause in str(row.cause).split("; "):
            for name in _CAUSES[cause]:
                words += reasons.get((name, *_subject(name, row)), ())
        texts.append("; ".join(dict.fromkeys(words)))
    return table.assign(reason=texts)[list(EFFECT_COLUMNS)]


def _subject(table_name: str, row: Any) -> tuple[Any, ...]:
    """Return what the rows of a table are about, for one level."""
    if table_name == "measuring_point":
        return (int(row.well_id), str(row.access))
    if table_name == "level_record":
        return (int(row.event_id),)
    if table_name in {"tape_check", "instrument_record"}:
        # No instrument has this number: a reading without one has no reasons of a tape.
        return (-1 if np.isnan(row.instrument_id) else int(row.instrument_id),)
    return (str(row.site),) if table_name == "site_record" else (int(row.well_id),)


class Watch:
    """Compares the levels before and after a unit of work that is not ended."""

    def __init__(self) -> None:
        self._before: pd.DataFrame | None = None
        self._recorded_at: dt.datetime | None = None
        self.moved: pd.DataFrame | None = None

    def before(self, connection: Connection) -> None:
        """Keep the levels as they are.

        Parameters
        ----------
        connection : sqlalchemy.Connection
            Connection of the unit of work.
        """
        record = Snapshot(connection)
        self._before = reduce_state(record)
        self._recorded_at = None if record.state is None else record.state.recorded_at_utc

    def after(self, connection: Connection) -> None:
        """Compare the levels as they would be with those kept.

        Parameters
        ----------
        connection : sqlalchemy.Connection
            Connection of the unit of work.
        """
        if self._before is not None:
            columns = [name for name in EFFECT_COLUMNS if name != "reason"]
            record = Snapshot(connection)
            table = compare_states(self._before, reduce_state(record))
            heads = pd.DataFrame()
            # Before anything was recorded there were no heads to compare with.
            if self._recorded_at is not None:
                heads = compare_loggers(Snapshot(connection, self._recorded_at), record, set(table["well"]), None)
            self.moved = _with_loggers(table[columns], heads)
