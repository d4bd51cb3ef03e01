"""The figure of stored samples of loggers."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np
import pandas as pd

from gwnet.errors import NotFoundError
from gwnet.figures.series.samples import SamplePanel, draw_samples

if TYPE_CHECKING:
    from matplotlib.figure import Figure

_DAY_US: Final = 86_400_000_000.0

#: Series of one figure.
_MOST: Final = 24


def samples_figure(table: pd.DataFrame) -> Figure:
    """Draw stored samples, a panel an instrument and quantity.

    Parameters
    ----------
    table : pandas.DataFrame
        As `gwnet.analysis.loggers.raw_samples.list_samples`.

    Returns
    -------
    matplotlib.figure.Figure
        The figure, over UTC.

    Raises
    ------
    NotFoundError
        If there is no sample to draw.
    """
    groups = list(table.groupby(["instrument", "quantity", "unit"], sort=False))
    if not groups:
        message = "No sample of a logger is on record that matches."
        raise NotFoundError(message, fix="Ask for more: another instrument, quantity or span.")
    panels = []
    for (instrument, quantity, unit), rows in groups[:_MOST]:
        # A logger may have hung in several wells within the span; a barometer in none.
        wells = [well for well in dict.fromkeys(rows["well"]) if well]
        place = f" in {', '.join(wells)}" if wells else ""
        days = rows["time_utc"].dt.tz_localize(None).to_numpy("datetime64[us]").astype(np.int64) / _DAY_US
        values = rows["value"].to_numpy(dtype=np.float64)
        panels.append(SamplePanel(f"{instrument}{place}: {quantity}", str(unit), days, values))
    notes = ["No correction and no air pressure is applied. Times in UTC, as the layouts of the files give them."]
    if len(groups) > _MOST:
        notes.append(f"{len(groups) - _MOST} more series are not drawn.")
    return draw_samples(panels, notes)
