"""Reduced levels: readings, measuring points, tape checks and the reduction put together.

Nothing here is stored: a new survey or tape check flows into every level the next time it is asked for.
"""

from __future__ import annotations

import datetime as dt

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from gwnet.analysis.levels.inputs import LevelInputs, gather
from gwnet.analysis.levels.reduce import Reduction, reduce_levels
from gwnet.analysis.levels.serving import unusable_reasons
from gwnet.records import Selection
from gwnet.store.snapshot import Snapshot

#: Columns of the levels frame that the command line prints, in order.
PRINTED_COLUMNS = tuple(
    (
        "site well measured_at round status bound depth_to_water_m depth_below_ground_m measuring_point_elevation_m "
        "water_elevation_m uncertainty_m quality review finding bound_elevation_m accuracy_from"
    ).split()
)


def levels(record: Snapshot, selection: Selection | None = None) -> pd.DataFrame:
    """Return reduced levels, one row an event.

    Parameters as `gwnet.analysis.levels`.

    Returns
    -------
    pandas.DataFrame
        Columns of `PRINTED_COLUMNS`, then day (local date, midnight without zone), event_id, access, aquifer,
        measured_at_utc, time_known, usable, unusable_reason, water_elevation_uncorrected_m, product_thickness_m,
        sounded_depth_m, method, instrument, observer, notes. Depths positive downward, elevations positive upward.
        Where the well was dry or overflowed, water_elevation_m is the bound; where water was read below the screen, it
        is as read, and bound_elevation_m is the bound. accuracy_from says whether the accuracies of survey and reading
        are stated, of the instrument, or a default.
        Made once for a selection: take a copy before changing it in place.
    """
    if selection is not None and selection.is_everything:
        selection = None
    return record.once(("levels", selection), lambda: _reduce_frame(record, selection))


def _reduce_frame(record: Snapshot, selection: Selection | None) -> pd.DataFrame:
    inputs = gather(record, selection)
    table = levels_frame(inputs, reduce_levels(inputs))
    return table if selection is None else select_rows(table, selection)


def select_rows(table: pd.DataFrame, selection: Selection) -> pd.DataFrame:
    """Return the rows of a levels frame within the selection's dates or instants, and of its events.

    Parameters
    ----------
    table : pandas.DataFrame
        With day (local date), measured_at_utc and event_id.
    selection : gwnet.records.Selection
        Whose start, end and events are looked at: local dates or instants, both included.
    """
    keep = np.ones(len(table), dtype=bool)
    for moment, is_start in ((selection.start, True), (selection.end, False)):
        if isinstance(moment, dt.datetime):
            measured, instant = table["measured_at_utc"], pd.Timestamp(moment)
            keep &= measured >= instant if is_start else measured <= instant
        elif moment is not None:
            day = pd.Timestamp(moment)
            keep &= table["day"] >= day if is_start else table["day"] <= day
    if selection.events is not None:
        keep &= table["event_id"].isin(selection.events)
    return table if keep.all() else table[keep].reset_index(drop=True)


def levels_frame(inputs: LevelInputs, reduced: Reduction) -> pd.DataFrame:
    """Return reduced levels as a frame.

    Parameters as `gwnet.analysis.levels`.

    Returns
    -------
    pandas.DataFrame
        As `levels`.
    """
    records = inputs.records
    review = records["event_id"].map(inputs.reviews.set_index("event_id")["state"]).astype(object).fillna("provisional")
    quality = records["quality"].replace("", "unchecked")
    table = pd.DataFrame(
        {
            "site": records["site"],
            "well": records["well"],
            "measured_at": measured_at_text(inputs),
            "round": records["round"],
            "status": records["status"],
            "bound": reduced.bound,
            "depth_to_water_m": reduced.depth_to_water_m,
            "depth_below_ground_m": reduced.depth_below_ground_m,
            "measuring_point_elevation_m": reduced.point_elevation_m,
            "water_elevation_m": reduced.water_elevation_m,
            "uncertainty_m": reduced.uncertainty_m,
            "quality": quality,
            "review": review,
            "finding": _finding_text(reduced),
            "bound_elevation_m": reduced.bound_elevation_m,
            "accuracy_from": reduced.accuracy_from,
            "day": inputs.local_time.astype("datetime64[D]").astype("datetime64[us]"),
            "event_id": records["event_id"],
            "access": records["access"],
            "aquifer": records["aquifer"],
            "measured_at_utc": records["measured_at_utc"],
            "time_known": records["time_known"],
            "water_elevation_uncorrected_m": reduced.uncorrected_elevation_m,
            "product_thickness_m": reduced.product_thickness_m,
            "sounded_depth_m": reduced.sounded_depth_m,
            "method": records["method"],
            "instrument": records["instrument"],
            "observer": records["observer"],
            "notes": records["notes"],
        }
    )
    reasons = unusable_reasons(table)
    place = table.columns.get_loc("water_elevation_uncorrected_m")
    table.insert(place, "usable", reasons == "")
    table.insert(place + 1, "unusable_reason", reasons)
    return table


def measured_at_text(inputs: LevelInputs) -> NDArray[np.object_]:
    """Return when each event was measured, as text in local time.

    Parameters as `gwnet.analysis.levels`.

    Returns
    -------
    numpy.ndarray of str
        ISO 8601 with offset, to the minute unless seconds were given; only the date where the time is not known.
    """
    local = inputs.local_time
    to_minute = bool(np.all(local == local.astype("datetime64[m]"))) if len(local) else True
    clock = np.datetime_as_string(local, unit="m" if to_minute else "s").astype(object)
    minutes = inputs.records["local_offset_minutes"].to_numpy(dtype=np.int64)
    offsets = {m: f"{'-' if m < 0 else '+'}{abs(m) // 60:02d}:{abs(m) % 60:02d}" for m in np.unique(minutes).tolist()}
    suffix = np.array([offsets[m] for m in minutes.tolist()], dtype=object)
    dates = np.datetime_as_string(local, unit="D").astype(object)
    return np.where(inputs.records["time_known"].to_numpy(dtype=bool), clock + suffix, dates)


def _finding_text(reduced: Reduction) -> NDArray[np.object_]:
    text = np.full(reduced.water_elevation_m.shape, "", dtype=object)
    for phrase, where in reduced.findings.items():
        text[where] = np.where(text[where] == "", phrase, text[where] + "; " + phrase)
    return text
