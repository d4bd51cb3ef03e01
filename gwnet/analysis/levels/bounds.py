"""Levels that are bounds for the aquifer: dry, overflowing, or read below the screen."""

from __future__ import annotations

from typing import Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

#: What the reduction notices of a level that was read below the screen.
BELOW_SCREEN: Final = "water below the screen"


def is_below_screen(levels: pd.DataFrame) -> NDArray[np.bool_]:
    """Return which levels were read below the screen: a number in the well, and a bound for the aquifer.

    Parameters as `gwnet.analysis.levels`.

    Returns
    -------
    numpy.ndarray of bool, shape (n,)
        Whether water was read below the screen.
    """
    texts = [text for text in levels["finding"].unique() if BELOW_SCREEN in str(text).split("; ")]
    return np.asarray(levels["finding"].isin(texts), dtype=bool)


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
