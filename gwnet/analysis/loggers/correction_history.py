"""The correction history of a logger: what is on record for a series, applied to its samples.

Spans are half-open and in UTC. Clock operations are meant by the clock of the file, everything else by true time, that
is after the clock was corrected.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Any, Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from gwnet.analysis.levels.serving import OPEN_FINDING
from gwnet.analysis.loggers.correction_kinds import CAUSES, DOUBTED_BY, STATE_RULES, describe_parameters
from gwnet.clock import instant_text, to_instant
from gwnet.hydro.arrays import Floats, Instants
from gwnet.hydro.loggers.clock_shift import ClockOperation

#: Why a sample cannot be water above the sensor: `gwnet.analysis.loggers.sensor_state` says so, no person did.
NO_WATER, AT_LIMIT, STUCK, BEYOND_RANGE, LIFTED, CONTRADICTED = (
    "no water above the sensor",
    "at the sensor's lowest limit",
    "stuck at one value",
    "beyond the sensor's range",
    "out of the water for a moment",
    "no water above the sensor, but a manual reading met some",
)

#: Why a sample gives no water elevation until somebody decides, by the rule of the finding that is open.
IN_DOUBT: Final = {rule: f"{OPEN_FINDING}{rule}" for rule in DOUBTED_BY}

#: Why a sample gives no water elevation; the number kept with a sample is its place here, 0 for one that is used.
OUT_REASONS: Final = (
    *("", "no value", "no air pressure", "no density", "not anchored"),
    *(NO_WATER, AT_LIMIT, STUCK, BEYOND_RANGE, LIFTED, CONTRADICTED),
    *IN_DOUBT.values(),
    *CAUSES,
)


@dataclass(frozen=True)
class CorrectionHistory:
    """Corrections on record for one quantity of one instrument.

    Attributes
    ----------
    rows : pandas.DataFrame
        Rows of `gwnet.store.fetch.samples.corrections`, in order of recording.
    zone : str
        Zone of the site, in which their spans are written.
    """

    rows: pd.DataFrame
    zone: str = "UTC"

    def describe(self, row: Any) -> str:
        """Return one of the corrections in words.

        Parameters
        ----------
        row : named tuple
            One of the rows.

        Returns
        -------
        str
            As `describe_correction`.
        """
        return describe_correction(row.kind, row.parameters, row.start_utc, row.end_utc, self.zone)

    @cached_property
    def _listed(self) -> list[Any]:
        """The rows as named tuples: every part of a level asks for some, and to cut a frame takes long."""
        return list(self.rows.itertuples())

    def _of(self, *kinds: str) -> list[Any]:
        """Return the rows of some kinds, in order of recording."""
        return [row for row in self._listed if row.kind in kinds]

    def of_series(self, series_id: int) -> CorrectionHistory:
        """Return the corrections of one series alone.

        Parameters
        ----------
        series_id : int
            One segment of the quantity. Clock and factor fix how the samples of a segment were read, and hold for it
            alone.
        """
        return CorrectionHistory(self.rows[self.rows["series_id"] == series_id], self.zone)

    def clock(self) -> list[ClockOperation]:
        """Return the corrections of the clock."""
        return [
            ClockOperation(
                to_instant(row.start_utc),
                to_instant(row.end_utc),
                float(row.parameters["seconds"]),
                row.kind == "clock drift",
            )
            for row in self._of("clock shift", "clock drift")
        ]

    def restarts(self) -> Instants:
        """Return the moments at which anchoring starts anew."""
        return np.array([to_instant(row.start_utc) for row in self._of("restart")], dtype="datetime64[us]")

    def settings(self, kind: str, start: Any, end: Any) -> dict[str, Any]:
        """Return the parameters of a kind that holds for whole deployments.

        Parameters
        ----------
        kind : str
            ``anchoring``, ``density`` or ``efficiency``.
        start, end : pandas.Timestamp or NaT
            Span of the deployment.

        Returns
        -------
        dict
            Parameters of the rows whose span meets that of the deployment, a later row before an earlier one (events
            left out add up); empty where none is on record.
        """
        settings: dict[str, Any] = {}
        for row in self._of(kind):
            after = not pd.isna(row.start_utc) and not pd.isna(end) and row.start_utc >= end
            before = not pd.isna(row.end_utc) and not pd.isna(start) and row.end_utc <= start
            if after or before:
                continue
            # Readings that were left out add up: a later setting of the method must not bring them back.
            left_out = {*settings.get("leave_out", []), *row.parameters.get("leave_out", [])}
            settings = {**settings, **row.parameters} if kind == "anchoring" else dict(row.parameters)
            if left_out:
                settings["leave_out"] = sorted(left_out)
        return settings

    def apply_scales(self, when: Instants, values: Floats) -> Floats:
        """Return values times the factors on record.

        Parameters
        ----------
        when : numpy.ndarray of datetime64[us], shape (n,)
            True times, rising.
        values : numpy.ndarray, shape (n,)
            Values.

        Returns
        -------
        numpy.ndarray, shape (n,)
            Scaled values.
        """
        return self._spanned("scale", when, values, lambda part, row: part * float(row.parameters["factor"]))

    def apply_steps(self, when: Instants, level_m: Floats) -> Floats:
        """Return levels with the steps on record added.

        Parameters
        ----------
        when : numpy.ndarray of datetime64[us], shape (n,)
            True times, rising.
        level_m : numpy.ndarray, shape (n,)
            Levels, positive upward [m].

        Returns
        -------
        numpy.ndarray, shape (n,)
            Levels [m].
        """
        return self._spanned("step", when, level_m, lambda part, row: part + float(row.parameters["amount_m"]))

    def find_exclusions(self, when: Instants) -> NDArray[np.uint8]:
        """Return which samples a person excluded.

        Parameters as `gwnet.analysis.loggers`.

        Returns
        -------
        numpy.ndarray of uint8, shape (n,)
            0, or the place of the cause in `OUT_REASONS`.
        """
        out = np.zeros(when.size, dtype=np.uint8)
        for row in self._of("exclusion"):
            out[within(when, row.start_utc, row.end_utc)] = OUT_REASONS.index(row.parameters["cause"])
        return out

    def find_kept(self, when: Instants) -> NDArray[np.bool_]:
        """Return which samples a person keeps as levels though the sensor looks out of water or stuck.

        Parameters as `gwnet.analysis.loggers`.

        Returns
        -------
        numpy.ndarray of bool, shape (n,)
            Whether they are kept.
        """
        kept = np.zeros(when.size, dtype=bool)
        for row in self._of("keep"):
            # A correction that names no rule keeps samples against any of them.
            if row.parameters.get("against", STATE_RULES[0]) in STATE_RULES:
                kept[within(when, row.start_utc, row.end_utc)] = True
        return kept

    def is_dismissed(self, rule: str, first: np.datetime64, last: np.datetime64) -> bool:
        """Return whether a person dismissed a finding: keeps all its samples, against its rule or any.

        Parameters
        ----------
        rule : str
            Rule of the finding.
        first, last : numpy.datetime64
            Its first and last sample.
        """
        for row in self._of("keep"):
            start, end = to_instant(row.start_utc), to_instant(row.end_utc)
            # All of the finding's samples: keeping half of them decides nothing about the rest.
            covers = (np.isnat(start) or first >= start) and (np.isnat(end) or last < end)
            if covers and row.parameters.get("against", rule) == rule:
                return True
        return False

    def _spanned(self, kind: str, when: Instants, values: Floats, change: Callable[[Floats, Any], Floats]) -> Floats:
        rows = self._of(kind)
        if not rows:
            return values
        changed = values.copy()
        for row in rows:
            span = within(when, row.start_utc, row.end_utc)
            changed[span] = change(changed[span], row)
        return changed


def within(when: Instants, start: Any, end: Any) -> slice:
    """Return the samples at or after a start and before an end.

    Parameters
    ----------
    when : numpy.ndarray of datetime64[us], shape (n,)
        Times, rising.
    start, end : pandas.Timestamp, datetime.datetime or NaT
        Aware times; NaT or None for open.

    Returns
    -------
    slice
        Places of the samples.
    """
    first, last = to_instant(start), to_instant(end)
    low = 0 if np.isnat(first) else int(np.searchsorted(when, first, side="left"))
    high = when.size if np.isnat(last) else int(np.searchsorted(when, last, side="left"))
    return slice(low, max(low, high))  # a span that ends before the first sample


def describe_correction(kind: str, parameters: Mapping[str, Any], start: Any, end: Any, zone: str) -> str:
    """Return a correction in words.

    Parameters
    ----------
    kind : str
        Kind of correction.
    parameters : mapping
        Its parameters.
    start, end : pandas.Timestamp, datetime.datetime or NaT
        Its span.
    zone : str
        Zone in which it is written.

    Returns
    -------
    str
        For example ``clock shift +3600 s from 2024-10-27 02:00 UTC+01:00``.
    """
    words = [describe_parameters(kind, parameters)]
    for word, moment in (("from", to_instant(start)), ("to", to_instant(end))):
        if not np.isnat(moment):
            words.append(f"{word} {instant_text(moment, zone)}")
    return " ".join(words)
