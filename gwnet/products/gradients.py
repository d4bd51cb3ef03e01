"""Gradients round by round, about wells and in clusters, as tables and figures."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import pandas as pd

from gwnet.errors import AnalysisError
from gwnet.hydro.gradients.directions import directions
from gwnet.products.maps import gradient_row
from gwnet.products.product import Product
from gwnet.units import metres_per

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from gwnet.analysis.maps.round_gradients import RoundGradient
    from gwnet.hydro.gradients.local import LocalGradient
    from gwnet.products.seepage import Seepage


@dataclass(frozen=True, eq=False, repr=False)
class RoundGradients(Product):
    """The gradient of an aquifer in each round.

    Attributes
    ----------
    site : dict
        Settings of the site.
    aquifer, aquifer_name : str
        Code and name of the aquifer.
    found : tuple of RoundGradient
        In order of time.
    wells : tuple of str
        The wells that every plane goes through; empty for all that can be used in each round.
    seepage : Seepage or None
        Conductivity and porosity, where given.
    known_on_utc : datetime.datetime or None
        Record as known at this time.
    """

    site: dict[str, Any]
    aquifer: str
    aquifer_name: str
    found: tuple[RoundGradient, ...]
    wells: tuple[str, ...]
    seepage: Seepage | None
    known_on_utc: dt.datetime | None

    @property
    def table(self) -> pd.DataFrame:
        """Return the gradients, one row a round.

        Returns
        -------
        pandas.DataFrame
            round, date, then gradient, gradient_uncertainty, azimuth_degrees, azimuth_uncertainty_degrees,
            determined, wells (as `gwnet.products.maps.gradient_row`), triangles_gradient,
            triangles_azimuth_degrees, triangles (``agree`` or ``differ``), turn (how the direction differs from the
            last that was told), gradient_without_findings, azimuth_degrees_without_findings, finding, the velocity
            where conductivity and porosity are given [m/d], note.
        """
        return pd.DataFrame([self._row(one) for one in self.found])

    def _row(self, one: RoundGradient) -> dict[str, Any]:
        plane = one.gradient
        row: dict[str, Any] = {"round": one.round, "date": one.date.isoformat()}
        names = ("gradient", "gradient_uncertainty", "azimuth_degrees", "azimuth_uncertainty_degrees")
        values = gradient_row(plane) if plane is not None else dict.fromkeys(names) | {"determined": False, "note": ""}
        row |= {name: values[name] for name in names}
        row |= {"determined": values["determined"], "wells": one.wells}
        triangles = one.triangles if one.triangles is not None and one.triangles.n else None
        row |= {
            "triangles_gradient": None if triangles is None else triangles.magnitude,
            "triangles_azimuth_degrees": None if triangles is None else triangles.azimuth_deg,
            "triangles": one.checked,
            "turn": "" if one.turn is None else one.turn.verdict,
            "turn_degrees": None if one.turn is None or one.turn.verdict == "not determined" else one.turn.angle_deg,
        }
        sound = one.sound
        row |= {
            "gradient_without_findings": None if sound is None else sound.magnitude,
            "azimuth_degrees_without_findings": None if sound is None else sound.azimuth_deg,
            "finding": ", ".join(one.suspects),
        }
        if self.seepage is not None:
            row |= self.seepage.row(plane)
        return row | {"note": one.reason or values["note"]}

    def figure(self, unit: str = "m") -> Figure:
        """Return the rose of the rounds, with direction and size over the years.

        Parameters
        ----------
        unit : str, optional
            Unit of lengths in texts, m or ft.

        Returns
        -------
        matplotlib.figure.Figure
            The figure.

        Raises
        ------
        AnalysisError
            If no round has a gradient.
        """
        from gwnet.figures.base.text import known_text
        from gwnet.figures.maps.context import subtitle_of
        from gwnet.figures.series.rose import RosePoint, draw_rose, rose_plot_data

        points = [
            RosePoint(
                label=one.round or one.date.isoformat(),
                date=one.date,
                magnitude=one.gradient.magnitude,
                half_width=one.gradient.magnitude_half_width,
                azimuth_deg=one.gradient.azimuth_deg,
                azimuth_half_width_deg=one.gradient.azimuth_half_width_deg,
                determined=one.told,
                finding=bool(one.suspects),
            )
            for one in self.found
            if one.gradient is not None
        ]
        if not points:
            reason = self.found[0].reason if self.found else "there is no round"
            message = f"No round has a gradient: {reason.rstrip('.')}."
            raise AnalysisError(message, fix="Name other rounds, days or wells.")
        spread = directions([one.azimuth_deg for one in points if one.determined])
        name = f"{self.aquifer_name} ({self.aquifer})" if self.aquifer_name else self.aquifer
        first, last = points[0].date.isoformat(), points[-1].date.isoformat()
        return draw_rose(
            rose_plot_data(
                points,
                title=f"Horizontal gradients, {name}",
                subtitle=subtitle_of(self.site, first if first == last else f"{first} to {last}"),
                middle_deg=spread.mean_deg,
                concentration=spread.concentration,
                without=[(one.round or one.date.isoformat(), one.reason) for one in self.found if one.gradient is None],
                facts=[*self._facts(unit), *known_text(self.known_on_utc)],
            )
        )

    def _facts(self, unit: str) -> list[str]:
        facts = []
        if self.wells:
            facts.append(f"Every plane goes through {', '.join(self.wells)}.")
        else:
            counts = [one.wells for one in self.found if one.gradient is not None]
            many = f"{min(counts)} to {max(counts)}" if min(counts) < max(counts) else f"{max(counts)}"
            facts.append(f"Planes go through all levels that can be used, {many} a round.")
        if self.seepage is not None:
            told = [self.seepage.row(one.gradient) for one in self.found if one.told]
            if told:
                lowest = min(float(row["velocity_lowest_m_per_day"]) for row in told) / metres_per(unit)
                highest = max(float(row["velocity_highest_m_per_day"]) for row in told) / metres_per(unit)
                facts.append(f"Seepage velocity {lowest:.2g} to {highest:.2g} {unit}/d with {self.seepage.text}.")
        return facts


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
        One row a well: well, then gradient, gradient_uncertainty, azimuth_degrees, azimuth_uncertainty_degrees,
        determined, reach_m (distance to the farthest neighbour), neighbours, the columns of the surface's slope, the
        velocity where asked for [m/d], note.
    """
    slopes = surface.set_index("well").to_dict("index")
    rows = []
    for well, neighbours, one in found:
        names = ("gradient", "gradient_uncertainty", "azimuth_degrees", "azimuth_uncertainty_degrees", "determined")
        if one.plane is None:
            values = dict.fromkeys(names[:-1]) | {"determined": False, "note": "its nearest wells lie on one line"}
        else:
            values = gradient_row(one.plane)
        row = {"well": well, **{name: values[name] for name in names}}
        row |= {"reach_m": one.reach, "neighbours": ", ".join(neighbours), **slopes[well]}
        if seepage is not None:
            row |= seepage.row(one.plane)
        rows.append(row | {"note": values["note"]})
    return pd.DataFrame(rows)


@dataclass(frozen=True, eq=False, repr=False)
class VerticalGradientTable(Product):
    """Vertical gradients of the clusters of a site.

    Attributes
    ----------
    site : dict
        Settings of the site.
    table : pandas.DataFrame
        As `gwnet.analysis.maps.vertical_pairs.vertical_table`.
    known_on_utc : datetime.datetime or None
        Record as known at this time.
    """

    site: dict[str, Any]
    table: pd.DataFrame
    known_on_utc: dt.datetime | None

    def figure(self, unit: str = "m") -> Figure:
        """Return the gradients over the years, a panel for each pair.

        Parameters
        ----------
        unit : str, optional
            Unit of lengths in texts, m or ft.

        Returns
        -------
        matplotlib.figure.Figure
            The figure.

        Raises
        ------
        AnalysisError
            If no pair has a gradient.
        """
        from gwnet.figures.base.text import known_text, shown
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
        told = ", ".join(f"{count} {direction}" for direction, count in counts.sort_index().items())
        facts = (
            "Head in the lower well less head in the upper one, over the distance between the middles of their "
            f"screens: positive upward, m/m. Of {len(known)} gradients: {told}. Bars are 95 % half-widths.",
        )
        notes = [Note("Vertical gradients", (*facts, *known_text(self.known_on_utc)))]
        if reasons:
            notes.append(Note("No gradient", tuple(shown(text) for text in reasons)))
        first, last = min(known["date"]), max(known["date"])
        return draw_vertical(
            VerticalPlotData(
                "Vertical gradients", subtitle_of(self.site, f"{first} to {last}"), tuple(pairs), tuple(notes)
            )
        )
