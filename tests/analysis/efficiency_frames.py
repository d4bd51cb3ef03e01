"""A deployment whose barometric efficiency is worked out, from arrays, with methods that give chosen numbers."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pandas as pd

from gwnet.analysis.loggers import efficiency as module
from gwnet.hydro.loggers.deconvolution import BarometricResponse

NAN = float("nan")
START = np.datetime64("2024-01-01T00:00", "us")
HOUR = np.timedelta64(3_600_000_000, "us")

#: Water of 1000 kg/m3 under 10 m/s2, so that 10 000 Pa are a metre.
PER_PASCAL = 1e-4


def deployment_row(**more):
    row = {"deployment_id": 7, "instrument": "L", "barometer": "B", "kind": "absolute pressure logger", "well": "W"}
    installed = pd.Timestamp("2023-12-31", tz="UTC")
    return {**row, "installed_at_utc": installed, "removed_at_utc": pd.NaT, **more}


def heads_of(air_pa, level_m, *, when=None, out=None, correction=None, settings=None, well="W", number=7, vented=False):
    count = len(level_m)
    history = SimpleNamespace(settings=lambda kind, start, end: {} if settings is None else settings)
    return SimpleNamespace(
        site="S",
        well=well,
        instrument="L",
        quantity="vented pressure" if vented else "absolute pressure",
        deployment_id=number,
        time_utc=START + np.arange(count) * HOUR if when is None else when,
        state=SimpleNamespace(out=np.zeros(count, dtype=np.uint8) if out is None else out),
        anchored=SimpleNamespace(correction_m=np.full(count, 90.0) if correction is None else correction),
        level=SimpleNamespace(
            level_m=np.asarray(level_m),
            air_pa=np.full(count, NAN) if vented else np.asarray(air_pa),
            metres_per_pascal=lambda: np.full(count, PER_PASCAL),
            channel=SimpleNamespace(correction_history=history),
        ),
    )


def use(monkeypatch, *heads, rows=None, barometer=None, air_pa=None, asked=None):
    """Let the module see some heads, deployments, a barometer and air pressure."""
    table = pd.DataFrame(
        [deployment_row(deployment_id=one.deployment_id, well=one.well) for one in heads] if rows is None else rows
    )
    by_number = {one.deployment_id: one for one in heads}
    monkeypatch.setattr(module, "deployments_in", lambda record, wells=None: table)
    monkeypatch.setattr(module, "loggers_of", lambda record: "loggers")
    asked_of = [] if asked is None else asked

    def iterate(record, deployments):
        asked_of.append(deployments["deployment_id"].tolist())
        return (by_number[number] for number in deployments["deployment_id"] if number in by_number)

    monkeypatch.setattr(module, "iterate_heads", iterate)
    channel = None if barometer is None else SimpleNamespace(value=np.asarray(barometer))
    monkeypatch.setattr(module, "barometer_channel", lambda loggers, code, when: channel)

    def air(loggers, row, when):
        return SimpleNamespace(pressure_pa=np.full(when.size, NAN) if air_pa is None else air_pa)

    monkeypatch.setattr(module, "air_pressure", air)


def series(count=300, seed=3):
    """Return air pressure and a level that answers with an efficiency near 0.4."""
    random = np.random.default_rng(seed)
    air = 100_000.0 + np.cumsum(random.normal(0.0, 60.0, count))
    return air, 2.0 - 0.4 * (air - 100_000.0) * PER_PASCAL + random.normal(0.0, 0.001, count)


def answer(
    response=(0.2, 0.4), half_width=(0.01, 0.02), *, settling=0.0, settling_half_width=0.0, why="", tides=(), count=10
):
    lag_s = 3600.0 * np.arange(1, len(response) + 1) * 1.5
    return BarometricResponse(
        lag_s, np.array(response), np.array(half_width), settling, settling_half_width, tuple(tides), count, 0.5, why
    )


def found(efficiency, half_width=0.0):
    return SimpleNamespace(efficiency=efficiency, half_width=half_width, correlation=-0.5, count=5)


def stub(monkeypatch, changes=(), levels=(0.4, 0.0), clark=(0.4, 0.0), late=None, air=None, **more):
    """Let the methods give chosen numbers: changes by hours, and the rest."""
    spans = {1: (0.4, 0.0), 6: (0.4, 0.0), 24: (0.4, 0.0), **dict(changes)}

    def regression(level, air, *, of_changes, over=1):
        return found(*(spans[over] if of_changes else levels))

    monkeypatch.setattr(module, "regression_efficiency", regression)
    monkeypatch.setattr(module, "clark_efficiency", lambda level, air: found(*clark))
    monkeypatch.setattr(module, "deconvolve_response", lambda *pair, lags, tides: late or answer())
    air_pa, level = series(40)
    use(monkeypatch, heads_of(air_pa if air is None else air, level[: 40 if air is None else len(air)]), **more)
