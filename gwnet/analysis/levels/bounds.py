"""Levels that are bounds for the aquifer: dry, overflowing, read below the screen, of a sensor out of water."""

from __future__ import annotations

from typing import Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

#: What the reduction notices of a level that was read below the screen.
BELOW_SCREEN: Final = "water below the screen"

#: What is noticed of a level of a logger that had no water above it.
SENSOR_OUT: Final = "sensor out of water"


def is_below_screen(levels: pd.DataFrame) -> NDArray[np.bool_]:
    """Return which levels were read below the screen: a number in the well, and a bound for the aquifer.

    Parameters as `gwnet.analysis.levels`.

    Returns
    -------
    numpy.ndarray of bool, shape (n,)
        Whether water was read below the screen.
    """
    return is_noticed(levels, BELOW_SCREEN)


def is_sensor_out(levels: pd.DataFrame) -> NDArray[np.bool_]:
    """Return which levels are of a sensor out of water: bounds, as those of a dry well.

    Parameters as `gwnet.analysis.levels`.

    Returns
    -------
    numpy.ndarray of bool, shape (n,)
        Whether the sensor had no water above it.
    """
    return is_noticed(levels, SENSOR_OUT)


def is_noticed(levels: pd.DataFrame, phrase: str) -> NDArray[np.bool_]:
    """Return of which levels the reduction, or a rule of loggers, noticed something.

    Parameters as `gwnet.analysis.levels`.

    Parameters
    ----------
    phrase : str
        What was noticed, one of the phrases of column ``finding``.

    Returns
    -------
    numpy.ndarray of bool, shape (n,)
        Whether it was.
    """
    # The distinct texts are few, the levels many: each text is taken apart once.
    texts = [text for text in levels["finding"].unique() if phrase in str(text).split("; ")]
    return np.asarray(levels["finding"].isin(texts), dtype=bool)


def signs_of(levels: pd.DataFrame) -> NDArray[np.object_]:
    """Return the sign before the water elevation of each level: that of its bound, where the elevation is the bound.

    Parameters as `gwnet.analysis.levels`.

    Returns
    -------
    numpy.ndarray of str, shape (n,)
        ``<=``, ``>=`` or empty; empty for water read below the screen as well, whose number is a reading.
    """
    # Water below the screen was read: its number has no sign, and lies below the bound.
    is_number = bound_elevations(levels) > levels["water_elevation_m"].to_numpy(dtype=np.float64)
    return np.where(is_number, "", levels["bound"].to_numpy(dtype=object)).astype(object)


def bound_elevations(levels: pd.DataFrame) -> NDArray[np.float64]:
    """Return the elevation that each level is for the aquifer: the bound where it is one, else the number.

    Parameters as `gwnet.analysis.levels`.

    Returns
    -------
    numpy.ndarray, shape (n,)
        Elevations, positive upward [m].
    """
    number = levels["water_elevation_m"]
    bound = levels.get("bound_elevation_m", number)
    return np.asarray(bound.where(bound.notna(), number), dtype=np.float64)
