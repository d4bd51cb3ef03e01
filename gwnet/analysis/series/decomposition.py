"""The levels of a well decomposed into trend, season and remainder, with what was filled in for it.

Quarters are used rather than fill more than a third of the months, and nothing is filled across a bound.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from gwnet.analysis.levels.period_values import period_values
from gwnet.analysis.levels.serving import used_levels
from gwnet.errors import SettingsError, TooFewLevelsError
from gwnet.hydro.seasons.smoothing import LEAST_DECOMPOSED_YEARS, Decomposition, decompose, longest_stretch

#: Columns of the frame of a decomposition, in order.
COLUMNS: Final = ("month", "observed_m", "filled", "trend_m", "seasonal_m", "remainder_m", "weight")

#: Most share of the steps that may be filled in (project default).
MOST_FILLED: Final = 1.0 / 3.0

#: Longest gap that is filled in, in years (project default).
LONGEST_GAP_YEARS: Final = 1.0

_PARTS: Final = {12: ("months", "month"), 4: ("quarters", "quarter")}


@dataclass(frozen=True, slots=True)
class WellDecomposition:
    """The decomposition of the levels of a well.

    Attributes
    ----------
    site : str
        Code of the site.
    well : str
        Code of the well.
    start : numpy.ndarray of datetime64[M]
        First month of each step.
    parts : gwnet.hydro.seasons.smoothing.Decomposition
        The parts, with the steps that were filled in.
    robust : bool
        Whether values that do not fit lost weight.
    notes : tuple of str
        What was taken and what was filled, in sentences.
    """

    site: str
    well: str
    start: NDArray[np.datetime64]
    parts: Decomposition
    robust: bool
    notes: tuple[str, ...]

    def frame(self) -> pd.DataFrame:
        """Return the parts as a frame with the columns of `COLUMNS`, one row a step; month is text (YYYY-MM)."""
        return pd.DataFrame(
            {
                "month": np.datetime_as_string(self.start, unit="M").astype(object),
                "observed_m": self.parts.observed,
                "filled": self.parts.filled,
                "trend_m": self.parts.trend,
                "seasonal_m": self.parts.seasonal,
                "remainder_m": self.parts.remainder,
                "weight": self.parts.weight,
            }
        )


def well_decomposition(
    levels: pd.DataFrame,
    *,
    seasons: int | None = None,
    robust: bool = True,
    value: str = "median",
    approved: bool = False,
) -> WellDecomposition:
    """Decompose the levels of one well into trend, season and remainder.

    Parameters as `gwnet.analysis.series`.

    Parameters
    ----------
    levels : pandas.DataFrame
        Reduced levels of one well, as of `gwnet.analysis.levels.table.levels`.
    seasons : {12, 4}, optional
        Steps of a year; months unless more than a third of them would have to be filled in, else quarters.
    robust : bool
        Whether values that do not fit lose weight.

    Returns
    -------
    WellDecomposition
        Parts and notes.

    Raises
    ------
    TooFewLevelsError
        If no stretch of at least three years can be taken, or more than a third of it would have to be filled in.
    SettingsError
        If the levels are not of one well, or the steps are none of these.

    Notes
    -----
    Bounds are no numbers, and a decomposition needs numbers: the longest stretch without a bound and without a gap of
    more than a year is taken. Its gaps are filled as `gwnet.hydro.seasons.smoothing.fill_gaps` says, marked, and
    shown in no other place.
    """
    if seasons is not None and seasons not in _PARTS:
        message = f"A year cannot be divided into {seasons!r} steps; expected 12 or 4."
        raise SettingsError(message)
    used, _ = used_levels(levels, approved=approved)
    if len(used[["site", "well"]].drop_duplicates()) != 1:
        names = ", ".join(sorted(set(levels["well"]))) or "no well"
        message = f"A decomposition is of one well with levels; given: {names}."
        raise SettingsError(message, fix="Name one well that has levels which can be used.")
    site, well = str(used["site"].iloc[0]), str(used["well"].iloc[0])
    # Months first, as they show the season better; quarters where too many months have no level.
    if seasons is None:
        try:
            return _decompose(site, well, period_values(used, 12, value=value), 12, robust)
        except TooFewLevelsError:
            seasons = 4
    return _decompose(site, well, period_values(used, seasons, value=value), seasons, robust)


def _decompose(site: str, well: str, values: pd.DataFrame, steps: int, robust: bool) -> WellDecomposition:
    name, each = _PARTS[steps]
    place = values["year"].to_numpy() * steps + values["season"].to_numpy()
    grid = np.full(int(place.max() - place.min()) + 1, np.nan)
    broken = np.zeros(grid.size, dtype=bool)
    places = place - place.min()
    grid[places] = values["value"]
    # A bound is a value that cannot be decomposed, and must not be filled from its neighbours either.
    broken[places] = values["bound"] != 0
    part = longest_stretch(grid, round(LONGEST_GAP_YEARS * steps), broken=broken)
    chosen = grid[part]
    filled = int(np.isnan(chosen).sum())
    if chosen.size < LEAST_DECOMPOSED_YEARS * steps or filled > MOST_FILLED * chosen.size:
        message = (
            f"Well {well}: the longest stretch without a bound or a gap of more than a year has {chosen.size} {name}, "
            f"{filled} of them without a level; {LEAST_DECOMPOSED_YEARS * steps} are needed, and at most a third may "
            "be missing."
        )
        quarters = "" if steps == 4 else "quarters, or "
        raise TooFewLevelsError(message, fix=f"Take {quarters}a time in which the well was read more often.")
    first = int(place.min()) + part.start
    # numpy counts months from 1970.
    months = (first + np.arange(chosen.size)) * (12 // steps) - 1970 * 12
    start = months.astype("datetime64[M]")
    notes = [f"One value a {each}; {chosen.size} {name}."]
    if filled:
        notes.append(
            f"{filled} {name if filled > 1 else each} without a level filled for the decomposition alone: median of "
            f"the {each}, moved as its neighbours were."
        )
    outside = int((~np.isnan(grid)).sum() - (chosen.size - filled))
    if outside:
        bounds = int(broken.sum())
        words = f"{outside} {name if outside > 1 else each} with a level lie beyond the stretch taken"
        notes.append(f"{words}, {bounds} of them bounds." if bounds else f"{words}.")
    return WellDecomposition(site, well, start, decompose(chosen, steps, robust=robust), robust, tuple(notes))
