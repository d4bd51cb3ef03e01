"""Records of one well as trend tests take them, made of tables without levels; constructed."""

import numpy as np

from gwnet.analysis.series.trend_records import WellRecord


def table(values, bound=0, *, years=None, shift=0.0, days=None, memory=None, well="A"):
    """Return a record of values, a row a year from 2001 on and a column a season; `shift` moves its times [year].

    Each value stands in the middle of its season, and has one level there unless days are given.
    """
    values = np.array(values, dtype=float)
    values = values[:, None] if values.ndim == 1 else values
    rows, seasons = values.shape
    years = np.arange(2001, 2001 + rows) if years is None else np.array(years)
    here = ~np.isnan(values)
    when = years[:, None] + (np.arange(seasons) + 0.5) / seasons + np.array(shift)
    months = (years[:, None] - 1970) * 12 + (12 * np.arange(seasons) + 6) // seasons
    if days is None:
        days = np.sort(months[here]).astype("datetime64[M]").astype("datetime64[D]") + 14
    bound = np.array(bound, dtype=np.int64)
    bound = bound[:, None] if bound.ndim == 1 else bound
    return WellRecord(
        "S", well, years.astype(np.int64), values, np.where(here, np.broadcast_to(bound, values.shape), 0).astype(np.int64),
        np.where(here, when, np.nan), np.array(days, dtype="datetime64[D]"), memory,
    )  # fmt: skip
