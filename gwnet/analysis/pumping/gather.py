"""A pumping test gathered from the record: its rates, the levels of its wells, distances and dimensions of wells."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import pandas as pd

from gwnet.analysis.levels.places import located
from gwnet.analysis.levels.serving import UNUSABLE_QUALITIES, judge_levels
from gwnet.analysis.levels.table import levels
from gwnet.analysis.loggers.channels import deployments_in
from gwnet.analysis.loggers.heads import LoggerHeads, iterate_heads
from gwnet.analysis.maps.site_maps import unit_of_coordinates
from gwnet.analysis.pumping.air import WellAir, without_air
from gwnet.analysis.pumping.others import other_pumping
from gwnet.analysis.pumping.readings import add_moments, reading_inputs, readings_of_tests, reduce_readings
from gwnet.errors import NotFoundError
from gwnet.hydro.reduction.uncertainty import combined_half_width
from gwnet.records import Selection
from gwnet.store.snapshot import Snapshot

#: Columns of the levels of a test.
LEVEL_COLUMNS: Final = tuple(
    (
        "well measured_at_utc elapsed_min water_elevation_m depth_to_water_m air_correction_m given_drawdown_m "
        "half_width_m source passed quality"
    ).split()
)

#: Hours before the start in which levels count as levels before the test.
BEFORE_HOURS: Final = 24.0

#: Sources of levels that a person read.
_BY_HAND: Final = ("manual", "level event")

_MINUTE: Final = pd.Timedelta(minutes=1)
_UTC: Final = "datetime64[us, UTC]"


@dataclass(frozen=True, eq=False)
class GatheredTest:
    """A test as it is on record.

    Attributes
    ----------
    site, test, kind, well, purpose, crew, notes : str
        What is on record of the test; well is the pumped one.
    zone : str
        Time zone of the site.
    starts_utc : pandas.Timestamp
        When the pump started.
    stops_utc : pandas.Timestamp or NaT
        When it stopped.
    before_hours : float
        Hours before the start in which levels count as levels before the test.
    rates : pandas.DataFrame
        Rates in order of time: well, elapsed_min, rate_l_s, method, volume_l, seconds_s, notes.
    levels : pandas.DataFrame
        Columns of `LEVEL_COLUMNS`, in order of well and time: manual readings of the test, levels of the network before
        it, and heads of loggers, all as they stood in the well. air_correction_m is what is added so that the effect of
        the change of air pressure since the start is out; NaN where nothing is. half_width_m is that of the reading
        alone, since the survey of the measuring point falls out of a drawdown. Readings of quality suspect or poor are
        left out.
    left_out : int
        Readings of quality suspect or poor.
    wells : pandas.DataFrame
        Its wells and those of ``others``, the pumped one first, the others by distance: well, distance_m, easting_m,
        northing_m, ground_elevation_m, screen_top_m, screen_bottom_m, total_depth_m, radius_m, casing_radius_m,
        aquifer, use (purpose and role on record).
    others : pandas.DataFrame
        What was pumped beside the pumped well, in this test and in others of the site:
        `gwnet.analysis.pumping.others.OTHER_COLUMNS`.
    intake_depth_m, thickness_m : float
        NaN where not on record [m].
    air : tuple of gwnet.analysis.pumping.air.WellAir
        How the effect of air pressure was taken out, of each well of which it was.
    """

    site: str
    test: str
    kind: str
    well: str
    purpose: str
    crew: str
    notes: str
    zone: str
    starts_utc: pd.Timestamp
    stops_utc: Any
    before_hours: float
    rates: pd.DataFrame
    levels: pd.DataFrame
    left_out: int
    wells: pd.DataFrame
    others: pd.DataFrame
    intake_depth_m: float
    thickness_m: float
    air: tuple[WellAir, ...] = ()

    @property
    def stop_min(self) -> float:
        """Return when the pump stopped, counted from the start; infinite where that is not on record [min]."""
        return math.inf if pd.isna(self.stops_utc) else (self.stops_utc - self.starts_utc) / _MINUTE

    @property
    def read_wells(self) -> list[str]:
        """Return the wells with readings or heads, the pumped one first, the others by distance."""
        return [str(well) for well in self.wells["well"] if (self.levels["well"] == well).any()]

    @property
    def observed_wells(self) -> list[str]:
        """Return the wells that belong to the test beside the pumped one, by distance.

        Those that were read by hand for it. Of wells with heads of loggers alone those that are observation wells by
        the purpose or role on record, in the aquifer of the pumped well, with heads before and after the start, and no
        farther than the farthest well that was read by hand, where one was. A well that is pumped itself has losses of
        its own and is left out.
        """
        pumped = {self.well, *self.others.loc[self._is_near(self.others), "well"]}
        is_manual = self.levels["source"].isin(_BY_HAND)
        after = self.levels["elapsed_min"] > 0
        read = set(self.levels.loc[is_manual & after, "well"])
        distances = self.wells.set_index("well")["distance_m"]
        # Loggers farther than the farthest well that was read on purpose run for other reasons.
        reach = distances[distances.index.isin(read - pumped)].max() if read - pumped else math.inf
        aquifer = str(self.row_of(self.well)["aquifer"])
        before = set(self.levels.loc[self.levels["elapsed_min"] <= 0, "well"])
        joins = before & set(self.levels.loc[after, "well"])
        return [
            str(row.well)
            for row in self.wells.itertuples()
            if row.well not in pumped
            and (
                row.well in read
                or (
                    row.well in joins
                    and "observation" in str(row.use).lower()
                    and str(row.aquifer) == aquifer != ""
                    and row.distance_m <= reach
                )
            )
        ]

    @property
    def available_wells(self) -> list[str]:
        """Return the wells with heads of loggers after the start that nothing on record says belong to the test."""
        taken = {self.well, *self.observed_wells}
        after = set(self.levels.loc[self.levels["elapsed_min"] > 0, "well"])
        return [well for well in self.read_wells if well not in taken and well in after]

    def pumped_beside(self) -> pd.DataFrame:
        """Return the pumping of others from the first level before the test to its last level, in the same aquifer.

        Of wells whose aquifer is not on record as well.
        """
        return self.others[self._is_near(self.others)]

    def _is_near(self, others: pd.DataFrame) -> pd.Series:
        last = self.levels["elapsed_min"].max() if len(self.levels) else 0.0
        aquifer = str(self.row_of(self.well)["aquifer"])
        # A well of unknown aquifer may be of this one: named rather than overlooked.
        shares = others["aquifer"].isin([aquifer, ""]) | (aquifer == "")
        meets = (others["from_min"] < max(last, 0.0)) & (others["until_min"] > -60.0 * self.before_hours)
        near: pd.Series = shares & meets
        return near

    def row_of(self, well: str) -> pd.Series:
        """Return what is on record of one of its wells.

        Parameters
        ----------
        well : str
            Code of the well.
        """
        return self.wells.set_index("well", drop=False).loc[well]


def find_test(record: Snapshot, code: str) -> pd.Series:
    """Return a test on record.

    Parameters as `gwnet.analysis.pumping`.

    Parameters
    ----------
    code : str
        Code of the test.

    Raises
    ------
    NotFoundError
        If there is no such test; those on record are named.
    """
    tests = record.pumping_tests
    here = tests[tests["test"] == code]
    if here.empty:
        known = ", ".join(tests["test"]) or "none"
        message = f"There is no pumping test {code!r} on record."
        raise NotFoundError(message, fix=f"On record: {known}. Load tests in a table pumping_tests.")
    return here.iloc[0]


def gather_test(
    record: Snapshot,
    code: str,
    *,
    wells: Sequence[str] | None = None,
    before_hours: float = BEFORE_HOURS,
    is_air_removed: bool = True,
) -> GatheredTest:
    """Gather a test from the record.

    Parameters as `gwnet.analysis.pumping`.

    Parameters
    ----------
    code : str
        Code of the test.
    wells : sequence of str, optional
        Only these wells; all with readings or heads unless given. The pumped one is always among the dimensions.
    before_hours : float, optional
        Hours before the start in which levels count as levels before the test.
    is_air_removed : bool, optional
        Whether the effect of air pressure is taken out of manual readings and heads by the barometric efficiency on
        record of their wells.

    Returns
    -------
    GatheredTest
        The test with its rates and levels.

    Raises
    ------
    NotFoundError
        If the test or a well is not on record.
    """
    row = find_test(record, code)
    record.require(wells=list(wells) if wells else None)
    start, stop = row["starts_at_utc"], row["stops_at_utc"]
    manual, left_out = _manual(record, row)
    first = start - pd.Timedelta(hours=before_hours)
    last = _end(row, manual)
    parts = [manual, _before(record, row, manual, first), _heads(record, row, first, last)]
    kept = [part for part in parts if len(part)]
    table = pd.concat(kept, ignore_index=True) if kept else manual
    if wells is not None:
        table = table[table["well"].isin(list(wells))]
    table = table[table["measured_at_utc"] >= first] if len(table) else table
    table = table.assign(elapsed_min=(table["measured_at_utc"] - start) / _MINUTE)
    table = table.sort_values(["well", "measured_at_utc"], kind="stable", ignore_index=True)
    table, air = without_air(record, row, table.assign(air_correction_m=np.nan), is_wanted=is_air_removed)
    others = other_pumping(record, row, last, rates_of)
    members = [str(row["well"]), *sorted({*table["well"], *others["well"]} - {row["well"]})]
    return GatheredTest(
        site=str(row["site"]),
        test=str(row["test"]),
        kind=str(row["kind"]),
        well=str(row["well"]),
        purpose=str(row["purpose"]),
        crew=str(row["crew"]),
        notes=str(row["notes"]),
        zone=str(record.all_sites.set_index("site")["time_zone"][row["site"]]),
        starts_utc=start,
        stops_utc=stop,
        before_hours=before_hours,
        rates=rates_of(record, row),
        levels=table[list(LEVEL_COLUMNS)],
        left_out=left_out,
        wells=_wells(record, row, members),
        others=others,
        intake_depth_m=float(row["intake_depth_m"]),
        thickness_m=float(row["aquifer_thickness_m"]),
        air=air,
    )


def rates_of(record: Snapshot, test: pd.Series) -> pd.DataFrame:
    """Return the rates of a test in order of time.

    Parameters as `gwnet.analysis.pumping`.

    Parameters
    ----------
    test : pandas.Series
        Row of the tests on record.
    """
    rates = record.pumping_rates
    here = rates[(rates["site"] == test["site"]) & (rates["test"] == test["test"])]
    timed = add_moments(record, here, "from_utc", "from_elapsed_min").rename(
        columns={"from_elapsed_min": "elapsed_min"}
    )
    timed = timed.sort_values("elapsed_min", kind="stable", ignore_index=True)
    return timed[["well", "from_utc", "elapsed_min", "rate_l_s", "method", "volume_l", "seconds_s", "notes"]]


def _end(test: pd.Series, manual: pd.DataFrame) -> pd.Timestamp:
    """Return until when heads of loggers count: as long after the stop as the pump ran, or to the last reading."""
    start, stop = test["starts_at_utc"], test["stops_at_utc"]
    # Recovery lasts as long as pumping did, for its drawdown to fade.
    last = start if pd.isna(stop) else stop + (stop - start)
    return max(last, manual["measured_at_utc"].max()) if len(manual) else last


def _manual(record: Snapshot, test: pd.Series) -> tuple[pd.DataFrame, int]:
    """Return the manual readings of a test as levels, and how many are left out by their quality."""
    inputs = reading_inputs(record)
    reduced = reduce_readings(record, inputs)
    rows = inputs.records
    parts = reduced.parts
    levels_read = pd.DataFrame(
        {
            "site": rows["site"],
            "well": rows["well"],
            "measured_at_utc": rows["measured_at_utc"],
            "water_elevation_m": reduced.water_elevation_m,
            "depth_to_water_m": reduced.depth_to_water_m,
            "half_width_m": combined_half_width(parts.tape_m, parts.check_m, parts.repeat_m),
            "quality": rows["quality"],
            "reading": rows["record_id"],
        }
    )
    readings = readings_of_tests(record)
    readings = readings[(readings["site"] == test["site"]) & (readings["test"] == test["test"])]
    readings = readings.assign(given_drawdown_m=readings["drawdown_m"], source="manual")
    joined = readings[["well", "measured_at_utc", "given_drawdown_m", "passed", "quality", "source"]].assign(
        reading=readings["pumping_reading_id"]
    )
    names = ["water_elevation_m", "depth_to_water_m", "half_width_m", "reading"]
    joined = joined.merge(levels_read[names], on="reading", how="left").drop(columns="reading")
    poor = joined["quality"].isin(UNUSABLE_QUALITIES)
    return joined[~poor].reset_index(drop=True), int(poor.sum())


def _before(record: Snapshot, test: pd.Series, manual: pd.DataFrame, first: pd.Timestamp) -> pd.DataFrame:
    """Return the static levels of the network shortly before a test, of the wells that it reads."""
    wells = sorted({str(test["well"]), *manual["well"]})
    table = levels(record, Selection.of(wells))
    start = test["starts_at_utc"]
    # The rules of statistics: a level in doubt must not become the zero of all drawdowns.
    serves = judge_levels(table, "statistics")
    here = (table["site"] == test["site"]) & table["time_known"].astype(bool) & serves["serves"]
    # A bound is no level to count from.
    here &= (table["bound"] == "") & (table["measured_at_utc"] >= first) & (table["measured_at_utc"] <= start)
    kept = table[here]
    return pd.DataFrame(
        {
            "well": kept["well"],
            "measured_at_utc": kept["measured_at_utc"],
            "given_drawdown_m": np.nan,
            "passed": "",
            "quality": kept["quality"],
            "source": "level event",
            "water_elevation_m": kept["water_elevation_m"],
            "depth_to_water_m": kept["depth_to_water_m"],
            "half_width_m": kept["uncertainty_m"],
        }
    ).reset_index(drop=True)


def _heads(record: Snapshot, test: pd.Series, first: pd.Timestamp, last: pd.Timestamp) -> pd.DataFrame:
    """Return the heads of loggers in the span of a test."""
    deployments = deployments_in(record)
    deployments = deployments[deployments["site"] == test["site"]]
    accuracy = record.instruments.set_index("instrument")["accuracy_m"]
    # A microsecond more, as spans are half-open.
    start, end = (_datetime(moment) for moment in (first, last + pd.Timedelta(microseconds=1)))
    frames = [
        _head_rows(heads, float(accuracy.get(heads.instrument, np.nan)))
        for heads in iterate_heads(record, deployments, start, end)
    ]
    kept = [frame for frame in frames if len(frame)]
    return pd.concat(kept, ignore_index=True) if kept else pd.DataFrame()


def _datetime(moment: pd.Timestamp) -> dt.datetime:
    instant: dt.datetime = moment.to_pydatetime(warn=False)
    return instant


def _head_rows(heads: LoggerHeads, accuracy_m: float) -> pd.DataFrame:
    """Return the heads of one deployment, their response to air pressure left in.

    Within a deployment the accuracy of the instrument is that of a difference.
    """
    known = ~np.isnan(heads.water_elevation_m)
    # The heads may be a part of the deployment; the response is of all its samples.
    removed_m = heads.level.response_m[np.searchsorted(heads.level.channel.time_utc, heads.time_utc)]
    width = heads.uncertainty_m[known]
    return pd.DataFrame(
        {
            "well": heads.well,
            "measured_at_utc": pd.DatetimeIndex(heads.time_utc[known]).tz_localize("UTC").as_unit("us"),
            "given_drawdown_m": np.nan,
            "passed": "",
            "quality": "",
            "source": f"logger {heads.instrument}",
            "water_elevation_m": (heads.water_elevation_m - removed_m)[known],
            "depth_to_water_m": np.nan,
            "half_width_m": width if math.isnan(accuracy_m) or accuracy_m == 0.0 else np.fmin(width, accuracy_m),
        }
    )


def _wells(record: Snapshot, test: pd.Series, members: list[str]) -> pd.DataFrame:
    """Return the wells of a test with their distances from the pumped one and their dimensions."""
    site = record.all_sites[record.all_sites["site"] == test["site"]].iloc[0]
    wells = record.wells[record.wells["site"] == test["site"]]
    placed = located(wells[wells["well"].isin(members)], str(site["crs"])).set_index("well", drop=False)
    scale = unit_of_coordinates(str(site["crs"]))
    pumped = placed.loc[test["well"]]
    distance = scale * np.hypot(placed["easting"] - pumped["easting"], placed["northing"] - pumped["northing"])
    parts = record.construction
    parts = parts[parts["well_id"].isin(placed["well_id"]) & parts["removed_on"].isna()]
    open_parts = parts[parts["part"].isin(["screen", "open hole"])]
    # The radius of the opening; casing where no diameter of the screen is on record, and the other way round.
    radius = open_parts.groupby("well_id")["diameter_mm"].max() / 2000.0
    casing = parts[parts["part"] == "casing"].groupby("well_id")["diameter_mm"].max() / 2000.0
    radius, casing = (values.reindex(placed["well_id"]).to_numpy() for values in (radius, casing))
    table = pd.DataFrame(
        {
            "well": placed["well"].to_numpy(),
            "distance_m": distance.to_numpy(dtype=np.float64),
            "easting_m": scale * placed["easting"].to_numpy(dtype=np.float64),
            "northing_m": scale * placed["northing"].to_numpy(dtype=np.float64),
            "ground_elevation_m": placed["ground_elevation_m"].to_numpy(dtype=np.float64),
            "screen_top_m": placed["screen_top_m"].to_numpy(dtype=np.float64),
            "screen_bottom_m": placed["screen_bottom_m"].to_numpy(dtype=np.float64),
            "total_depth_m": placed["total_depth_m"].to_numpy(dtype=np.float64),
            "radius_m": np.where(np.isnan(radius), casing, radius),
            "casing_radius_m": np.where(np.isnan(casing), radius, casing),
            "aquifer": placed["aquifer"].to_numpy(dtype=object),
            "use": [
                f"{purpose} {role}".strip() for purpose, role in zip(placed["purpose"], placed["role"], strict=True)
            ],
        }
    )
    is_pumped = (table["well"] == test["well"]).to_numpy(dtype=bool)
    # The pumped well first, then by distance, then by name.
    order = np.lexsort((table["well"], table["distance_m"], ~is_pumped))
    return table.iloc[order].reset_index(drop=True)
