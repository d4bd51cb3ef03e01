"""Levels read with a tape that steps against its neighbours: their half-width is that of a tape never checked."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from gwnet.analysis.levels.inputs import LevelInputs
from gwnet.analysis.levels.reduce import Reduction
from gwnet.clock import to_instants
from gwnet.hydro.reduction.uncertainty import unchecked_tape_m


@dataclass(frozen=True, slots=True)
class SteppedTape:
    """A tape whose readings stepped against wells that kept theirs, and from when to when that holds.

    Attributes
    ----------
    instrument_id : int
        The tape.
    first : numpy.datetime64
        Instant of its first use in place of the other tape.
    until : numpy.datetime64
        Local day of its next check, after which its readings rest on that; NaT where there is none.
    """

    instrument_id: int
    first: np.datetime64
    until: np.datetime64


def find_stepped_tape(inputs: LevelInputs, event_id: int) -> SteppedTape | None:
    """Return the tape of the level event that a finding of a step names first.

    Parameters
    ----------
    inputs : LevelInputs
        Records of the events of the site and what they rest on.
    event_id : int
        The event.

    Returns
    -------
    SteppedTape or None
        None where the event is not among the records or names no tape.
    """
    rows = np.flatnonzero(inputs.records["event_id"].to_numpy() == event_id)
    if not rows.size or np.isnan(float(inputs.records["instrument_id"].iat[rows[0]])):
        return None
    row = int(rows[0])
    instrument = int(inputs.records["instrument_id"].iat[row])
    checks = inputs.tape_checks
    days = np.array(checks.loc[checks["instrument_id"] == instrument, "checked_on"].tolist(), dtype="datetime64[D]")
    later = days[days > inputs.local_time[row].astype("datetime64[D]")]
    until = later.min() if later.size else np.datetime64("NaT", "D")
    return SteppedTape(instrument, to_instants(inputs.records["measured_at_utc"])[row], until)


def is_read_with_stepped(inputs: LevelInputs, stepped: Collection[SteppedTape]) -> NDArray[np.bool_]:
    """Return which readings were taken with a tape from the day of its step until its next check.

    Parameters
    ----------
    inputs : LevelInputs
        Records of the events and what they rest on.
    stepped : collection of SteppedTape
        Tapes that stepped.

    Returns
    -------
    numpy.ndarray of bool, shape (n,)
        Whether the reading is of such a tape and time.
    """
    concerned: NDArray[np.bool_] = np.zeros(len(inputs.records), dtype=bool)
    if stepped:
        tape = inputs.records["instrument_id"].fillna(-1).to_numpy(dtype=np.int64)
        utc, day = to_instants(inputs.records["measured_at_utc"]), inputs.local_time.astype("datetime64[D]")
    for one in stepped:
        is_since = (tape == one.instrument_id) & (utc >= one.first)
        concerned |= is_since if np.isnat(one.until) else is_since & (day < one.until)
    return concerned


def widen_stepped(inputs: LevelInputs, reduced: Reduction, stepped: Collection[SteppedTape]) -> Reduction:
    """Return a reduction whose readings with stepped tapes have the half-width of a tape never checked.

    Parameters
    ----------
    inputs : LevelInputs
        Records of the events and what they rest on.
    reduced : Reduction
        Their reduction.
    stepped : collection of SteppedTape
        Tapes that stepped.

    Returns
    -------
    Reduction
        The same one where no reading is concerned. A reading whose accuracy its source states keeps it.
    """
    concerned = is_read_with_stepped(inputs, stepped)
    parts = reduced.parts
    widened = unchecked_tape_m(reduced.repeats.depth_m, never_checked=True)
    concerned &= (parts.check_m > 0) & (widened > parts.check_m)
    if not concerned.any():
        return reduced
    parts = replace(parts, check_m=np.where(concerned, widened, parts.check_m))
    width = np.where(concerned & ~np.isnan(reduced.uncertainty_m), parts.combined_m(), reduced.uncertainty_m)
    return replace(reduced, parts=parts, uncertainty_m=width)
