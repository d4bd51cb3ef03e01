"""Findings about air pressure: gaps of barometers, one a gap, and samples that lack it for another reason."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from gwnet.analysis.loggers.barometers import barometer_channel, barometer_gaps, barometers_of
from gwnet.analysis.loggers.channels import LoggerRecord
from gwnet.analysis.loggers.correction_history import OUT_REASONS
from gwnet.analysis.loggers.heads import LoggerHeads
from gwnet.analysis.loggers.suggestion import LoggerFinding, count_samples
from gwnet.hydro.arrays import MICROSECONDS, Instants, runs_of

_NO_AIR = OUT_REASONS.index("no air pressure")


@dataclass(frozen=True)
class AirOfDeployment:
    """What one deployment needs of its barometer; no samples but those that lack an air pressure.

    Attributes
    ----------
    site, well, instrument, quantity, barometer : str
        What was installed where, and its barometer; empty for none.
    first_utc, last_utc : numpy.datetime64
        First and last sample.
    runs : tuple of tuple
        Runs of samples without an air pressure: times of the first and last, and how many.
    """

    site: str
    well: str
    instrument: str
    quantity: str
    barometer: str
    first_utc: np.datetime64
    last_utc: np.datetime64
    runs: tuple[tuple[np.datetime64, np.datetime64, int], ...]


def air_of_deployment(loggers: LoggerRecord, heads: LoggerHeads) -> AirOfDeployment:
    """Return what one deployment needs of its barometer.

    Parameters as `gwnet.analysis.loggers`.

    Returns
    -------
    AirOfDeployment
        Its runs of samples without an air pressure.
    """
    rows = loggers.deployments_of(heads.instrument)
    barometer = str(rows.loc[rows["deployment_id"] == heads.deployment_id, "barometer"].iloc[0])
    place = (heads.site, heads.well, heads.instrument, heads.quantity, barometer)
    runs = tuple(_runs(heads.time_utc, heads.anchored.out == _NO_AIR))
    return AirOfDeployment(*place, heads.time_utc[0], heads.time_utc[-1], runs)


def find_missing_air(loggers: LoggerRecord, deployments: Iterable[AirOfDeployment]) -> Iterator[LoggerFinding]:
    """Yield gaps of barometers, one a gap, and runs of samples that lack an air pressure for another reason.

    Parameters
    ----------
    loggers : gwnet.analysis.loggers.channels.LoggerRecord
        What is on record.
    deployments : iterable of AirOfDeployment
        What the deployments need.

    Yields
    ------
    LoggerFinding
        About the barometer for its gaps, about the well for the rest.
    """
    needs = list(deployments)
    gaps: dict[str, list[tuple[np.datetime64, np.datetime64]]] = {}
    for barometer in sorted({each.barometer for each in needs if each.barometer}):
        # One gap concerns all sensors that a barometer serves; a finding for each would say one thing many times.
        mine = [each for each in needs if each.barometer == barometer]
        when = np.array([min(each.first_utc for each in mine), max(each.last_utc for each in mine)])
        gaps[barometer] = barometer_gaps(loggers, barometer, when)
        for start, end in gaps[barometer]:
            # A gap while nobody needed the barometer is of no interest.
            served = [each for each in mine if each.first_utc < end and each.last_utc > start]
            if served:
                yield _gap(loggers, barometer, served, (start, end))
    for each in needs:
        for first, last, count in each.runs:
            if any(start < last and first < end for start, end in gaps.get(each.barometer, [])):
                continue  # the barometer's own finding
            yield _without_air(each, first, last, count)


def _runs(when: Instants, lacks: NDArray[np.bool_]) -> Iterator[tuple[np.datetime64, np.datetime64, int]]:
    for first, end in zip(*runs_of(lacks), strict=True):
        yield when[first], when[end - 1], int(end - first)


def _gap(loggers: LoggerRecord, barometer: str, served: list[AirOfDeployment], gap: Any) -> LoggerFinding:
    """Return the finding about one gap of a barometer."""
    start, end = gap
    hours = float((end - start).astype(np.int64)) / MICROSECONDS / 3600
    without = {
        each.well: sum(count for first, last, count in each.runs if first < end and last > start) for each in served
    }
    lacking = [f"{well} ({count})" for well, count in sorted(without.items()) if count]
    stand_ins = list(barometers_of(loggers, barometer, np.array([start, end])))[1:]
    if lacking:
        fix = "load its missing file, or name a barometer that stands in for it in its own deployment"
        effect = f"samples without a level: {', '.join(lacking)}; {fix}"
    elif stand_ins:
        effect = f"{' or '.join(stand_ins)} stands in"
    else:
        effect = "no sample of a level needs it"
    channel = barometer_channel(loggers, barometer, np.array([start, end]))
    quantity = "air pressure" if channel is None else channel.quantity
    message = f"No air pressure of barometer {barometer} for {hours:.4g} h: {effect}."
    return LoggerFinding(served[0].site, "", barometer, quantity, "barometer gap", start, end, message)


def _without_air(each: AirOfDeployment, first: np.datetime64, last: np.datetime64, count: int) -> LoggerFinding:
    """Return the finding about samples that lack an air pressure and lie in no gap of the barometer."""
    why = (
        f"{each.barometer} has none before, after or at all" if each.barometer else "the deployment names no barometer"
    )
    what = f"{count_samples(count)} without a level: no air pressure, {why}"
    message = f"{what}; load its files, or name one in the deployment."
    place = (each.site, each.well, each.instrument, each.quantity)
    return LoggerFinding(*place, "no air pressure", first, last, message)
