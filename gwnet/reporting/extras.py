"""What further sections of a report are made from, gathered only where the definition asks for them."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Final

import pandas as pd

from gwnet.errors import ReportError
from gwnet.reporting.content import DrawnFigure

__all__ = ["EXTRA_COLUMNS", "AquiferChange", "Extras", "Picture"]

#: Columns that each frame must have; more are welcome.
EXTRA_COLUMNS: Final[Mapping[str, tuple[str, ...]]] = {
    "gradients": (
        "aquifer",
        "round",
        "date",
        "gradient",
        "gradient_uncertainty",
        "azimuth_degrees",
        "azimuth_uncertainty_degrees",
        "determined",
        "wells",
        "triangles",
        "turn",
        "finding",
        "note",
    ),
    "vertical": (
        "cluster",
        "upper_well",
        "lower_well",
        "round",
        "date",
        "screen_distance_m",
        "head_difference_m",
        "head_difference_uncertainty_m",
        "vertical_gradient",
        "vertical_gradient_uncertainty",
        "direction",
        "note",
    ),
    "seasons": (
        "well",
        "n",
        "first",
        "last",
        "newest",
        "newest_bound",
        "newest_m",
        "percentile",
        "percentile_years",
        "amplitude_m",
        "highest_in_year",
        "highest",
        "highest_m",
        "lowest",
        "lowest_m",
        "note",
    ),
    "trends": (
        "well",
        "n",
        "first",
        "last",
        "n_bounds",
        "p",
        "p_adjusted",
        "slope_m_per_year",
        "slope_lower_m_per_year",
        "slope_upper_m_per_year",
        "direction",
        "note",
    ),
    "pooled": (
        "aquifer",
        "wells",
        "p",
        "slope_m_per_year",
        "slope_lower_m_per_year",
        "slope_upper_m_per_year",
        "direction",
        "wells_rising",
        "wells_falling",
        "p_wells_differ",
        "note",
    ),
    "threshold_dates": (
        "well",
        "threshold",
        "kind",
        "threshold_elevation_m",
        "state",
        "reached_on",
        "earliest",
        "latest",
    ),
    "loggers": (
        "well",
        "instrument",
        "first_utc",
        "last_utc",
        "samples",
        "coverage_percent",
        "gaps",
        "manual_readings",
        "last_manual_reading",
        "residual_m",
        "leave_one_out_residual_m",
        "drift_m_per_year",
        "drift_share_percent",
        "uncertainty_m",
        "findings",
        "warnings",
    ),
}


@dataclass(frozen=True, slots=True, eq=False)
class Picture:
    """A figure that was not drawn yet.

    Parameters
    ----------
    key, caption, alt : str
        As of `gwnet.reporting.content.FigureSlot`.
    draw : callable
        Gives one page of vector PDF, or a `DrawnFigure`; called when the report is rendered.
    bookmarks : tuple of str
        Entries in the document's outline that lead to it.
    """

    key: str
    caption: str
    alt: str
    draw: Callable[[], bytes | DrawnFigure] = field(repr=False)
    bookmarks: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, eq=False)
class AquiferChange:
    """Change of the levels of an aquifer between two days.

    Parameters
    ----------
    aquifer : str
        Code of the aquifer.
    date, since : date
        Later and earlier day.
    since_what : str
        What the earlier day is, for example ``the last round``.
    wells : DataFrame
        Change at each well: well, change_m, uncertainty_m, told, used, reason.
    facts : tuple of str
        Area, mean change and volumes in sentences.
    picture : Picture or None
        Map of the change; None where none could be drawn.
    refused : str
        Why not.
    """

    aquifer: str
    date: dt.date
    since: dt.date
    since_what: str
    wells: pd.DataFrame
    facts: tuple[str, ...] = ()
    picture: Picture | None = None
    refused: str = ""


def _empty(name: str) -> pd.DataFrame:
    return pd.DataFrame({column: pd.Series(dtype=object) for column in EXTRA_COLUMNS[name]})


@dataclass(frozen=True, slots=True, eq=False)
class Extras:
    """What further sections are made from; empty where the definition does not ask for it.

    Parameters
    ----------
    gradients, vertical, seasons, trends, pooled, threshold_dates, loggers : DataFrame
        Horizontal gradients by round, vertical ones by pair and round, seasons and trends of wells, pooled trends of
        aquifers, dates at which thresholds would be reached, and loggers, with the columns of `EXTRA_COLUMNS`.
    changes : tuple of AquiferChange
        Changes since the last round and since a year before.
    pictures : mapping of str to tuple of Picture
        Figures by kind of section.
    trend_text : str
        How trends were tested, in a sentence.
    """

    gradients: pd.DataFrame = field(default_factory=lambda: _empty("gradients"))
    vertical: pd.DataFrame = field(default_factory=lambda: _empty("vertical"))
    seasons: pd.DataFrame = field(default_factory=lambda: _empty("seasons"))
    trends: pd.DataFrame = field(default_factory=lambda: _empty("trends"))
    pooled: pd.DataFrame = field(default_factory=lambda: _empty("pooled"))
    threshold_dates: pd.DataFrame = field(default_factory=lambda: _empty("threshold_dates"))
    loggers: pd.DataFrame = field(default_factory=lambda: _empty("loggers"))
    changes: tuple[AquiferChange, ...] = ()
    pictures: Mapping[str, tuple[Picture, ...]] = field(default_factory=dict)
    trend_text: str = ""

    def __post_init__(self) -> None:
        for name, columns in EXTRA_COLUMNS.items():
            missing = [column for column in columns if column not in getattr(self, name).columns]
            if missing:
                message = f"Columns are missing: {', '.join(missing)}."
                raise ReportError(message, where=f"frame {name!r}")
