"""How the manual readings of a well fit its logger, reading by reading and all together.

A reading that stands off together with those of other wells on the same day has a common cause
(`gwnet.analysis.loggers.common_causes`); it is one finding there, and the readings that remain are judged without it.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping

import numpy as np
import pandas as pd

from gwnet.analysis.loggers.suggestion import LoggerFinding
from gwnet.clock import to_instant, to_instants
from gwnet.hydro.arrays import Floats, seconds_after
from gwnet.hydro.loggers.drift import Installations, leave_one_out


def find_misfits(
    place: tuple[str, str, str, str],
    manual: pd.DataFrame,
    installations: Installations,
    limits: Mapping[str, float],
    *,
    stepped_m: float = 0.0,
    explained: Collection[int] = (),
) -> Iterator[LoggerFinding]:
    """Yield manual readings that do not fit the others of their installation, and drift that is large.

    Where the sensor stepped the step comes first: readings on its two sides cannot agree until it is dealt with.

    Parameters
    ----------
    place : tuple of str
        Site, well, instrument and quantity.
    manual : pandas.DataFrame
        Manual readings with the columns of `gwnet.analysis.loggers.anchor.MANUAL_COLUMNS`.
    installations : gwnet.hydro.loggers.drift.Installations
        What each installation shows.
    limits : mapping of str to float
        Limits of the checks of the site.
    stepped_m : float, optional
        Largest step of the level that is a finding; misfits up to a quarter more are explained by it [m].
    explained : collection of int
        Events whose departure has a known cause; they are judged no more.

    Yields
    ------
    LoggerFinding
        At most one reading and one drift an installation.
    """
    is_explained = manual["event_id"].isin(list(explained)).to_numpy()
    residual = manual["leave_one_out_residual_m"].to_numpy(dtype=np.float64)
    if is_explained.any():
        residual = _leave_one_out(manual, ~is_explained)
    size = np.abs(residual)
    allowed = np.maximum(limits["logger_residual_m"], 1.5 * manual["uncertainty_m"].to_numpy(dtype=np.float64))
    of_installation = manual["installation"].to_numpy(dtype=np.int64)
    for number in np.unique(of_installation):
        mine = np.flatnonzero((of_installation == number) & ~np.isnan(size))
        # With two readings either may be the wrong one.
        if mine.size < 3 or not (size[mine] > np.maximum(allowed[mine], 1.25 * stepped_m)).any():
            # A quarter more than the step, as a reading beside it is off by the step and its own error.
            continue
        worst = int(mine[np.argmax(size[mine])])
        row = manual.iloc[worst]
        message = (
            f"The manual reading of {row['measured_at']} (event {row['event_id']}) is "
            f"{residual[worst]:+.3f} m off what the others give: slip, drift, clock, barometer, itself."
        )
        moment = to_instant(row["measured_at_utc"])
        # Beside a step no reading is left out: it may be the only witness of the step.
        correction = ("", {}) if stepped_m else ("anchoring", {"leave_out": [int(row["event_id"])]})
        yield LoggerFinding(*place, "manual reading", moment, moment, message, *correction)
    offset = np.where(is_explained, np.nan, manual["offset_m"].to_numpy(dtype=np.float64))
    for number in np.flatnonzero(np.nan_to_num(installations.drift_share) >= limits["logger_drift_share"]):
        offsets = offset[(of_installation == number) & ~np.isnan(offset)]
        spread = float(np.ptp(offsets)) if offsets.size else 0.0
        share = spread / float(installations.level_range_m[number])
        message = (
            f"The offsets of the manual readings spread over {spread:.3f} m, {share:.0%} of the "
            f"movement of the water ({float(installations.drift_m_per_year[number]):+.3f} m/year): too much to rely on?"
        )
        # Again without explained readings, which may have made the drift.
        if spread >= max(limits["logger_residual_m"], 1.25 * stepped_m) and share >= limits["logger_drift_share"]:
            start, end = installations.start_utc[number], installations.end_utc[number]
            yield LoggerFinding(*place, "drift", start, end, message)


def _leave_one_out(manual: pd.DataFrame, counts: np.ndarray) -> Floats:
    """Return each offset less what those of the others that count give at its moment, linear in time between them."""
    offset = manual["offset_m"].to_numpy(dtype=np.float64)
    when = to_instants(manual["measured_at_utc"])
    known = counts & ~np.isnan(offset)
    residual = np.full(offset.size, np.nan)
    for number in np.unique(manual["installation"].to_numpy(dtype=np.int64)):
        mine = np.flatnonzero(known & (manual["installation"] == number).to_numpy())
        mine = mine[np.argsort(when[mine], kind="stable")]
        if mine.size:
            residual[mine] = leave_one_out(seconds_after(when[mine], when[mine[0]]), offset[mine], "linear")
    return residual
