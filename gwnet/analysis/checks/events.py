"""The level events of one site as arrays for the checks."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Any, Final, TypeVar

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from gwnet.analysis.checks.check import Limit
from gwnet.analysis.levels.frame import levels_frame
from gwnet.analysis.levels.inputs import Floats, LevelInputs
from gwnet.analysis.levels.places import located
from gwnet.analysis.levels.reduce import Reduction, take_values
from gwnet.analysis.levels.serving import UNUSABLE_QUALITIES, USABLE_STATUSES
from gwnet.clock import to_instants
from gwnet.hydro.checks.neighbours import Fit, fit_around, nearest_wells
from gwnet.hydro.checks.spreads import Flags, Places
from gwnet.units import METRES_PER_UNIT, is_feet

#: Limits that several checks use.
HINT_SPREADS: Final = Limit(
    "hint_spreads", 5.0, "robust standard deviations of misfit from which an explanation is looked for"
)
HINT_FIT_SPREADS: Final = Limit("hint_fit_spreads", 2.0, "robust standard deviations within which an explanation fits")
LEAST_CHANGES: Final = Limit("least_changes", 8.0, "fewest changes or misfits of a well that show what is usual")
LEAST_MISFIT: Final = Limit("least_misfit_m", 0.05, "jumps and misfits smaller than this are never reported [m]")


_Value = TypeVar("_Value")

#: Words in the note of an event that name a unit other than that in which it was booked.
_FEET_WORDS: Final = r"\b(?:feet|foot|ft)\b"
_METRE_WORDS: Final = r"\b(?:metres?|meters?)\b"


class Events:
    """The level events of one site, sorted by well and time, with what the checks look up.

    Parameters
    ----------
    inputs : gwnet.analysis.levels.inputs.LevelInputs
        The site's level events.
    reduced : gwnet.analysis.levels.reduce.Reduction
        Their reduction.
    settings : pandas.Series
        The site's row of `gwnet.store.fetch.registry.sites`.
    limits : mapping of str to float
        Limits by name.
    rounds : pandas.DataFrame
        The site's gauging rounds.
    """

    def __init__(
        self,
        inputs: LevelInputs,
        reduced: Reduction,
        settings: pd.Series,
        limits: Mapping[str, float],
        rounds: pd.DataFrame,
    ) -> None:
        self.limits, self.settings, self.rounds = limits, settings, rounds
        self.inputs, self.reduced = inputs, reduced
        self._once: dict[str, Any] = {}
        self.site = str(settings["site"])
        codes, wells = np.unique(inputs.records["well_id"].to_numpy(dtype=np.int64), return_inverse=True)
        known = inputs.wells[inputs.wells["site"] == self.site].set_index("well_id")
        self.wells = located(known, str(settings["crs"])).reindex(codes)
        utc = to_instants(inputs.records["measured_at_utc"])
        # By id as well, so that two events at one instant have the same order on every database.
        self.order: Places = np.lexsort((inputs.records["event_id"].to_numpy(), utc, wells)).astype(np.int64)
        self.frame = levels_frame(inputs, reduced).iloc[self.order].reset_index(drop=True)
        self.records = inputs.records.iloc[self.order].reset_index(drop=True)
        self.well: Places = wells[self.order].astype(np.int64)
        self.utc = utc[self.order]
        self.time_d: Floats = self.utc.astype(np.int64) / 86_400e6
        local = inputs.local_time[self.order]
        self.day = local.astype("datetime64[D]")
        months = local.astype("datetime64[M]").astype(np.int64)
        # Quarters of the calendar from January on, by the local day.
        self.season: Places = (months % 12) // 3
        self.quarter: Places = months // 3

    def __len__(self) -> int:
        """Return the number of events."""
        return len(self.frame)

    def __getitem__(self, name: str) -> NDArray[Any]:
        """Return a column of the levels frame, shape (n,)."""
        return np.asarray(self.frame[name])

    def once(self, name: str, make: Callable[[], _Value]) -> _Value:
        """Return what several checks need, made once.

        Parameters
        ----------
        name : str
            Its name.
        make : callable
            Makes it.

        Returns
        -------
        object
            What was made.
        """
        if name not in self._once:
            self._once[name] = make()
        value: _Value = self._once[name]
        return value

    @cached_property
    def codes(self) -> NDArray[np.object_]:
        """Return the code of each event's well."""
        return self["well"]

    def of_well(self, name: str) -> Floats:
        """Return a number of each event's well.

        Parameters
        ----------
        name : str
            Column of the wells frame.

        Returns
        -------
        numpy.ndarray, shape (n,)
            Numbers; NaN where the well has none.
        """
        values: Floats = self.wells[name].to_numpy(dtype=np.float64)
        return values[self.well]

    @cached_property
    def read_level_m(self) -> Floats:
        """Return water elevations as read: also where water is below the screen, which is then only a bound."""
        # Without the corrections for stretch, which are millimetres: a misfit is not.
        depth = self.reduced.repeats.depth_m + self.reduced.tape.correction_m
        below, given = self.inputs.depth_below_ground_m, self.inputs.water_elevation_m
        level = np.where(
            np.isnan(below), self.reduced.point_elevation_m - depth, self.reduced.ground_elevation_m - below
        )
        level = np.where(np.isnan(given), level, given)[self.order]
        # A bound keeps the level that was read, which shows whether the reading was sound.
        return np.where(self["bound"] == "", self["water_elevation_m"], level)

    @cached_property
    def checked(self) -> Flags:
        """Return which events hold a level that is compared with the record: static or flowing, with a number.

        Levels that their source marked as suspect or poor are questioned already: they are not compared, and with
        nothing but a wrong level around them they would all seem wrong.
        """
        is_marked = np.isin(self["quality"], UNUSABLE_QUALITIES)
        return np.asarray(np.isin(self["status"], USABLE_STATUSES) & ~is_marked & ~np.isnan(self.read_level_m))

    @cached_property
    def sound(self) -> Flags:
        """Return which of these may serve as a reference for others."""
        return np.asarray(self.checked & self.frame["usable"].to_numpy(dtype=bool))

    @cached_property
    def level_m(self) -> Floats:
        """Return water elevations, NaN where an event is not compared with the record."""
        return np.where(self.checked, self.read_level_m, np.nan)

    @cached_property
    def neighbours(self) -> Places:
        """Return the nearest wells of each well in its aquifer."""
        names = self.wells["aquifer"].where(self.wells["aquifer"].notna(), "").to_numpy(dtype=object)
        _, groups = np.unique(names.astype(str), return_inverse=True)
        # Wells without an aquifer are not neighbours of one another.
        groups = np.where(names == "", -1, groups)
        place = self.wells[["easting", "northing"]].to_numpy(dtype=np.float64)
        return nearest_wells(groups, place[:, 0], place[:, 1])

    @cached_property
    def fit(self) -> Fit:
        """Return how each level fits the readings around it and the neighbours."""
        return fit_around(
            self.well,
            self.time_d,
            self.season,
            self.level_m,
            self.sound,
            self.neighbours,
            least=self.limits["least_changes"],
        )

    @cached_property
    def points(self) -> pd.DataFrame:
        """Return the measuring points."""
        return self.inputs.measuring_points

    @cached_property
    def point(self) -> Places:
        """Return the measuring point in force at each event, as a position in `points`; -1 for none."""
        return self.reduced.point.index[self.order]

    @cached_property
    def booked(self) -> Booked:
        """Return the number that each level rests on, as it was booked."""
        return _booked(self)

    @cached_property
    def may_be_in_feet(self) -> Flags:
        """Return which events may have been read in feet: where the record has feet, or the note says so."""
        return self._may_be_in(_FEET_WORDS, feet=True)

    @cached_property
    def may_be_in_metres(self) -> Flags:
        """Return which events may have been read in metres: where the record has metric units, or the note says so."""
        return self._may_be_in(_METRE_WORDS, feet=False)

    def _may_be_in(self, words: str, *, feet: bool) -> Flags:
        units = {str(self.settings["length_unit"]), *self.booked.unit[self.booked.unit != ""].tolist()}
        used = self.inputs.instruments["instrument_id"].isin(self.records["instrument_id"])
        units |= set(self.inputs.instruments.loc[used, "length_unit"].dropna().astype(str))
        # A record with feet anywhere may have them in any level; one without needs the word in the note.
        if any(is_feet(unit) == feet for unit in units):
            return np.ones(len(self), dtype=np.bool_)
        notes = self.frame["notes"].fillna("").astype(str)
        return np.asarray(notes.str.contains(words, case=False, regex=True), dtype=np.bool_)

    def of_point(self, name: str, index: Places | None = None) -> Floats:
        """Return a number of measuring points.

        Parameters
        ----------
        name : str
            Column of the measuring points.
        index : numpy.ndarray of int64, optional
            Positions in `points`; those in force at each event unless given.

        Returns
        -------
        numpy.ndarray
            Numbers; NaN for position -1.
        """
        # A point that is not in force gives NaN rather than the last of the table.
        return take_values(self.points[name].to_numpy(dtype=np.float64), self.point if index is None else index)

    @property
    def in_feet(self) -> bool:
        """Return whether lengths are written in feet, the site's unit."""
        return is_feet(str(self.settings["length_unit"]))

    def length(self, value_m: float, *, signed: bool = False) -> str:
        """Return a length as text in the site's unit: millimetres for m, hundredths for feet.

        Parameters
        ----------
        value_m : float
            Length [m].
        signed : bool, optional
            Whether to write a plus sign.
        """
        value = value_m / METRES_PER_UNIT[str(self.settings["length_unit"])] if self.in_feet else value_m
        sign = "+" if signed else ""
        return f"{value:{sign}.2f} ft" if self.in_feet else f"{value:{sign}.3f} m"


@dataclass(frozen=True, eq=False)
class Booked:
    """The number that each level rests on; shape (n,) each.

    Attributes
    ----------
    value : numpy.ndarray
        The number in its own unit, NaN for none.
    decimals : numpy.ndarray of int64
        Decimals as it was written.
    metres : numpy.ndarray
        Metres in one unit.
    sense : numpy.ndarray
        -1 for depths (the level falls as the number grows), +1 for elevations.
    quantity, unit, written : numpy.ndarray of str
        What was booked, its unit, and the text.
    """

    value: Floats
    decimals: Places
    metres: Floats
    sense: Floats
    quantity: NDArray[np.object_]
    unit: NDArray[np.object_]
    written: NDArray[np.object_]


#: Quantities that a level can rest on, the first that was booked counts.
_QUANTITIES: Final = ("water_elevation", "depth_below_ground", "depth_to_water")


def _booked(events: Events) -> Booked:
    readings = events.inputs.readings
    first = readings[(readings["ordinal"] == 1) & readings["quantity"].isin(_QUANTITIES)]
    rank = first["quantity"].map({name: place for place, name in enumerate(_QUANTITIES)})
    # Of several quantities of one visit the one that the elevation is taken from.
    first = first.assign(rank=rank).sort_values("rank", kind="stable").drop_duplicates("record_id")
    rows = first.set_index("record_id").reindex(events.records["record_id"])
    written = rows["written"].where(rows["written"].notna(), "").to_numpy(dtype=object)
    # a text of digits is a number whether one reading has them or none has
    fraction = pd.to_numeric(pd.Series(written).str.extract(r"[.,](\d+)\s*$", expand=False).str.len())
    quantity = rows["quantity"].where(rows["quantity"].notna(), "").to_numpy(dtype=object)
    unit = rows["unit"].where(rows["unit"].notna(), "").to_numpy(dtype=object)
    return Booked(
        rows["value"].to_numpy(dtype=np.float64),
        fraction.fillna(0).to_numpy(dtype=np.int64),
        rows["unit"].map(METRES_PER_UNIT).to_numpy(dtype=np.float64),
        # A depth that is too large makes the level too low: the sign turns what a slip adds to the number.
        np.where(quantity == "water_elevation", 1.0, -1.0),
        quantity,
        unit,
        written,
    )
