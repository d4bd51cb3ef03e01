"""How far a change between two levels of a well may be off: one rule for tables, maps and thresholds."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, TypeAlias

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from gwnet.hydro.reduction.uncertainty import half_width_of_change

#: A level, or as many as a frame has rows.
Levels: TypeAlias = Mapping[str, Any] | pd.DataFrame


def change_half_width(now: Levels, then: Levels) -> NDArray[np.float64]:
    """Return the 95 % half-width of the change from one level of a well to another.

    Parameters
    ----------
    now, then : mapping or pandas.DataFrame
        One level each, or rows in the same order: ``uncertainty_m``, ``measuring_point`` and ``survey_uncertainty_m``
        as of `gwnet.analysis.levels.table.levels`. Levels without the latter two, as those of loggers and gauges, share
        no survey.

    Returns
    -------
    numpy.ndarray, shape (n,) or ()
        Half-width [m]; NaN where one of the two is not known.

    Notes
    -----
    As `gwnet.hydro.reduction.uncertainty.half_width_of_change`: the survey counts only where the two levels rest on
    different ones, since the same one moves both alike.
    """
    points: list[Any] = [np.asarray(level.get("measuring_point", ""), dtype=object) for level in (now, then)]
    # A level without a measuring point in force shares none with another such level.
    same = np.asarray((points[0] == points[1]) & (points[0] != ""), dtype=bool)
    # A default survey counts for more the older it is: no more than the smaller of the two parts is in both.
    survey_m = np.fmin(
        *(np.asarray(level.get("survey_uncertainty_m", np.nan), dtype=np.float64) for level in (now, then))
    )
    widths = [np.asarray(level["uncertainty_m"], dtype=np.float64) for level in (now, then)]
    return half_width_of_change(*widths, shared_m=np.where(same, np.nan_to_num(survey_m), 0.0))
