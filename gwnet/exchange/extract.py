"""What is exported: a part of the record as frames, in one state of it."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from gwnet.analysis.levels.places import located
from gwnet.analysis.levels.table import levels, select_rows
from gwnet.analysis.pumping.readings import add_test_readings
from gwnet.clock import zone_of
from gwnet.records import Selection
from gwnet.store.snapshot import Snapshot

if TYPE_CHECKING:
    from gwnet.store.session import Store

#: Coordinate system of exports that hold wells of sites with different ones.
WORLD = "EPSG:4326"

#: Columns of the newest level of a well, and where they come from in the frame of levels.
_NEWEST = {
    "last_measured_at_utc": "measured_at_utc",
    "last_status": "status",
    "last_bound": "bound",
    "last_depth_to_water_m": "depth_to_water_m",
    "last_water_elevation_m": "water_elevation_m",
    "last_uncertainty_m": "uncertainty_m",
}


def show_nothing(_done: int, _total: int) -> None:
    """Show nothing of how far an export is."""


@dataclass(frozen=True)
class Extract:
    """A part of the record that is exported.

    Attributes
    ----------
    record : gwnet.store.snapshot.Snapshot
        The record, of one site or of all.
    selection : gwnet.records.Selection
        Wells, aquifer and dates that are exported.
    unit : str
        Unit of lengths, ``m`` or ``ft``, in formats that take one.
    progress : callable
        To be called with what is done and what there is in all.
    store : gwnet.store.session.Store, optional
        The open database, for formats that hold the whole record.

    Notes
    -----
    Frames are in metres and UTC; columns are those of `gwnet.store.fetch.frames.FRAMES`.
    """

    record: Snapshot
    selection: Selection = field(default_factory=Selection)
    unit: str = "m"
    progress: Callable[[int, int], None] = show_nothing
    store: Store | None = None

    @property
    def recorded_at_utc(self) -> dt.datetime:
        """Return when the state of the record was recorded, so that one state gives the same bytes every time."""
        state = self.record.state
        return dt.datetime(1970, 1, 1, tzinfo=dt.UTC) if state is None else state.recorded_at_utc

    @property
    def is_all_there_is(self) -> bool:
        """Return whether the whole record as it is now is exported."""
        return self.selection.is_everything and self.record.known_on is None and self.record.site is None

    @property
    def state_text(self) -> str:
        """Return the state of the record in words: its time and number."""
        state = self.record.state
        return "nothing on record" if state is None else state.text

    @cached_property
    def wells(self) -> pd.DataFrame:
        """The chosen wells, with easting and northing in the system of their site however they were given."""
        wells = self.of_wells(self.record.wells)
        systems = self.record.sites.set_index("site")["crs"]
        parts = [located(part, str(systems[site])) for site, part in wells.groupby("site", sort=False)]
        return pd.concat(parts).sort_index().reset_index(drop=True) if parts else wells

    @cached_property
    def crs(self) -> str:
        """The coordinate system of the chosen wells: that of their sites, or `WORLD` where these differ."""
        sites = self.record.sites
        used = sites.loc[sites["site"].isin(self.wells["site"]), "crs"].unique()
        return str(used[0]) if len(used) == 1 else WORLD

    @cached_property
    def levels(self) -> pd.DataFrame:
        """The reduced levels, as `gwnet levels` prints them: one row an event."""
        table = levels(self.record, self.selection)
        return select_rows(add_test_readings(self.record, table, self.selection), self.selection)

    @cached_property
    def wells_with_levels(self) -> pd.DataFrame:
        """The chosen wells with number and newest of the levels, which may be a bound; not one that is unusable."""
        table = self.levels
        # A dry well is known to be dry: its bound is the newest that is known, though no statistics take it.
        counted = table[table["usable"] | table["bound"].ne("")]
        newest = counted.sort_values("measured_at_utc", kind="stable").groupby(["site", "well"]).tail(1)
        newest = newest.set_index(["site", "well"])[list(_NEWEST.values())]
        newest.columns = pd.Index(list(_NEWEST))
        number = table.groupby(["site", "well"]).size().rename("level_count")
        keys = pd.MultiIndex.from_frame(self.wells[["site", "well"]])
        found = newest.reindex(keys).reset_index(drop=True)
        # A well without levels gets NaN from reindexing, which would be a number in a column of texts.
        for name in ("last_status", "last_bound"):
            found[name] = found[name].astype(object).where(found[name].notna(), "")
        count = number.reindex(keys).fillna(0).astype(np.int64).reset_index(drop=True)
        return pd.concat([self.wells, count, found], axis=1)

    def of_wells(self, table: pd.DataFrame) -> pd.DataFrame:
        """Return the rows of a frame with ``site`` and ``well`` that are of the chosen wells."""
        chosen, wells = self.selection, self.record.wells
        if chosen.wells is not None:
            wells = wells[wells["well"].isin(chosen.wells)]
        if chosen.aquifer is not None:
            wells = wells[wells["aquifer"] == chosen.aquifer]
        # Rows of no well, such as barometers, stay only where all wells are meant; a chosen well does not bring them
        # along.
        if len(wells) == len(self.record.wells):
            return table
        kept = pd.MultiIndex.from_frame(wells[["site", "well"]])
        return table[pd.MultiIndex.from_frame(table[["site", "well"]]).isin(kept)].reset_index(drop=True)

    def of_dates(self, table: pd.DataFrame, when: str = "measured_at_utc") -> pd.DataFrame:
        """Return the rows of a frame within the chosen dates, which are local to the site.

        Parameters
        ----------
        table : pandas.DataFrame
            Frame with a column of instants or of dates.
        when : str, optional
            Name of that column.
        """
        if self.selection.start is None and self.selection.end is None:
            return table
        times = table[when]
        if isinstance(times.dtype, pd.DatetimeTZDtype):
            day = times.dt.tz_convert(zone_of(self.record.zone)).dt.tz_localize(None).dt.normalize()
            # A day is local to the site, or readings of the evening would fall on the next day in UTC.
            dated = table.assign(day=day, measured_at_utc=times)
        else:
            day = pd.to_datetime(times)
            dated = table.assign(day=day, measured_at_utc=day.dt.tz_localize("UTC"))
        return table.loc[select_rows(dated.assign(_row=table.index), self.selection)["_row"]].reset_index(drop=True)


def shapes_of(extract: Extract, table: pd.DataFrame) -> list[object]:
    """Return a point for each row of a frame of wells in the system of an extract; None without coordinates.

    Parameters
    ----------
    extract : Extract
        Whose coordinate system is meant.
    table : pandas.DataFrame
        With site, easting and northing, each in the system of its site.
    """
    import shapely
    from pyproj import Transformer

    # Copied: with copy-on-write in pandas the array is read-only, and sites of other systems are written into it.
    x = table["easting"].to_numpy(dtype=np.float64).copy()
    y = table["northing"].to_numpy(dtype=np.float64).copy()
    systems = extract.record.sites.set_index("site")["crs"]
    for site in table["site"].unique():
        if str(systems[site]) != extract.crs:
            rows = (table["site"] == site).to_numpy()
            # always_xy: EPSG:4326 has latitude first, and points would be mirrored.
            to_world = Transformer.from_crs(str(systems[site]), extract.crs, always_xy=True)
            x[rows], y[rows] = to_world.transform(x[rows], y[rows])
    has_place = np.isfinite(x) & np.isfinite(y)
    return [shapely.Point(*place) if known else None for *place, known in zip(x, y, has_place, strict=True)]
