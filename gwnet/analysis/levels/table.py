"""Reduced levels: readings, measuring points, tape checks and the reduction put together.

Nothing here is stored: a new survey or tape check flows into every level the next time it is asked for.
"""

from __future__ import annotations

import datetime as dt

import numpy as np
import pandas as pd

from gwnet.analysis.levels.frame import levels_frame
from gwnet.analysis.levels.reduce import reduction_of
from gwnet.analysis.levels.serving import with_open_findings
from gwnet.analysis.levels.stepped_tapes import widen_stepped
from gwnet.records import Selection
from gwnet.store.as_recorded import HEADINGS
from gwnet.store.snapshot import Snapshot

#: Columns of the levels frame that the command line prints, in order.
PRINTED_COLUMNS = tuple(
    (
        "site well measured_at round status bound depth_to_water_m depth_below_ground_m measuring_point_elevation_m "
        "water_elevation_m uncertainty_m quality review finding bound_elevation_m accuracy_from"
    ).split()
)

#: Columns of files of levels, in order: those that are printed, and what lets the file be loaded again.
FILE_COLUMNS = (
    *PRINTED_COLUMNS,
    "aquifer",
    "usable",
    "unusable_reason",
    *(name for name in HEADINGS if name not in PRINTED_COLUMNS),
)


def levels(record: Snapshot, selection: Selection | None = None) -> pd.DataFrame:
    """Return reduced levels, one row an event.

    Parameters as `gwnet.analysis.levels`.

    Returns
    -------
    pandas.DataFrame
        Columns of `PRINTED_COLUMNS`, then day (local date, midnight without zone), event_id, access, measuring_point
        (which survey the level rests on, in words), survey_uncertainty_m (its part of the uncertainty), aquifer,
        measured_at_utc, time_known, usable, unusable_reason, water_elevation_uncorrected_m, product_thickness_m,
        sounded_depth_m, method, instrument, observer, notes, open_finding. Depths positive downward, elevations
        positive upward.
        Where the well was dry or overflowed, water_elevation_m is the bound; where water was read below the screen, it
        is as read, and bound_elevation_m is the bound. accuracy_from says whether the accuracies of survey and reading
        are stated, of the instrument, or a default. open_finding is the rule of a serious finding that nobody has
        dismissed; such a level is not usable.
        Made once for a selection: take a copy before changing it in place.
    """
    record, selection = record.of_only_site(), Selection.restricting(selection)
    return record.once(("levels", selection), lambda: _reduce_frame(record, selection))


def _reduce_frame(record: Snapshot, selection: Selection | None) -> pd.DataFrame:
    # the checks of pumping tests look at heads of loggers, which are anchored to levels
    from gwnet.analysis.checks.open_findings import open_findings, stepped_tapes

    inputs, reduced = reduction_of(record, selection)
    frame = levels_frame(inputs, widen_stepped(inputs, reduced, stepped_tapes(record)))
    table = with_open_findings(frame, open_findings(record))
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
        # A moment with a time of day is compared as an instant; a date means the site's own days, ends included.
        if isinstance(moment, dt.datetime):
            measured, instant = table["measured_at_utc"], pd.Timestamp(moment)
            keep &= measured >= instant if is_start else measured <= instant
        elif moment is not None:
            day = pd.Timestamp(moment)
            keep &= table["day"] >= day if is_start else table["day"] <= day
    if selection.events is not None:
        keep &= table["event_id"].isin(selection.events)
    return table if keep.all() else table[keep].reset_index(drop=True)
