"""The effect of air pressure on the levels of a test, taken out by the barometric efficiency on record of each well."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
import pandas as pd

from gwnet.analysis.loggers.air_response import efficiency_of_well, remove_air_response
from gwnet.analysis.loggers.barometers import air_pressure
from gwnet.analysis.loggers.channels import loggers_of
from gwnet.clock import to_instant, to_instants, zone_of
from gwnet.constants import CONVENTIONAL_WATER_DENSITY_KG_M3, STANDARD_GRAVITY_M_S2
from gwnet.hydro.loggers.deconvolution import Response
from gwnet.store.snapshot import Snapshot

if TYPE_CHECKING:
    from gwnet.analysis.loggers.air_response import WellEfficiency

#: Readings without air pressure that are named one by one; of more the first and the last are.
_NAMED: Final = 4

_METRES_PER_PASCAL: Final = 1.0 / (CONVENTIONAL_WATER_DENSITY_KG_M3 * STANDARD_GRAVITY_M_S2)


@dataclass(frozen=True, eq=False)
class WellAir:
    """How the effect of air pressure was taken out of the levels of one well.

    Attributes
    ----------
    well, instrument, barometer : str
        The well, the logger that its efficiency is recorded of, and the barometer of that logger's deployment.
    efficiency : float
        Barometric efficiency; of a late response that at its longest lag.
    largest_m : float
        Largest correction of a level, with its sign: positive where the air pressure was higher than at the start; NaN
        where nothing was corrected [m].
    corrected : int
        Levels that were corrected.
    without : tuple of pandas.Timestamp
        Moments of levels that were not, since there is no air pressure.
    steps : tuple of str
        What stood in for the barometer.
    zone : str
        Time zone of the site.
    """

    well: str
    instrument: str
    barometer: str
    efficiency: float
    largest_m: float
    corrected: int
    without: tuple[pd.Timestamp, ...]
    steps: tuple[str, ...]
    zone: str

    def sentences(self) -> list[str]:
        """Return what is to be said of it."""
        said = []
        if self.corrected:
            stood_in = f" ({'; '.join(self.steps)})" if self.steps else ""
            said.append(
                f"Air pressure: {_count(self.corrected)} of {self.well} {'is' if self.corrected == 1 else 'are'} "
                f"corrected for its change since the start, by the barometer {self.barometer}{stood_in} and the "
                f"barometric efficiency of {self.efficiency:.2f} on record of logger {self.instrument}; the largest "
                f"correction is {self.largest_m:+.3f} m."
            )
        if self.without:
            said.append(
                f"Air pressure: {_count(len(self.without))} of {self.well} {'is' if len(self.without) == 1 else 'are'} "
                f"not corrected: {self.barometer or 'no barometer'} has no air pressure {self._moments()}. Load the "
                "file of the barometer, or leave the effect of air pressure in."
            )
        return said

    def _moments(self) -> str:
        local = [f"{moment.tz_convert(zone_of(self.zone)):%Y-%m-%d %H:%M}" for moment in self.without]
        if len(local) <= _NAMED:
            return f"at {', '.join(local)}"
        return f"from {local[0]} to {local[-1]}"


def _count(number: int) -> str:
    return f"{number} {'level' if number == 1 else 'levels'}"


def without_air(
    record: Snapshot, test: pd.Series, levels: pd.DataFrame, *, is_wanted: bool = True
) -> tuple[pd.DataFrame, tuple[WellAir, ...]]:
    """Return the levels of a test with what takes the effect of air pressure out of them.

    Parameters as `gwnet.analysis.pumping`.

    Parameters
    ----------
    test : pandas.Series
        Row of the tests on record.
    levels : pandas.DataFrame
        Levels of the test, as they stood in the wells: columns of `gwnet.analysis.pumping.gather.LEVEL_COLUMNS`.
    is_wanted : bool, optional
        Whether it is to be taken out; without, nothing is corrected.

    Returns
    -------
    tuple of pandas.DataFrame and tuple of WellAir
        The levels with air_correction_m filled, and with the uncertainty that the response adds to manual readings; and
        what was done, of each well with an efficiency on record.

    Notes
    -----
    What is added is the efficiency times the rise of air pressure since the start of the test, so that manual readings
    and heads are on one footing. Where there is no air pressure at the start, it counts from the level nearest to it in
    time that has one.
    """
    if not is_wanted or levels.empty or not (record.deployments["kind"] != "barometer").any():
        return levels, ()
    zone = str(record.all_sites.set_index("site")["time_zone"][test["site"]])
    correction = levels["air_correction_m"].to_numpy(dtype=np.float64).copy()
    width = levels["half_width_m"].to_numpy(dtype=np.float64).copy()
    # Drawdowns that were given as such have no level that air could have moved.
    is_level = levels["given_drawdown_m"].isna().to_numpy(dtype=bool)
    is_head = levels["source"].str.startswith("logger").to_numpy(dtype=bool)
    done = []
    for well in dict.fromkeys(levels["well"]):
        # The efficiency in force at the start of the test.
        found = efficiency_of_well(loggers_of(record), str(test["site"]), str(well), test["starts_at_utc"])
        here = np.flatnonzero(((levels["well"] == well) & is_level).to_numpy(dtype=bool))
        if found is None or not here.size:
            continue
        response, steps = _since_start(record, found, test["starts_at_utc"], levels["measured_at_utc"].iloc[here])
        correction[here] = response.level_m
        # Heads of loggers carry the half-width of the response already.
        adds = here[~is_head[here] & ~np.isnan(response.level_m)]
        width[adds] = np.hypot(width[adds], response.half_width_m[np.searchsorted(here, adds)])
        known = response.level_m[~np.isnan(response.level_m)]
        done.append(
            WellAir(
                well=str(well),
                instrument=str(found.deployment.instrument),
                barometer=str(found.deployment.barometer),
                efficiency=found.value,
                largest_m=float(known[np.argmax(np.abs(known))]) if known.size else math.nan,
                corrected=int(known.size),
                without=tuple(levels["measured_at_utc"].iloc[here[np.isnan(response.level_m)]]),
                steps=steps,
                zone=zone,
            )
        )
    return levels.assign(air_correction_m=correction, half_width_m=width), tuple(done)


def _since_start(
    record: Snapshot, found: WellEfficiency, start: pd.Timestamp, moments: pd.Series
) -> tuple[Response, tuple[str, ...]]:
    """Return what takes the effect of the change of air pressure since the start out of levels of a well."""
    loggers, begin, asked = loggers_of(record), to_instant(start), to_instants(moments)
    # The start among the moments, so that the change since then can be taken.
    when = np.unique(np.append(asked, begin))
    air = air_pressure(loggers, found.deployment, when)
    nothing = np.full(asked.size, np.nan)
    if np.isnan(air.pressure_pa).all():
        return Response(nothing, nothing), ()
    response = remove_air_response(
        *(loggers, found.deployment, found.settings, when),
        *(air.pressure_pa * _METRES_PER_PASCAL, _METRES_PER_PASCAL),
    )
    known = np.flatnonzero(~np.isnan(response.level_m))
    if not known.size:
        return Response(nothing, nothing), ()
    # Nearest to the start where the start itself has no air pressure.
    origin = known[int(np.argmin(np.abs((when[known] - begin).astype(np.int64))))]
    place = np.searchsorted(when, asked)
    half_width = np.hypot(response.half_width_m, found.value * air.half_width_pa * _METRES_PER_PASCAL)
    stood_in = tuple(step for step in air.steps if " instead" in step)
    return Response((response.level_m - response.level_m[origin])[place], np.nan_to_num(half_width)[place]), stood_in
