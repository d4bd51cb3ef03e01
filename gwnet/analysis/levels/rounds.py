"""Which gauging round a level belongs to.

A level belongs to the round whose code it has; without a code to the round of its site within whose dates it was
measured and that has its well. Where dates of rounds overlap, the round that starts last counts. Every table, figure
and sentence uses this assignment.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray


def assign_rounds(levels: pd.DataFrame, days: NDArray[np.datetime64], rounds: pd.DataFrame) -> NDArray[np.object_]:
    """Return the code of the round that each level belongs to.

    Parameters
    ----------
    levels : pandas.DataFrame
        Level events with site, well and round (the code on record, or empty).
    days : numpy.ndarray of datetime64, shape (n,)
        Local day of each.
    rounds : pandas.DataFrame
        Rounds, as `gwnet.store.fetch.programme.rounds`; one without a last day lasts its first day.

    Returns
    -------
    numpy.ndarray of str, shape (n,)
        Codes; empty for a level of no round.
    """
    codes: NDArray[np.object_] = levels["round"].to_numpy(dtype=object).copy()
    loose = np.flatnonzero(codes == "")
    if not loose.size or rounds.empty:
        return codes
    day = days[loose].astype("datetime64[D]")
    # Sorted by day, so that the events of each round are a slice, found by two searches.
    order = np.argsort(day, kind="stable")
    loose, day = loose[order], day[order]
    sites = levels["site"].to_numpy(dtype=object)[loose]
    wells = levels["well"].to_numpy(dtype=object)[loose]
    # In the order of their start, so that of overlapping rounds the one that starts last is written last.
    for planned in rounds.sort_values(["starts_on", "round"], kind="stable").to_dict("records"):
        first, last = days_of_round(planned)
        low, high = np.searchsorted(day, first), np.searchsorted(day, last, side="right")
        if low == high:
            continue
        belongs = sites[low:high] == planned["site"]
        if len(named := wells_of_round(planned)):
            belongs &= np.isin(wells[low:high].astype(str), named)
        codes[loose[low:high][belongs]] = planned["round"]
    return codes


def days_of_round(planned: dict[str, Any]) -> tuple[np.datetime64, np.datetime64]:
    """Return the first and last day of a round.

    Parameters
    ----------
    planned : dict
        A row of the rounds.

    Returns
    -------
    tuple of numpy.datetime64
        Days, both included.
    """
    ends = planned["ends_on"]
    # an empty date is None, or NaT, which equals nothing
    last = planned["starts_on"] if ends is None or ends != ends else ends
    return np.datetime64(planned["starts_on"], "D"), np.datetime64(last, "D")


def wells_of_round(planned: dict[str, Any]) -> list[str]:
    """Return the wells that a round names; none stands for every well.

    Parameters
    ----------
    planned : dict
        A row of the rounds.

    Returns
    -------
    list of str
        Codes in their order.
    """
    named = planned["wells"]
    return [str(name) for name in named] if isinstance(named, list | tuple | np.ndarray) else []
