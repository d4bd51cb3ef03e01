"""A network with a pumping test whose drawdowns follow Theis (1935), written as the crew would write it."""

import datetime as dt

import numpy as np
from scipy.special import exp1

from gwnet.network import Network, init

FIRST = dt.datetime(2026, 4, 1, 8, tzinfo=dt.UTC)

#: Planted: transmissivity [m2/d], storativity, and the rates [L/s] from minutes on.
TRANSMISSIVITY, STORATIVITY = 250.0, 2e-4
RATES = ((0.0, 8.0), (240.0, 10.0))
STOP_MIN = 600.0
DISTANCES = {"O1": 30.0, "O2": 100.0}
STATIC = {"PW": 5.0, "O1": 5.1, "O2": 4.9}
RADIUS_M = 0.1

TABLES = {
    "sites": "site,crs,vertical_datum,length_unit,time_zone,repeat_tolerance\nS,EPSG:25832,local,m,UTC+01:00,0.006\n",
    "aquifers": "aquifer,confinement\nupper,confined\n",
    "wells": "site,well,easting,northing,aquifer,ground_elevation,total_depth\n"
    "S,PW,500000,5300000,upper,100,40\nS,O1,500030,5300000,upper,100,40\nS,O2,500000,5300100,upper,100,40\n",
    "construction": "site,well,part,top_depth,bottom_depth,diameter\n"
    "S,PW,casing,0,20,200\nS,PW,screen,20,38,200\nS,O1,screen,20,38,50\n",
    "measuring_points": "site,well,valid_from,elevation,height_above_ground,accuracy\n"
    "S,PW,2010-01-01,100.5,0.5,0.01\nS,O1,2010-01-01,100.4,0.4,0.01\nS,O2,2010-01-01,100.3,0.3,0.01\n",
    "instruments": "instrument,kind,accuracy\nT1,electric tape,0.004\n",
    "tape_checks": "instrument,checked_on,tape_reading,reference_reading\nT1,2024-01-02,5,5.010\nT1,2024-01-02,10,10.010\n",
}


def drawdown(distance_m, minutes, rates=RATES, stop_min=STOP_MIN):
    """Return the drawdown of Theis with any history of rates [m]."""
    days = np.asarray(minutes, dtype=float) / 1440.0
    total = np.zeros(days.shape)
    before = 0.0
    for start, rate in [*rates, (stop_min, 0.0)]:
        since = days - start / 1440.0
        change = (rate - before) * 86.4
        u = distance_m**2 * STORATIVITY / (4.0 * TRANSMISSIVITY * np.maximum(since, 1e-9))
        total += np.where(since > 0.0, change / (4.0 * np.pi * TRANSMISSIVITY) * exp1(np.minimum(u, 600.0)), 0.0)
        before = rate
    return total


MINUTES = np.array([1, 2, 3, 5, 8, 12, 20, 30, 45, 60, 90, 120, 180, 240, 241, 243, 250, 270, 300, 420, 600])
RECOVERY = STOP_MIN + np.array([1, 2, 5, 10, 20, 40, 80, 160, 320])


def reading_rows():
    """Return the readings: levels by the clock before the start, then by elapsed minutes, set depths at first."""
    rows = []
    for well, static in STATIC.items():
        rows += [f"S,PT-1,{well},2024-05-01T{clock},,{static:.3f},,,T1\n" for clock in ("06:00", "07:00", "07:50")]
        distance = DISTANCES.get(well, RADIUS_M)
        for minute, fall in zip(MINUTES, drawdown(distance, MINUTES), strict=True):
            if minute <= 3:
                rows.append(f"S,PT-1,{well},,{minute},,{static + fall:.3f},falling,T1\n")
            else:
                rows.append(f"S,PT-1,{well},,{minute},{static + fall:.3f},,,T1\n")
        for minute, fall in zip(RECOVERY, drawdown(distance, RECOVERY), strict=True):
            rows.append(f"S,PT-1,{well},,{minute:g},{static + fall:.3f},,,T1\n")
    return rows


READING_HEADING = "site,test,well,measured_at,elapsed [min],depth_to_water,set_depth,passed,instrument\n"


def test_tables():
    """Return the tables of the test."""
    rates = "".join(f"S,PT-1,,{minute:g},{rate}\n" for minute, rate in RATES)
    return {
        "pumping_tests": "site,test,well,kind,starts_at,stops_at,intake_depth,aquifer_thickness,crew\n"
        "S,PT-1,PW,constant rate,2024-05-01T08:00,2024-05-01T18:00,30,20,Ana and Ben\n",
        "pumping_rates": f"site,test,well,from,rate\n{rates}",
        "pumping_readings": READING_HEADING + "".join(reading_rows()),
    }


test_tables.__test__ = False


def pumping_network(folder, *, address=None, **changed):
    """Make the network in a folder, or at an address, and return it open; a table given as None is left out."""
    tables = {**TABLES, **test_tables(), **changed}
    folder.mkdir(parents=True, exist_ok=True)
    for name, text in tables.items():
        if text is not None:
            (folder / f"{name}.csv").write_text(text)
    address = address or folder / "record.sqlite"
    init(address)
    net = Network(address)
    net.load([folder], by="Ana", now_utc=FIRST)
    return net
