"""The response of a well to air pressure, by the barometric efficiency on record: at once, or late by its lags."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from gwnet.analysis.loggers.barometers import AirPressure, air_pressure
from gwnet.analysis.loggers.channels import LEVEL_QUANTITIES, LoggerRecord
from gwnet.hydro.arrays import MICROSECONDS, Floats, Instants
from gwnet.hydro.loggers.barometric import without_barometric_response
from gwnet.hydro.loggers.deconvolution import Response, response_of_level
from gwnet.hydro.loggers.dense_series import interpolate_at


@dataclass(frozen=True)
class WellEfficiency:
    """The barometric efficiency on record of a well.

    Attributes
    ----------
    deployment : named tuple
        Deployment of the logger that it is recorded of; its barometer counts.
    settings : mapping
        Parameters of the correction ``efficiency``.
    """

    deployment: Any
    settings: Mapping[str, Any]

    @property
    def value(self) -> float:
        """Return the efficiency; of a late response that at its longest lag."""
        return float(self.settings["response"][-1] if "response" in self.settings else self.settings["value"])


def efficiency_of_well(loggers: LoggerRecord, site: str, well: str, moment: pd.Timestamp) -> WellEfficiency | None:
    """Return the barometric efficiency on record of a well.

    Parameters
    ----------
    loggers : gwnet.analysis.loggers.channels.LoggerRecord
        What is on record.
    site, well : str
        Codes.
    moment : pandas.Timestamp
        When it is wanted.

    Returns
    -------
    WellEfficiency or None
        That of the deployment at the moment, else of the one nearest in time; None where none is on record.
    """
    rows = loggers.record.deployments
    rows = rows[(rows["site"] == site) & (rows["well"] == well) & (rows["kind"] != "barometer")]
    found: list[tuple[pd.Timedelta, WellEfficiency]] = []
    for row in rows.itertuples():
        for quantity in LEVEL_QUANTITIES:
            history = loggers.correction_history(str(row.instrument), quantity)
            settings = history.settings("efficiency", row.installed_at_utc, row.removed_at_utc)
            if settings:
                found.append((_away(row, moment), WellEfficiency(row, settings)))
                break
    # The nearest deployment in time: a well keeps its efficiency when its sensor is changed.
    return min(found, key=lambda pair: pair[0])[1] if found else None


def _away(deployment: Any, moment: pd.Timestamp) -> pd.Timedelta:
    """Return how far a deployment is from a moment; nothing within it."""
    after = pd.Timedelta(0) if pd.isna(deployment.removed_at_utc) else moment - deployment.removed_at_utc
    return max(pd.Timedelta(0), deployment.installed_at_utc - moment, after)


def remove_air_response(
    loggers: LoggerRecord,
    deployment: Any,
    settings: Mapping[str, Any],
    when: Instants,
    air_m: Floats,
    metres_per_pascal: float,
) -> Response:
    """Return what takes the response to air pressure out of levels.

    Parameters
    ----------
    loggers : gwnet.analysis.loggers.channels.LoggerRecord
        What is on record.
    deployment : named tuple
        Row of `gwnet.store.fetch.samples.deployments`.
    settings : mapping
        Parameters of the correction ``efficiency``.
    when : numpy.ndarray of datetime64[us], shape (n,)
        Moments, rising.
    air_m : numpy.ndarray, shape (n,)
        Air pressure at them in metres of water; NaN where there is none, known at one moment at least [m].
    metres_per_pascal : float
        Metres of water that one pascal is [m/Pa].

    Returns
    -------
    gwnet.hydro.loggers.deconvolution.Response
        What is added to the level and its 95 % half-width, against the mean air pressure of the moments; NaN where the
        air pressure for it is not known [m].
    """
    # The mean of the deployment, so that removing the response moves no level on average.
    reference = float(np.nanmean(air_m))
    if "response" not in settings:
        at_once = without_barometric_response(
            np.zeros(air_m.size), air_m, efficiency=float(settings["value"]), reference_air_pressure_m=reference
        )
        return Response(at_once, np.zeros(at_once.size))
    step = np.timedelta64(round(settings["step_s"] * MICROSECONDS), "us")
    # The response at the first sample needs the air of all lags before it.
    before = (len(settings["response"]) - 1) * step
    grid = np.arange(when[0] - before, when[-1] + step, step)
    even = response_of_level(
        air_pressure(loggers, deployment, grid).pressure_pa * metres_per_pascal,
        response=settings["response"],
        half_width=settings["half_width"],
        reference_air_pressure_m=reference,
    )
    # the sum over the lags of what is linear between even moments is linear between them as well
    parts = (
        interpolate_at(when, grid, values, longest_gap_s=1.5 * settings["step_s"])
        for values in (even.level_m, even.half_width_m)
    )
    return Response(*parts)


def describe_air(air: AirPressure) -> list[str]:
    """Return how the air pressure for a barometric efficiency was got, in words.

    Parameters
    ----------
    air : gwnet.analysis.loggers.barometers.AirPressure
        Air pressure that is not subtracted from an absolute pressure.
    """
    return [step.replace("less the air pressure", "barometric efficiency by the air pressure", 1) for step in air.steps]
