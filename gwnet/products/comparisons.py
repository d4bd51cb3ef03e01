"""Maps of change and paired maps, with their figures and files."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import pandas as pd

from gwnet.figures.base import style
from gwnet.products.maps import exclusions_row, gradient_row
from gwnet.products.product import Product
from gwnet.units import metres_per
from gwnet.whole_files import write_files

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from gwnet.analysis.maps.change import ChangeResult
    from gwnet.analysis.maps.paired import PairedMaps
    from gwnet.figures.maps.context import MapContext

#: An acre [m²]: 43,560 square feet. Of survey feet it would be larger by four parts in a million.
_ACRE_M2: Final = 43_560 * metres_per("ft") ** 2

#: Cautions of every comparison.
_VOLUME_CAUTION: Final = (
    "The volume of water is area times change times the storage coefficient that was put in; its bounds count the "
    "interval of the coefficient and the error of the mean change, not that storage varies from place to place and, "
    "where a water table falls, drains with delay."
)


@dataclass(frozen=True, eq=False, repr=False)
class ChangeMap(Product):
    """Change of levels between two days, as a sheet with its files.

    Attributes
    ----------
    result : gwnet.analysis.maps.change.ChangeResult
        Changes at wells, surface and sums.
    context : gwnet.figures.maps.context.MapContext
        Site, aquifer and record.
    """

    result: ChangeResult
    context: MapContext

    @property
    def table(self) -> pd.DataFrame:
        """Return the changes at wells, those left out among them."""
        return self.result.wells

    def facts(self) -> list[str]:
        """Return area, mean and volumes in sentences, in the unit of the map, and which tapes are in doubt."""
        sums, unit = self.result.sums, self.result.surface_map.unit
        unit_m = metres_per(unit)
        width, limits = f" ± {sums.mean_half_width_m / unit_m:.2f}", " (95 %)"
        # Infinite, and not only unknown, where three wells leave no degree of freedom.
        if not np.isfinite(sums.mean_half_width_m):
            width, limits = "", "" if np.isnan(sums.mean_half_width_m) else "; three wells say nothing of its limits"
        facts = [
            f"Control {_area(sums.area_m2, unit)}; mean change {_signed(sums.mean_m / unit_m)}{width} {unit}{limits}.",
            f"Volume of aquifer that rose through {_volume(sums.rise_m3, unit)} and fell through "
            f"{_volume(sums.fall_m3, unit)}.",
        ]
        # Not a number where the surface has no standard error, as of triangles: nothing is significant or not there.
        if not np.isnan(sums.rise_area_m2):
            risen, fallen = (share / sums.area_m2 for share in (sums.rise_area_m2, sums.fall_area_m2))
            facts.append(f"A rise is significant over {risen:.0%} of the control, a fall over {fallen:.0%}.")
        water = self.result.water_m3
        if water is not None and self.result.storage is not None:
            middle, *ends = (_volume(value, unit, signed=True) for value in water)
            bounds = f" (from {ends[0]} to {ends[1]})" if np.isfinite(water[1]) else ""
            facts.append(
                f"Change of stored water {middle}{bounds} with the storage coefficient "
                f"{self.result.storage.text} that was put in."
            )
        else:
            facts.append("No storage coefficient was given, so no volume of water is stated.")
        return [*facts, *self.result.tapes]

    def figure(self, size_mm: tuple[float, float] | None = None) -> Figure:
        """Return the sheet as a figure.

        Parameters
        ----------
        size_mm : tuple of float, optional
            Width and height [mm]; a page of its own unless given.
        """
        from gwnet.figures.maps.change_data import change_plot_data
        from gwnet.figures.maps.surface_map import MAP_SIZE_MM, draw_surface_map

        cautions = [_VOLUME_CAUTION] if self.result.storage is not None else []
        data = change_plot_data(self.result, self.context, facts=self.facts(), cautions=cautions)
        return draw_surface_map(data, size_mm=size_mm or MAP_SIZE_MM)

    def write(self, out: Path | str) -> list[Path]:
        """Write change.pdf, change.png and change.gpkg into a folder, all of them or none.

        Parameters as `gwnet.products`.

        Returns
        -------
        list of pathlib.Path
            The three files.
        """
        from gwnet.exchange.change_geopackage import change_geopackage

        files = {**style.sheet_files("change", self.figure()), "change.gpkg": change_geopackage(self.result)}
        return list(write_files(out, files, "map of change").values())

    def summary(self) -> pd.DataFrame:
        """Return what the map says in one row.

        Returns
        -------
        pandas.DataFrame
            aquifer, since, date, used, method, interval_m, area_m2, mean_change_m, mean_change_uncertainty_m, rise_m3
            and fall_m3 (of aquifer), significant_rise_percent, significant_fall_percent, storage_coefficient, water_m3,
            water_lowest_m3, water_highest_m3, not_significant, then the columns of
            `gwnet.products.maps.exclusions_row`.
        """
        result, sums = self.result, self.result.sums
        # Those left out have their own columns; what is not significant is listed of the used ones alone.
        left = result.wells[~result.wells["used"]]
        insignificant = result.wells[result.wells["used"] & ~result.wells["is_significant"]]
        water = result.water_m3 or (None, None, None)
        row = {
            "aquifer": result.aquifer,
            "since": result.since.isoformat(),
            "date": result.date.isoformat(),
            "used": int(result.wells["used"].sum()),
            "method": result.surface_map.method_text,
            "interval_m": result.surface_map.interval_m,
            "area_m2": sums.area_m2,
            "mean_change_m": sums.mean_m,
            "mean_change_uncertainty_m": sums.mean_half_width_m if np.isfinite(sums.mean_half_width_m) else np.nan,
            "rise_m3": sums.rise_m3,
            "fall_m3": sums.fall_m3,
            "significant_rise_percent": 100.0 * sums.rise_area_m2 / sums.area_m2,
            "significant_fall_percent": 100.0 * sums.fall_area_m2 / sums.area_m2,
            "storage_coefficient": "" if result.storage is None else result.storage.text,
            "water_m3": water[0],
            "water_lowest_m3": water[1],
            "water_highest_m3": water[2],
            "not_significant": ", ".join(insignificant["well"]),
            **exclusions_row(left),
        }
        return pd.DataFrame([row])


def _signed(value: float, decimals: int = 2) -> str:
    return f"{value:+.{decimals}f}".replace("-", "−")


def _area(square_m: float, unit: str) -> str:
    if unit == "ft":
        return f"{square_m / _ACRE_M2:.4g} acres"
    # Three digits: the edge of the control is no better known.
    return f"{square_m / 1e6:.3g} km²" if square_m >= 1e6 else f"{square_m / 1e4:.3g} ha"


def _volume(cubic_m: float, unit: str, *, signed: bool = False) -> str:
    """Return a volume to three digits, in cubic metres or acre-feet."""
    value, name = (cubic_m / metres_per("ft") / _ACRE_M2, "acre-ft") if unit == "ft" else (cubic_m, "m³")
    # Rounded first: 999.7 has a digit more once it is 1000.
    rounded = float(f"{value:.3g}")
    decimals = max(0, 2 - math.floor(math.log10(abs(rounded)))) if rounded else 0
    text = f"{rounded:{'+' if signed else ''},.{min(decimals, 3)}f}"
    # A space that does not break, as between thousands in the other texts; a comma is a decimal sign to many readers.
    text = text.replace("-", "−").replace(",", "\u00a0")
    return f"{text} {name}"


@dataclass(frozen=True, eq=False, repr=False)
class MapPair(Product):
    """Maps of two days on one sheet, with its files.

    Attributes
    ----------
    result : gwnet.analysis.maps.paired.PairedMaps
        Both maps and how they differ.
    context : gwnet.figures.maps.context.MapContext
        Site, aquifer and record.
    """

    result: PairedMaps
    context: MapContext

    @property
    def table(self) -> pd.DataFrame:
        """Return both maps, one row each; see `summary`."""
        return self.summary()

    def figure(self) -> Figure:
        """Return the sheet as a figure."""
        from gwnet.figures.maps.context import Note
        from gwnet.figures.maps.data import map_plot_data
        from gwnet.figures.maps.paired import PairPlotData, draw_paired_maps

        maps = self.result.maps
        sheets = [map_plot_data(drawn, self.context) for drawn in maps]
        # Half a page each has no room for the full text of two maps; what both share stands once below them.
        briefs = [replace(sheet, notes=tuple(note for note in sheet.notes if note.brief)) for sheet in sheets]
        notes = [
            Note("Directions of flow", (self.result.text,)),
            Note("Surfaces", tuple(f"{drawn.date.isoformat()}: {drawn.method_text}" for drawn in maps)),
            Note("Cautions", ("Two maps, never averaged: each shows its own day.", *_common_cautions(maps))),
        ]
        heads = [f"{drawn.date.isoformat()}\nGradient {drawn.gradient.text}" for drawn in maps]
        return draw_paired_maps(
            PairPlotData(
                **self.context.heading(
                    "Potentiometric surface",
                    " and ".join(drawn.date.isoformat() for drawn in maps),
                    maps[0].unit,
                    aquifer=maps[0].aquifer,
                    crs=maps[0].crs,
                ),
                maps=(briefs[0], briefs[1]),
                heads=(heads[0], heads[1]),
                notes=tuple(notes),
            )
        )

    def write(self, out: Path | str) -> list[Path]:
        """Write pair.pdf and pair.png, and a GeoPackage of each map, into a folder, all of them or none.

        Parameters as `gwnet.products`.

        Returns
        -------
        list of pathlib.Path
            The files.
        """
        from gwnet.exchange.geopackage import map_geopackage

        packages = {f"map_{drawn.date.isoformat()}.gpkg": map_geopackage(drawn) for drawn in self.result.maps}
        return list(write_files(out, {**style.sheet_files("pair", self.figure()), **packages}, "maps").values())

    def summary(self) -> pd.DataFrame:
        """Return both maps, one row each, and how the second's direction differs from the first's.

        Returns
        -------
        pandas.DataFrame
            aquifer, date, used, interval_m, then the gradient's columns as `gwnet.products.maps.gradient_row`, then
            turn, turn_degrees, turn_uncertainty_degrees (of the second against the first, by the wells used on both
            days) and reversed_percent; empty in the first row.
        """
        rows = []
        for i, drawn in enumerate(self.result.maps):
            row = {
                "aquifer": drawn.aquifer,
                "date": drawn.date.isoformat(),
                "used": len(drawn.used),
                "interval_m": drawn.interval_m,
                **gradient_row(drawn.gradient),
            }
            # In the row of the later map: a turn is of the second day against the first.
            turn = self.result.turn if i == 1 else None
            row |= {
                "turn": "" if turn is None else turn.verdict,
                "turn_degrees": None if turn is None else turn.angle_deg,
                "turn_uncertainty_degrees": None if turn is None else turn.half_width_deg,
                "reversed_percent": 100.0 * self.result.reversed_share if i == 1 else None,
            }
            rows.append(row)
        return pd.DataFrame(rows)


def _common_cautions(maps: tuple[Any, Any]) -> list[str]:
    """Return the cautions that both maps share once, and the others with their day."""
    shared = [text for text in maps[0].cautions if text in maps[1].cautions]
    own = [f"{drawn.date.isoformat()}: {text}" for drawn in maps for text in drawn.cautions if text not in shared]
    return [*own, *shared]
