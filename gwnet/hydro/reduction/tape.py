"""Tape corrections from checks against the reference tape.

The correction comes from the last check on or before the day of the reading, linear between its depths and constant
beyond them. A reading beyond them is a finding and adds to the uncertainty.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from gwnet.errors import ShapeError

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class TapeCorrection:
    """Answer of `tape_correction`.

    Attributes
    ----------
    correction_m : numpy.ndarray
        What to add to the reading [m]; 0 where no check is on file, NaN where the reading is NaN.
    checked : numpy.ndarray of bool
        Whether a check on or before the day of the reading is on file.
    beyond : numpy.ndarray of bool
        Whether the reading lies beyond the depths of that check, so that its end value was used.
    check : numpy.ndarray of int64
        Number of the check used, -1 for none; see ``check_instrument`` and ``check_day``.
    check_instrument, check_day : numpy.ndarray
        Instrument and day of each check, in the order that ``check`` counts.
    """

    correction_m: Floats
    checked: NDArray[np.bool_]
    beyond: NDArray[np.bool_]
    check: NDArray[np.int64]
    check_instrument: NDArray[np.int64]
    check_day: NDArray[np.datetime64]


def tape_correction(
    reading_m: ArrayLike,
    instrument: ArrayLike,
    day: ArrayLike,
    *,
    check_instrument: ArrayLike,
    check_day: ArrayLike,
    check_tape_m: ArrayLike,
    check_reference_m: ArrayLike,
) -> TapeCorrection:
    """Return what to add to each tape reading, from the last check of that tape before it.

    Parameters
    ----------
    reading_m : array_like, shape (n,)
        Depth as read on the tape, positive downward [m].
    instrument : array_like of int, shape (n,)
        Instrument of each reading; a negative number means that none is named.
    day : array_like of datetime64[D], shape (n,)
        Local date of each reading.
    check_instrument : array_like of int, shape (m,)
        Instrument of each row of the checks.
    check_day : array_like of datetime64[D], shape (m,)
        Date of each row; rows of one instrument and date make one check.
    check_tape_m, check_reference_m : array_like, shape (m,)
        What the tape and the reference tape read at the same place [m].

    Raises
    ------
    ShapeError
        If the arrays of readings, or those of checks, differ in length.

    Notes
    -----
    The correction is reference less tape, piecewise linear in the tape reading between the depths of the check and
    constant beyond its ends. A check on the day of the reading counts as before it. Comparison of an electric tape
    with a steel tape over the range of depths: USGS TM 1-A1 (Cunningham and Schalk, 2011), GWPD 4, p. 35.

    Examples
    --------
    >>> import numpy as np
    >>> checked = dict(check_instrument=[1, 1], check_day=np.array(["2024-01-10"] * 2, "M8[D]"))
    >>> tapes = dict(check_tape_m=[100.05, 150.06], check_reference_m=[100.0, 150.0])
    >>> may = np.array(["2024-05-01"], "M8[D]")
    >>> tape_correction([125.0], [1], may, **checked, **tapes).correction_m.round(5).tolist()
    [-0.05499]
    """
    reading = np.asarray(reading_m, dtype=np.float64)
    tape = np.asarray(instrument, dtype=np.int64)
    when = np.asarray(day, dtype="datetime64[D]")
    of_instrument = np.asarray(check_instrument, dtype=np.int64)
    of_day = np.asarray(check_day, dtype="datetime64[D]")
    tape_m = np.asarray(check_tape_m, dtype=np.float64)
    reference_m = np.asarray(check_reference_m, dtype=np.float64)
    if not reading.shape == tape.shape == when.shape:
        message = f"Readings have shapes {reading.shape}, {tape.shape} and {when.shape}; expected equal shapes."
        raise ShapeError(message)
    if not of_instrument.shape == of_day.shape == tape_m.shape == reference_m.shape:
        message = "The columns of the tape checks differ in length."
        raise ShapeError(message)
    # NaN stays NaN: a correction of 0 would make a missing reading look like one.
    correction = np.where(np.isnan(reading), np.nan, 0.0)
    beyond = np.zeros(reading.shape, dtype=bool)
    used, instruments, days = _last_check(tape, when, of_instrument, of_day)
    for number in np.unique(used[used >= 0]):
        rows = (of_instrument == instruments[number]) & (of_day == days[number])
        order = np.argsort(tape_m[rows], kind="stable")
        at, values = tape_m[rows][order], (reference_m - tape_m)[rows][order]
        here = used == number
        # interp is constant beyond its ends: no slope is drawn on to depths that nobody compared.
        correction[here] = np.where(np.isnan(reading[here]), np.nan, np.interp(reading[here], at, values))
        beyond[here] = (reading[here] < at[0]) | (reading[here] > at[-1])
    return TapeCorrection(correction, used >= 0, beyond, used, instruments, days)


def _last_check(
    tape: NDArray[np.int64],
    when: NDArray[np.datetime64],
    of_instrument: NDArray[np.int64],
    of_day: NDArray[np.datetime64],
) -> tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.datetime64]]:
    """Return for each reading the number of its check, and instrument and day of each check."""
    keys = sorted(set(zip(of_instrument.tolist(), of_day.astype(np.int64).tolist(), strict=True)))
    if not keys:
        return np.full(tape.shape, -1, dtype=np.int64), np.empty(0, np.int64), np.empty(0, "datetime64[D]")
    instruments = np.array([key[0] for key in keys], dtype=np.int64)
    day_numbers = np.array([key[1] for key in keys], dtype=np.int64)
    reading_days = when.astype(np.int64)
    # Days counted from the earliest: those before 1970 are negative and would reach into another instrument's keys.
    low = min(int(day_numbers.min()), int(reading_days.min(initial=0)))
    span = max(int(day_numbers.max()), int(reading_days.max(initial=0))) - low + 1
    check_key = instruments * span + (day_numbers - low)
    query_key = tape * span + (reading_days - low)
    place = np.searchsorted(check_key, query_key, side="right") - 1
    has_check = place >= 0
    # A reading earlier than the first check of its tape is preceded by a check of another one.
    has_check[has_check] = instruments[place[has_check]] == tape[has_check]
    used = np.where(has_check & (tape >= 0), place, -1)
    return used.astype(np.int64), instruments, day_numbers.astype("datetime64[D]")
