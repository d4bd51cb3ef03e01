"""Parts of a level's uncertainty and their root sum of squares, as 95 % half-widths.

The parts are survey, tape, tape check, stretch, repeats and density. What is not on record takes a default of
`gwnet.constants`, with its source; a tape without a check may be out by 1 mm per metre.
"""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import ArrayLike, NDArray

from gwnet.constants import (
    NEVER_CHECKED_TAPE_M,
    PRODUCT_DENSITY_HALF_WIDTH,
    REFERENCE_TAPE_ACCURACY_M,
    SURVEY_ACCURACY_M,
    TAPE_ACCURACY_DEPTH_M,
    TAPE_ACCURACY_M,
    UNCHECKED_TAPE_SLOPE,
)

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class UncertaintyParts:
    """Parts of the uncertainty of water elevations, each a 95 % half-width [m] of shape (n,).

    Attributes
    ----------
    survey_m : numpy.ndarray
        Elevation of the measuring point.
    tape_m : numpy.ndarray
        Reading of the tape.
    check_m : numpy.ndarray
        Tape correction: the reference tape where a check is on file, the stretch that an unchecked tape may have
        where none is, and how far the reading lies beyond the check.
    repeat_m : numpy.ndarray
        Half the spread of the repeats; half the tolerance for a single reading.
    density_m : numpy.ndarray
        Relative density of floating product.
    stretch_m : numpy.ndarray
        Corrections for temperature and tension of the tape.
    """

    survey_m: Floats
    tape_m: Floats
    check_m: Floats
    repeat_m: Floats
    density_m: Floats
    stretch_m: Floats

    def combined_m(self) -> Floats:
        """Return the root of the sum of the squares of the parts [m]."""
        return combined_half_width(*(getattr(self, field.name) for field in fields(self)))


def combined_half_width(*parts_m: ArrayLike) -> Floats:
    """Return the root of the sum of squares of independent parts.

    Parameters
    ----------
    *parts_m : array_like
        Half-widths of the parts, all at the same confidence [m].

    Returns
    -------
    numpy.ndarray
        Half-width of the sum [m].

    Notes
    -----
    Common practice, no source; that the accuracy of a computed head is no better than its worst part: USGS TM 1-A1
    (Cunningham and Schalk, 2011), p. 20.

    Examples
    --------
    >>> float(combined_half_width(0.003, 0.004))
    0.005
    """
    total: Floats = np.asarray(0.0, dtype=np.float64)
    for part in parts_m:
        total = total + np.square(np.asarray(part, dtype=np.float64))
    return np.sqrt(total)


def half_width_of_change(now_m: ArrayLike, then_m: ArrayLike, *, shared_m: ArrayLike) -> Floats:
    """Return the half-width of a difference of two values that share a part of their errors.

    Parameters
    ----------
    now_m, then_m : array_like
        Half-widths of the two values [m].
    shared_m : array_like
        Half-width of the part that moves both alike, and is in both; 0 for none [m].

    Returns
    -------
    numpy.ndarray
        Half-width of the difference [m].

    Notes
    -----
    The variance of a difference is the sum of the variances less twice the covariance, here that of the shared part
    (JCGM 100:2008, 5.2.2, equation 13; from memory).

    Examples
    --------
    >>> float(half_width_of_change(0.005, 0.005, shared_m=0.003).round(6))
    0.005657
    """
    squares = np.square(np.asarray(now_m, dtype=np.float64)) + np.square(np.asarray(then_m, dtype=np.float64))
    # Rounding may leave a sum of squares a hair below 0.
    return np.sqrt(np.maximum(squares - 2.0 * np.square(np.asarray(shared_m, dtype=np.float64)), 0.0))


def unchecked_tape_m(depth_m: ArrayLike, *, never_checked: ArrayLike) -> Floats:
    """Return what readings with a tape without a check may be out by.

    Parameters
    ----------
    depth_m : array_like, shape (n,)
        Depth as read, positive downward; NaN counts as none [m].
    never_checked : array_like of bool, shape (n,)
        Whether `gwnet.constants.NEVER_CHECKED_TAPE_M` is added to the stretch.

    Returns
    -------
    numpy.ndarray, shape (n,)
        95 % half-width [m].
    """
    stretch = UNCHECKED_TAPE_SLOPE * np.nan_to_num(np.asarray(depth_m, dtype=np.float64))
    width: Floats = np.where(np.asarray(never_checked), np.hypot(stretch, NEVER_CHECKED_TAPE_M), stretch)
    return width


def uncertainty_parts(
    *,
    depth_m: ArrayLike,
    by_tape: ArrayLike,
    survey_accuracy_m: ArrayLike,
    instrument_accuracy_m: ArrayLike,
    tape_checked: ArrayLike,
    beyond_check_m: ArrayLike,
    spread_m: ArrayLike,
    repeat_count: ArrayLike,
    repeat_tolerance_m: ArrayLike,
    product_thickness_m: ArrayLike,
    reading_accuracy_m: ArrayLike | None = None,
    never_checked: ArrayLike = False,
    stretch_half_width_m: ArrayLike = 0.0,
) -> UncertaintyParts:
    """Return the parts of the uncertainty of each level.

    Parameters
    ----------
    depth_m : array_like, shape (n,)
        Depth below the measuring point; its size counts [m].
    by_tape : array_like of bool, shape (n,)
        Whether the level was read as a depth to water on a tape; otherwise only the survey counts beside the
        instrument's accuracy.
    survey_accuracy_m : array_like, shape (n,)
        Half-width of the measuring point's elevation; NaN where none is on record [m].
    instrument_accuracy_m : array_like, shape (n,)
        Half-width of the instrument; NaN where none is on record [m].
    tape_checked : array_like of bool, shape (n,)
        Whether a tape check is on file.
    beyond_check_m : array_like, shape (n,)
        How far the reading lies beyond the depths of that check [m].
    spread_m : array_like, shape (n,)
        Largest less smallest repeat [m].
    repeat_count : array_like of int, shape (n,)
        Number of repeats.
    repeat_tolerance_m : array_like, shape (n,)
        Tolerance of the repeats [m].
    product_thickness_m : array_like, shape (n,)
        Thickness of floating product; NaN for none [m].
    reading_accuracy_m : array_like, shape (n,), optional
        Half-width of the reading as its source states it; NaN where it states none [m]. It stands for tape, tape check
        and repeats together.
    never_checked : array_like of bool, shape (n,), optional
        Whether the tape was never checked though others of the record are: it may be out by
        `gwnet.constants.NEVER_CHECKED_TAPE_M` beside its stretch.
    stretch_half_width_m : array_like, shape (n,), optional
        Half-width of the corrections for temperature and tension of the tape [m].

    Notes
    -----
    Defaults and their sources stand in `gwnet.constants`. Beyond the depths to which a tape's accuracy is stated it
    grows in proportion to depth.
    """
    # Water above the measuring point has a negative depth; the length of tape is what counts.
    depth = np.abs(np.asarray(depth_m, dtype=np.float64))
    tape = np.asarray(by_tape, dtype=bool)
    survey = np.asarray(survey_accuracy_m, dtype=np.float64)
    accuracy = np.asarray(instrument_accuracy_m, dtype=np.float64)
    accuracy = np.where(np.isnan(accuracy), TAPE_ACCURACY_M, accuracy)
    # fmax: where no depth was read the stated accuracy holds as it is.
    deep = np.fmax(depth / TAPE_ACCURACY_DEPTH_M, 1.0)
    unchecked = unchecked_tape_m(depth, never_checked=never_checked)
    checked = np.hypot(REFERENCE_TAPE_ACCURACY_M, UNCHECKED_TAPE_SLOPE * np.nan_to_num(np.asarray(beyond_check_m)))
    check = np.where(np.asarray(tape_checked, dtype=bool), checked, unchecked)
    # One reading shows no spread; it may be off by as much as repeats are allowed to differ.
    single = np.asarray(repeat_count) < 2
    # Half, because spread and tolerance are between two readings and a half-width is from their middle.
    repeat = np.where(single, np.asarray(repeat_tolerance_m), np.asarray(spread_m)) / 2.0
    thickness = np.nan_to_num(np.asarray(product_thickness_m, dtype=np.float64))
    stated = np.full(depth.shape, np.nan) if reading_accuracy_m is None else np.asarray(reading_accuracy_m, np.float64)
    # A source that states the accuracy of a reading has counted tape, check, repeats and stretch in it.
    is_stated = ~np.isnan(stated)
    return UncertaintyParts(
        survey_m=np.where(np.isnan(survey), SURVEY_ACCURACY_M, survey),
        tape_m=np.where(is_stated, stated, accuracy * deep),
        check_m=np.where(tape & ~is_stated, check, 0.0),
        repeat_m=np.where(tape & ~is_stated, repeat, 0.0),
        density_m=PRODUCT_DENSITY_HALF_WIDTH * thickness,
        stretch_m=np.where(tape & ~is_stated, np.asarray(stretch_half_width_m), 0.0),
    )
