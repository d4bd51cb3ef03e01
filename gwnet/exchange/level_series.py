"""Levels as series for formats of time series: manual readings by measuring point, elevations, and heads of loggers."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from gwnet.analysis.loggers.channels import deployments_in
from gwnet.analysis.loggers.correction_history import OUT_REASONS
from gwnet.analysis.loggers.heads import LoggerHeads, iterate_heads
from gwnet.analysis.loggers.tables import span_of
from gwnet.clock import to_instants
from gwnet.hydro.arrays import Floats, Instants
from gwnet.hydro.reduction.intervals import in_force
from gwnet.store.fetch.frames import number_groups

if TYPE_CHECKING:
    from gwnet.exchange.extract import Extract

Texts = NDArray[np.object_]

DEPTH: Final = "depth_to_water"
ELEVATION: Final = "water_elevation"
#: A bound of an elevation as one of the depth below a measuring point.
_AS_DEPTH: Final = {"<=": ">=", ">=": "<=", "": ""}


@dataclass(frozen=True)
class LevelSeries:
    """Levels of one well, in order of time, each time once.

    Attributes
    ----------
    site, well, access : str
        Where they were measured.
    quantity : {"depth_to_water", "water_elevation"}
        Depth below the measuring point, positive downward, or elevation, positive upward.
    instrument : str
        The logger; empty for manual readings.
    measuring_point : int or None
        Row of the measuring point that depths are below; None for elevations, and where none is on record.
    part : int
        1, and 2 and so on for further levels of the same times.
    time_utc : numpy.ndarray of datetime64[us], shape (n,)
        Times.
    value_m, uncertainty_m, limit_m, sounded_depth_m : numpy.ndarray, shape (n,)
        Value as read, 95 % half-width of an elevation, bound of the quantity, and depth of the well below the
        measuring point as sounded; NaN for what is not known [m].
    bound : numpy.ndarray of str, shape (n,)
        ``<=`` or ``>=`` where ``limit_m`` is a bound of the quantity; the value is then none.
    status, quality, review, unusable, comment : numpy.ndarray of str, shape (n,)
        As in the frame of levels; unusable is the reason, empty for a level that serves.
    time_known : numpy.ndarray of bool, shape (n,)
        Whether the time of day is known.
    """

    site: str
    well: str
    access: str
    quantity: str
    instrument: str
    measuring_point: int | None
    part: int
    time_utc: Instants
    value_m: Floats
    uncertainty_m: Floats
    limit_m: Floats
    sounded_depth_m: Floats
    bound: Texts
    status: Texts
    quality: Texts
    review: Texts
    unusable: Texts
    comment: Texts
    time_known: NDArray[np.bool_]

    def __len__(self) -> int:
        """Return how many levels there are."""
        return int(self.time_utc.size)


def iterate_series(extract: Extract) -> Iterator[LevelSeries]:
    """Yield the series of an extract, well by well; loggers one deployment after the other, to keep few in memory.

    Parameters as `gwnet.exchange`.

    Yields
    ------
    LevelSeries
        For each well the depths of each measuring point, the elevations, then the heads of its loggers.
    """
    table = _with_measuring_points(extract)
    of_well = dict(iter(table.groupby(["site", "well"], sort=False)))
    loggers = {site: deployments_in(extract.record.of_site(str(site))) for site in extract.record.sites["site"]}
    wells = extract.wells[["site", "well"]].itertuples(index=False)
    for done, (site, well) in enumerate(wells):
        if (site, well) in of_well:
            yield from _manual(of_well[site, well])
        yield from _logged(extract, str(site), str(well), loggers[site])
        extract.progress(done + 1, len(extract.wells))


def _with_measuring_points(extract: Extract) -> pd.DataFrame:
    """Return the levels with the row of the measuring point that each was read at; -1 where there is none."""
    table = extract.levels.sort_values(["measured_at_utc", "event_id"], kind="stable").reset_index(drop=True)
    points = extract.record.measuring_points
    of_point, of_level = number_groups(points, table, ("site", "well", "access"))
    starts, ends = (to_instants(points[name]) for name in ("valid_from_utc", "valid_until_utc"))
    held = in_force(of_point, starts, ends, of_level, to_instants(table["measured_at_utc"]))
    # where no point is in force, the index is -1, which takes the -1 behind the last one
    rows_of_points = np.append(points["measuring_point_id"].to_numpy(dtype=np.int64), -1)
    ground = extract.wells.set_index(["site", "well"])["ground_elevation_m"]
    height_m = table["measuring_point_elevation_m"].to_numpy(dtype=np.float64) - ground.reindex(
        pd.MultiIndex.from_frame(table[["site", "well"]])
    ).to_numpy(dtype=np.float64)
    # the frame has soundings below ground; those of a series are below its measuring point
    return table.assign(measuring_point=rows_of_points[held.index], sounded_m=table["sounded_depth_m"] + height_m)


def _manual(table: pd.DataFrame) -> Iterator[LevelSeries]:
    for (access, point), rows in table.groupby(["access", "measuring_point"], sort=False):
        # Series of the standards have each time once; two levels of one moment, such as a second event, make a second
        # part.
        for part, several in _once_each(rows):
            yield _of_rows(several, str(access), DEPTH, None if point < 0 else int(point), part)
    # Elevations of all measuring points make one series: the survey is in them already, unlike in depths.
    for access, rows in table.groupby("access", sort=False):
        for part, several in _once_each(rows):
            yield _of_rows(several, str(access), ELEVATION, None, part)


def _once_each(rows: pd.DataFrame) -> Iterator[tuple[int, pd.DataFrame]]:
    """Yield rows in parts that have each time once."""
    occurrence = rows.groupby("measured_at_utc").cumcount()
    for number in range(int(occurrence.max()) + 1):
        yield number + 1, rows[occurrence == number]


def _of_rows(rows: pd.DataFrame, access: str, quantity: str, point: int | None, part: int) -> LevelSeries:
    depth = quantity == DEPTH
    bound = rows["bound"].astype(object)
    limit_m = rows["bound_elevation_m"].to_numpy(dtype=np.float64)
    value_m = rows[f"{quantity}_m"].to_numpy(dtype=np.float64).copy()
    bounded = bound.ne("").to_numpy()
    if depth:
        bound = bound.map(_AS_DEPTH)
        # At or below an elevation is at or deeper than a depth, so the sign turns with the number.
        limit_m = rows["measuring_point_elevation_m"].to_numpy(dtype=np.float64) - limit_m
    else:  # of a dry or overflowing well the frame has the bound itself
        # The bound is handed on as such; as a value it would read like a measured level.
        value_m[bounded & (value_m == limit_m)] = np.nan
    none = np.full(len(rows), np.nan)
    return LevelSeries(
        site=str(rows["site"].iloc[0]),
        well=str(rows["well"].iloc[0]),
        access=access,
        quantity=quantity,
        instrument="",
        measuring_point=point,
        part=part,
        time_utc=rows["measured_at_utc"].dt.tz_localize(None).to_numpy("datetime64[us]"),
        value_m=value_m,
        uncertainty_m=none if depth else rows["uncertainty_m"].to_numpy(dtype=np.float64),
        limit_m=np.where(bounded, limit_m, np.nan),
        sounded_depth_m=rows["sounded_m"].to_numpy(dtype=np.float64) if depth else none,
        bound=_texts(bound),
        status=_texts(rows["status"]),
        quality=_texts(rows["quality"]),
        review=_texts(rows["review"]),
        unusable=_texts(rows["unusable_reason"]),
        comment=_texts(rows["notes"]),
        time_known=rows["time_known"].to_numpy(dtype=np.bool_),
    )


def _texts(column: pd.Series) -> Texts:
    """Return a column as plain text, empty where nothing is known."""
    texts: Texts = column.astype(object).where(column.notna(), "").astype(str).to_numpy(dtype=object)
    return texts


def _logged(extract: Extract, site: str, well: str, deployments: pd.DataFrame) -> Iterator[LevelSeries]:
    own = deployments[deployments["well"] == well]
    if own.empty:
        return
    record, chosen = extract.record.of_site(site), extract.selection
    span = span_of(chosen.start, chosen.end, str(record.settings["time_zone"]))
    for heads in iterate_heads(record, own, *span):
        yield from _of_heads(heads)


def _of_heads(heads: LoggerHeads) -> Iterator[LevelSeries]:
    order = np.argsort(heads.time_utc, kind="stable")
    times = heads.time_utc[order]
    # Where each run of equal times begins; the place within the run is the part that a head goes to.
    starts = np.append(True, times[1:] != times[:-1])
    occurrence = np.arange(times.size) - np.maximum.accumulate(np.where(starts, np.arange(times.size), 0))
    reasons = np.array(OUT_REASONS, dtype=object)
    for number in range(int(occurrence.max()) + 1 if times.size else 0):
        place = order[occurrence == number]
        bounded = ~np.isnan(heads.bound_m[place])
        size = place.size
        empty: Texts = np.full(size, "", dtype=object)
        # A bound of a dry logger is something that is known, so it is not called unusable.
        left_out = (heads.out[place] != 0) & ~bounded
        yield LevelSeries(
            site=heads.site,
            well=heads.well,
            access=heads.access,
            quantity=ELEVATION,
            instrument=heads.instrument,
            measuring_point=None,
            part=number + 1,
            time_utc=heads.time_utc[place],
            value_m=heads.water_elevation_m[place],
            uncertainty_m=np.where(bounded, heads.bound_uncertainty_m[place], heads.uncertainty_m[place]),
            limit_m=heads.bound_m[place],
            sounded_depth_m=np.full(size, np.nan),
            bound=np.where(bounded, "<=", "").astype(object),
            status=empty,
            quality=np.full(size, "unchecked", dtype=object),
            review=empty,
            unusable=np.where(left_out, reasons[heads.out[place]], "").astype(object),
            comment=empty,
            time_known=np.ones(size, dtype=np.bool_),
        )
