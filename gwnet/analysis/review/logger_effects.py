"""What corrections did to the heads of loggers: each deployment that moved between two states of the record.

A corrected hanging depth or installation moves every head that rests on it, and so do a survey, a manual reading that
anchors heads, and a correction of the series. Samples are many, so a logger in a well is one row, with its largest
difference.
"""

from __future__ import annotations

from typing import Any, Final

import numpy as np
import pandas as pd

from gwnet.analysis.loggers.channels import deployments_in, loggers_of
from gwnet.analysis.loggers.heads import LoggerHeads, iterate_heads
from gwnet.analysis.loggers.suggestion import count_samples
from gwnet.clock import local_text, to_instants
from gwnet.store.snapshot import Snapshot

#: Differences below this are rounding [m].
LEAST_DIFFERENCE_M: Final = 1e-7

#: What a deployment is, beside its number: what a correction of it changes.
_INSTALLATION: Final = (
    "site well instrument installed_at_utc removed_at_utc hanging_depth_m barometer access kind".split()
)

#: What of a measuring point moves heads.
_POINT: Final = "site well access valid_from_utc valid_until_utc elevation_m".split()


def compare_loggers(before: Snapshot, after: Snapshot, moved_wells: set[str], wells: list[str] | None) -> pd.DataFrame:
    """Return the deployments whose heads or bounds differ between two states of the record.

    Parameters
    ----------
    before, after : gwnet.store.snapshot.Snapshot
        The two states.
    moved_wells : set of str
        Wells whose manual readings moved.
    wells : list of str or None
        Only these wells; all unless given.

    Returns
    -------
    pandas.DataFrame
        One row a deployment, with columns of `gwnet.analysis.review.effects.EFFECT_COLUMNS`: the time, head and bound
        of the sample that moved farthest; ``event_id`` is -1 and ``cause`` says how many samples moved.
    """
    candidates = _touched(before, after) | moved_wells
    # Only wells with deployments: for others there is nothing to work out.
    candidates &= set(deployments_in(before)["well"]) | set(deployments_in(after)["well"])
    if wells is not None:
        candidates &= set(wells)
    if not candidates:
        return pd.DataFrame()
    states = [_heads(record, sorted(candidates)) for record in (before, after)]
    zones = dict(zip(after.sites["site"], after.sites["time_zone"], strict=True))
    rows = [
        row
        for key in sorted({*states[0], *states[1]})
        for row in [_compare(key, states[0].get(key), states[1].get(key), str(zones[key[0]]))]
        if row is not None
    ]
    return pd.DataFrame(rows)


def _touched(before: Snapshot, after: Snapshot) -> set[str]:
    """Return the wells whose installations, measuring points or corrections of loggers differ."""
    installed = _differing(before.deployments[_INSTALLATION], after.deployments[_INSTALLATION])
    points = _differing(before.measuring_points[_POINT], after.measuring_points[_POINT])
    corrections = [loggers_of(record).corrections for record in (before, after)]
    numbers = [set(table["correction_id"]) for table in corrections]
    # Corrections are never changed, only added and withdrawn, so their numbers tell.
    changed = numbers[0] ^ numbers[1]
    instruments = {
        name for table in corrections for name in table.loc[table["correction_id"].isin(changed), "instrument"]
    }
    instruments |= set(installed.loc[installed["kind"] == "barometer", "instrument"])
    wells = set(installed["well"]) | set(points["well"])
    for record in (before, after):
        table = deployments_in(record)
        takes_part = table["instrument"].isin(instruments) | table["barometer"].isin(instruments)
        wells |= set(table.loc[takes_part, "well"])
    return wells - {""}


def _differing(before: pd.DataFrame, after: pd.DataFrame) -> pd.DataFrame:
    """Return the rows that are in one frame and not in the other."""
    # Each frame by itself first: a row that is twice in one of them alone would be dropped as one that both have.
    return pd.concat([before.drop_duplicates(), after.drop_duplicates()]).drop_duplicates(keep=False)


#: Site, well and instrument.
_Key = tuple[str, str, str]


def _heads(record: Snapshot, wells: list[str]) -> dict[_Key, list[LoggerHeads]]:
    """Return heads by site, well and instrument."""
    heads: dict[_Key, list[LoggerHeads]] = {}
    for one in iterate_heads(record, deployments_in(record, wells)):
        heads.setdefault((one.site, one.well, one.instrument), []).append(one)
    return heads


def _compare(
    key: _Key, before: list[LoggerHeads] | None, after: list[LoggerHeads] | None, zone: str
) -> dict[str, Any] | None:
    """Return one row about a logger in a well; None where no sample that was on record before moved."""
    if not before:
        return None
    old = _by_file_time(before, "before")
    pairs = pd.concat([old, _by_file_time(after, "after")], axis=1, sort=True)
    # What a newly loaded file brought did not move.
    pairs = pairs[pairs.index.isin(old.index)]
    known = {name: pairs[f"{name}_m"].notna().to_numpy() for name in ("before", "after")}
    # Compared with true, as a side without the sample has NaN, which would count as true.
    signs = {name: pairs[f"{name}_bound"].eq(other=True).to_numpy() for name in ("before", "after")}
    difference = (pairs["after_m"] - pairs["before_m"]).to_numpy(dtype=np.float64)
    moved = np.abs(np.nan_to_num(difference)) > LEAST_DIFFERENCE_M
    # A sample that became a bound moved, even where the number stayed.
    moved |= (known["before"] != known["after"]) | (signs["before"] != signs["after"])
    if not moved.any():
        return None
    places = np.flatnonzero(moved)
    # -1: among samples of which only one side is known the first one.
    far = int(places[np.argmax(np.nan_to_num(np.abs(difference[places]), nan=-1.0))])
    local = local_text(to_instants(pd.Series(pairs.index.tz_localize("UTC"))), zone)
    site, well, instrument = key
    access = before[0].access
    whole = f"{count_samples(places.size)} of logger {instrument}, {local[places[0]][:10]} to {local[places[-1]][:10]}"
    lost, gained = (
        int((known[one] & ~known[other]).sum()) for one, other in (("before", "after"), ("after", "before"))
    )
    counts = [f"{number} {word}" for number, word in ((gained, "gained"), (lost, "lost")) if number]
    row = pairs.iloc[far]
    return {
        "site": site,
        "well": well,
        "measured_at": local[far],
        "event_id": -1,
        "access": access,
        "water_elevation_before_m": row["before_m"],
        "water_elevation_after_m": row["after_m"],
        "difference_m": difference[far],
        **dict.fromkeys(("by_survey_m", "by_tape_m", "by_reading_m"), np.nan if np.isnan(difference[far]) else 0.0),
        "by_other_m": difference[far],
        "bound_before": "<=" if signs["before"][far] else "",
        "bound_after": "<=" if signs["after"][far] else "",
        "status_before": "static",
        "status_after": "static" if after else "withdrawn",
        "review": "provisional",
        "cause": whole + (f" ({', '.join(counts)})" if counts else ""),
        "reason": "",
    }


def _by_file_time(heads: list[LoggerHeads] | None, name: str) -> pd.DataFrame:
    """Return heads and bounds by the time in the file, so that a corrected clock moves no sample past another."""
    columns = [f"{name}_m", f"{name}_bound"]
    frames = []
    for one in heads or ():
        level, _, is_bound = one.levels()
        frames.append(
            pd.DataFrame(dict(zip(columns, (level, is_bound), strict=True)), index=one.level.channel.file_time_utc)
        )
    if not frames:
        return pd.DataFrame(columns=columns, index=pd.DatetimeIndex([])).astype({columns[0]: "float64"})
    joined = pd.concat(frames)
    # Two states are set side by side by this index, which pandas refuses where a time is repeated.
    return joined[~joined.index.duplicated()]
