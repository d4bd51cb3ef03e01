"""The levels frame: reduced levels of gathered inputs, without what checks notice of them."""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from gwnet.analysis.levels.inputs import LevelInputs
from gwnet.analysis.levels.reduce import Reduction
from gwnet.analysis.levels.serving import unusable_reasons
from gwnet.clock import to_instants


def levels_frame(inputs: LevelInputs, reduced: Reduction) -> pd.DataFrame:
    """Return reduced levels as a frame.

    Parameters as `gwnet.analysis.levels`.

    Returns
    -------
    pandas.DataFrame
        As `gwnet.analysis.levels.table.levels`, without ``open_finding``.
    """
    records = inputs.records
    # A level that nobody reviewed is provisional; there is no row of it.
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
            # In microseconds, as pandas has no dates of whole days.
            "day": inputs.local_time.astype("datetime64[D]").astype("datetime64[us]"),
            "event_id": records["event_id"],
            "access": records["access"],
            "measuring_point": _points_of(inputs, reduced),
            "survey_uncertainty_m": np.where(reduced.point.index >= 0, reduced.parts.survey_m, np.nan),
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
    # Seconds only where a reading has them: "10:40:00" would claim what nobody wrote down.
    to_minute = bool(np.all(local == local.astype("datetime64[m]"))) if len(local) else True
    clock = np.datetime_as_string(local, unit="m" if to_minute else "s").astype(object)
    minutes = inputs.records["local_offset_minutes"].to_numpy(dtype=np.int64)
    offsets = {m: f"{'-' if m < 0 else '+'}{abs(m) // 60:02d}:{abs(m) % 60:02d}" for m in np.unique(minutes).tolist()}
    suffix = np.array([offsets[m] for m in minutes.tolist()], dtype=object)
    dates = np.datetime_as_string(local, unit="D").astype(object)
    # Where the time of day is not known only the date is printed; the stored noon is a convention.
    return np.where(inputs.records["time_known"].to_numpy(dtype=bool), clock + suffix, dates)


def _points_of(inputs: LevelInputs, reduced: Reduction) -> NDArray[np.object_]:
    """Return the measuring point that each level rests on: its access, and since when it is as surveyed."""
    points = inputs.measuring_points
    since = np.datetime_as_string(to_instants(points["valid_from_utc"]), unit="s")
    names = [f"{access} since {start}Z" for access, start in zip(points["access"], since.tolist(), strict=True)]
    # The last entry is for levels without a point, whose index is -1.
    return np.array([*names, ""], dtype=object)[reduced.point.index]


def _finding_text(reduced: Reduction) -> NDArray[np.object_]:
    text = np.full(reduced.water_elevation_m.shape, "", dtype=object)
    for phrase, where in reduced.findings.items():
        text[where] = np.where(text[where] == "", phrase, text[where] + "; " + phrase)
    return text
