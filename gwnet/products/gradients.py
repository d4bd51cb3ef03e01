"""Gradients round by round, about wells and in clusters, as tables and figures."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import pandas as pd

from gwnet.errors import AnalysisError
from gwnet.hydro.gradients.directions import directions
from gwnet.products.maps import gradient_row, row_without_findings
from gwnet.products.product import Product
from gwnet.units import metres_per

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from gwnet.analysis.maps.round_gradients import RoundGradient
    from gwnet.figures.maps.context import MapContext
    from gwnet.figures.series.rose import RosePlotData
    from gwnet.hydro.gradients.horizontal import Gradient
    from gwnet.hydro.gradients.local import LocalGradient
    from gwnet.products.seepage import Seepage


@dataclass(frozen=True, eq=False, repr=False)
class RoundGradients(Product):
    """The gradient of an aquifer in each round.

    Attributes
    ----------
    context : gwnet.figures.maps.context.MapContext
        Site, aquifer and record.
    aquifer : str
        Code of the aquifer.
    gradients : tuple of RoundGradient
        In order of time.
    wells : tuple of str
        The wells that every plane goes through; empty for all that can be used in each round.
    seepage : Seepage or None
        Conductivity and porosity, where given.
    """

    context: MapContext
    aquifer: str
    gradients: tuple[RoundGradient, ...]
    wells: tuple[str, ...] = ()
    seepage: Seepage | None = None

    @property
    def table(self) -> pd.DataFrame:
        """Return the gradients, one row a round.

        Returns
        -------
        pandas.DataFrame
            round, date, then the columns of a plane (as `gwnet.products.maps.gradient_row`), levels, loggers, gauges
            (how many of them are of loggers and gauges), triangles_gradient, triangles_azimuth_degrees, triangles
            (``agree`` or ``differ``), turn (how the direction differs from the last that was determined),
            gradient_without_findings, azimuth_degrees_without_findings, finding, the velocity where conductivity and
            porosity are given [m/d], note.
        """
        return pd.DataFrame([self._row(gradient) for gradient in self.gradients])

    def _row(self, gradient: RoundGradient) -> dict[str, Any]:
        turn = gradient.turn
        triangles = gradient.triangles if gradient.triangles is not None and gradient.triangles.n else None
        values = _plane_row(gradient.gradient)
        return {
            "round": gradient.round,
            "date": gradient.date.isoformat(),
            **{name: values[name] for name in _PLANE_COLUMNS},
            "levels": gradient.count(),
            "loggers": gradient.count("logger"),
            "gauges": gradient.count("stage"),
            "triangles_gradient": None if triangles is None else triangles.magnitude,
            "triangles_azimuth_degrees": None if triangles is None else triangles.azimuth_deg,
            "triangles": gradient.agreement,
            "turn": "" if turn is None else turn.verdict,
            # An angle beside "not determined" would be read as a turn.
            "turn_degrees": None if turn is None or turn.verdict == "not determined" else turn.angle_deg,
            **row_without_findings(gradient.sound),
            "finding": ", ".join(gradient.suspects),
            **({} if self.seepage is None else self.seepage.row(gradient.gradient)),
            "note": gradient.reason or values["note"],
        }

    def figure(self, unit: str = "m") -> Figure:
        """Return the rose of the rounds, with direction and size over the years.

        Parameters
        ----------
        unit : str, optional
            Unit of lengths in texts, m or ft.

        Raises
        ------
        AnalysisError
            If no round has a gradient.
        """
        from gwnet.figures.series.rose import draw_rose

        return draw_rose(self.plot_data(unit))

    def block(self, period: tuple[float, float], size_mm: tuple[float, float]) -> Figure:
        """Return the sector of the directions, with direction and size over the years, for a page of a report.

        Parameters
        ----------
        period : tuple of float
            Reported period: first day and the day after the last, days since 1970-01-01.
        size_mm : tuple of float
            Width and height [mm].

        Raises
        ------
        AnalysisError
            If no round has a gradient.
        """
        from gwnet.figures.series.gradient_sector import draw_gradient_block

        return draw_gradient_block(self.plot_data(), period=period, size_mm=size_mm)

    def plot_data(self, unit: str = "m") -> RosePlotData:
        """Return what the figures show.

        Parameters
        ----------
        unit : str, optional
            Unit of lengths in texts, m or ft.

        Raises
        ------
        AnalysisError
            If no round has a gradient.
        """
        from gwnet.figures.maps.context import subtitle_of
        from gwnet.figures.series.rose import RosePoint, rose_plot_data

        points = [
            RosePoint(
                label=gradient.round or gradient.date.isoformat(),
                date=gradient.date,
                magnitude=plane.magnitude,
                half_width=plane.magnitude_half_width,
                azimuth_deg=plane.azimuth_deg,
                azimuth_half_width_deg=plane.azimuth_half_width_deg,
                determined=gradient.is_determined,
                finding=bool(gradient.suspects),
            )
            for gradient in self.gradients
            if (plane := gradient.gradient) is not None
        ]
        if not points:
            reason = self.gradients[0].reason if self.gradients else "there is no round"
            message = f"No round has a gradient: {reason.rstrip('.')}."
            raise AnalysisError(message, fix="Name other rounds, days or wells.")
        # A direction that may be any takes no part in the mean.
        spread = directions([point.azimuth_deg for point in points if point.determined])
        first, last = points[0].date.isoformat(), points[-1].date.isoformat()
        # Listed below the figure: a missing point would otherwise pass for a round that was not measured.
        without = [gradient for gradient in self.gradients if gradient.gradient is None]
        return rose_plot_data(
            points,
            title=f"Horizontal gradients, {self.context.named(self.aquifer)}",
            subtitle=subtitle_of(self.context.site, first if first == last else f"{first} to {last}"),
            middle_deg=spread.mean_deg,
            concentration=spread.concentration,
            without=[(gradient.round or gradient.date.isoformat(), gradient.reason) for gradient in without],
            facts=[*self._facts(unit), *self.context.known],
        )

    def _facts(self, unit: str) -> list[str]:
        facts = []
        if self.wells:
            facts.append(f"Every plane goes through {', '.join(self.wells)}.")
        else:
            counts = [gradient.count() for gradient in self.gradients if gradient.gradient is not None]
            many = f"{min(counts)} to {max(counts)}" if min(counts) < max(counts) else f"{max(counts)}"
            facts.append(f"Planes go through all levels that can be used, {many} a round.")
        # A velocity needs a direction: an undetermined gradient bounds it from above only, which the table says.
        known = [gradient.gradient for gradient in self.gradients if gradient.is_determined]
        if self.seepage is not None and known:
            rows = [self.seepage.row(plane) for plane in known]
            lowest = min(float(row["velocity_lowest_m_per_day"]) for row in rows) / metres_per(unit)
            highest = max(float(row["velocity_highest_m_per_day"]) for row in rows) / metres_per(unit)
            facts.append(f"Seepage velocity {lowest:.2g} to {highest:.2g} {unit}/d with {self.seepage.text}.")
        return facts


#: Columns of a plane's gradient in the tables.
_PLANE_COLUMNS = (
    *("gradient", "gradient_uncertainty", "gradient_upper_limit", "azimuth_degrees", "azimuth_uncertainty_degrees"),
    *("azimuth_from_degrees", "azimuth_to_degrees", "determined"),
)


def _plane_row(plane: Gradient | None, why: str = "") -> dict[str, Any]:
    """Return a gradient as named values; nothing is determined where there is no plane."""
    if plane is not None:
        return gradient_row(plane)
    return dict.fromkeys(_PLANE_COLUMNS) | {"determined": False, "note": why}


def local_rows(
    found: Sequence[tuple[str, tuple[str, ...], LocalGradient]],
    surface: pd.DataFrame,
    seepage: Seepage | None = None,
) -> pd.DataFrame:
    """Return local gradients as a table.

    Parameters
    ----------
    found : sequence of tuple
        As `gwnet.analysis.maps.round_gradients.gradients_by_well`.
    surface : pandas.DataFrame
        As `gwnet.analysis.maps.round_gradients.surface_by_well`.
    seepage : Seepage, optional
        Conductivity and porosity, where given.

    Returns
    -------
    pandas.DataFrame
        One row a well: well, then the columns of a plane (as `gwnet.products.maps.gradient_row`), reach_m (distance to
        the farthest neighbour), neighbours, the columns of the surface's slope, the velocity where asked for [m/d],
        note.
    """
    slopes = surface.set_index("well").to_dict("index")
    rows = []
    for well, neighbours, local in found:
        values = _plane_row(local.plane, "its nearest wells lie on one line")
        row = {"well": well, **{name: values[name] for name in _PLANE_COLUMNS}}
        row |= {"reach_m": local.reach, "neighbours": ", ".join(neighbours), **slopes[well]}
        if seepage is not None:
            row |= seepage.row(local.plane)
        rows.append(row | {"note": values["note"]})
    return pd.DataFrame(rows)


@dataclass(frozen=True, eq=False, repr=False)
class VerticalGradientTable(Product):
    """Vertical gradients of the clusters of a site.

    Attributes
    ----------
    context : gwnet.figures.maps.context.MapContext
        Site and record.
    table : pandas.DataFrame
        As `gwnet.analysis.maps.vertical_pairs.vertical_table`.
    """

    context: MapContext
    table: pd.DataFrame

    def figure(self, unit: str = "m") -> Figure:
        """Return the gradients over the years, a panel for each pair.

        Parameters
        ----------
        unit : str, optional
            Unit of lengths in texts, m or ft.

        Raises
        ------
        AnalysisError
            If no pair has a gradient.
        """
        from gwnet.figures.base.text import shown
        from gwnet.figures.maps.context import Note, subtitle_of
        from gwnet.figures.series.vertical import VerticalPair, VerticalPlotData, VerticalPoint, draw_vertical

        known = self.table[self.table["vertical_gradient"].notna()]
        if known.empty:
            reason = str(self.table["note"].iloc[0]) if len(self.table) else "there is no pair of wells in a cluster"
            message = f"No pair has a vertical gradient: {reason}."
            raise AnalysisError(message, fix="Record the clusters and screens of wells, or name other clusters.")
        pairs = []
        for (cluster, upper, lower), rows in known.groupby(["cluster", "upper_well", "lower_well"], sort=True):
            apart = rows["screen_distance_m"].iloc[0] / metres_per(unit)
            distance = f"{apart:.2f} {unit} between the middles of the screens"
            points = tuple(
                VerticalPoint(
                    date=dt.date.fromisoformat(row["date"]),
                    gradient=float(row["vertical_gradient"]),
                    half_width=float(row["vertical_gradient_uncertainty"]),
                    # Any other word says that the half-width holds zero, and the mark is hollow.
                    determined=row["direction"] in ("upward", "downward"),
                )
                for row in rows.to_dict("records")
            )
            pairs.append(VerticalPair(shown(f"{cluster}: {upper} above {lower}, {distance}"), points))
        without = self.table[self.table["vertical_gradient"].isna()]
        reasons = [
            f"{row['round'] or row['date']}, {row['cluster']}: {row['note']}" for row in without.to_dict("records")
        ]
        counts = known["direction"].value_counts()
        listed = ", ".join(f"{count} {direction}" for direction, count in counts.sort_index().items())
        facts = (
            "Head in the lower well less head in the upper one, over the distance between the middles of their "
            f"screens: positive upward, m/m. Of {len(known)} gradients: {listed}. Bars are 95 % half-widths.",
        )
        notes = [Note("Vertical gradients", (*facts, *self.context.known))]
        if reasons:
            notes.append(Note("No gradient", tuple(shown(text) for text in reasons)))
        first, last = min(known["date"]), max(known["date"])
        return draw_vertical(
            VerticalPlotData(
                "Vertical gradients", subtitle_of(self.context.site, f"{first} to {last}"), tuple(pairs), tuple(notes)
            )
        )
