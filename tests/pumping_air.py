"""A pumping test during which the air pressure falls: what the crew and a logger read, and what the barometer has."""

import datetime as dt

import numpy as np

from .pumping_record import DISTANCES, FIRST, MINUTES, READING_HEADING, RECOVERY, STATIC, drawdown, pumping_network

#: Barometric efficiency of O1, and of O2 none is on record.
EFFICIENCY = 0.5
START = np.datetime64("2024-05-01T07:00", "m")
PER_METRE_PA = 1000.0 * 9.80665

INSTRUMENTS = (
    "instrument,kind,accuracy,serial\nT1,electric tape,0.004,\nV,vented pressure logger,0.003,501\nB,barometer,,502\n"
)
DEPLOYMENTS = (
    "site,well,instrument,installed_at,hanging_depth,barometer\nS,O1,V,2024-04-29T01:00,12,B\nS,,B,2024-04-29T01:00,,\n"
)

LAYOUT = """
[table]
heading_pattern = "^Time"
[time]
column = "Time"
formats = ["%Y-%m-%dT%H:%M"]
zone = "UTC"
[[columns]]
quantity = "{quantity}"
column = "Pressure"
unit = "Pa"
"""


def air_pressure_m(minutes):
    """Return the air pressure in metres of water: a front that passes during the test, 0.2 m from start to end."""
    return 10.3 - 0.2 / (1.0 + np.exp(-(np.asarray(minutes, dtype=float) - 300.0) / 90.0))


def rise_m(minutes, efficiency=EFFICIENCY):
    """Return how much higher the water of a well stands than at the start, since the air pressure fell."""
    return -efficiency * (air_pressure_m(minutes) - air_pressure_m(0.0))


def readings():
    """Return the readings of O1 and O2, at elapsed minutes."""
    minutes = np.concatenate([[-110.0, -60.0, -10.0], MINUTES, RECOVERY])
    rows = []
    for well, distance in DISTANCES.items():
        depth = STATIC[well] + drawdown(distance, minutes) - rise_m(minutes, EFFICIENCY if well == "O1" else 0.0)
        rows += [f"S,PT-1,{well},,{minute:g},{value:.4f},,,\n" for minute, value in zip(minutes, depth, strict=True)]
    return READING_HEADING + "".join(rows)


def write_samples(folder, name, quantity, minutes, pressure_pa):
    """Write a file of samples and its layout; return both."""
    folder.mkdir(exist_ok=True)
    when = START + np.asarray(minutes, dtype="timedelta64[m]")
    rows = "".join(f"{moment},{value:.2f}\n" for moment, value in zip(when, pressure_pa, strict=True))
    (folder / f"{name}.csv").write_text(f"Time,Pressure\n{rows}")
    (folder / f"{name}.toml").write_text(LAYOUT.format(quantity=quantity))
    return folder / f"{name}.csv", folder / f"{name}.toml"


def network_under_air(folder, *, address=None, gap=(), has_efficiency=True):
    """Make the network with loggers, a barometer without samples between two minutes, and the efficiency of O1."""
    net = pumping_network(
        folder / "tables", address=address, instruments=INSTRUMENTS, tape_checks=None, deployments=DEPLOYMENTS,
        pumping_readings=readings(),
    )  # fmt: skip
    minutes = np.arange(-2880, 1440, 30)
    kept = minutes if not gap else minutes[(minutes <= gap[0]) | (minutes >= gap[1])]
    barometer, layout = write_samples(
        folder / "files", "barometer", "air pressure", kept, air_pressure_m(kept) * PER_METRE_PA
    )
    net.loggers.load([barometer], layout, instrument="B", by="Ana", now_utc=FIRST + dt.timedelta(hours=1))
    level = -STATIC["O1"] - drawdown(DISTANCES["O1"], minutes) + rise_m(minutes)
    water, layout = write_samples(folder / "files", "logger", "water pressure", minutes, (level + 12.0) * PER_METRE_PA)
    net.loggers.load([water], layout, instrument="V", by="Ana", now_utc=FIRST + dt.timedelta(hours=2))
    if has_efficiency:
        asked = {"reason": "worked out in April", "by": "Ana", "now_utc": FIRST + dt.timedelta(hours=3)}
        net.loggers.correct("V", "efficiency", value=EFFICIENCY, **asked)
    return net
