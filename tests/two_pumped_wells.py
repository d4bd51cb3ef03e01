"""A pumping test beside which a second well is pumped, with drawdowns of Theis (1935) of both."""

import numpy as np
from scipy.special import exp1

from .pumping_record import READING_HEADING, STATIC, TABLES, pumping_network

#: Planted: transmissivity [m2/d], storativity.
TRANSMISSIVITY, STORATIVITY = 320.0, 3e-4
PLACES = {"PW": (0.0, 0.0), "O1": (30.0, 0.0), "O2": (0.0, 100.0), "P2": (60.0, 80.0)}
#: Rates [L/s] from minutes since the start of the test at PW on.
OWN = ((0.0, 8.0), (600.0, 0.0))
BESIDE = ((-300.0, 6.0), (200.0, 0.0))

WELLS = TABLES["wells"] + "S,P2,500060,5300080,upper,100,40\n"
CONSTRUCTION = TABLES["construction"] + "S,P2,screen,20,38,200\n"
TESTS = (
    "site,test,well,kind,starts_at,stops_at\n"
    "S,PT-1,PW,constant rate,2024-05-01T08:00,2024-05-01T18:00\n"
    "S,PT-2,P2,constant rate,2024-05-01T03:00,2024-05-01T11:20\n"
)
RATES = "site,test,well,from,rate\nS,PT-1,,0,8\nS,PT-2,,0,6\n"
MINUTES = np.concatenate(
    [[-120.0, -60.0, -10.0], np.geomspace(1.0, 600.0, 20).round(1), 600.0 + np.geomspace(1.0, 320.0, 10).round(1)]
)


def distance(one, other):
    """Return the distance of two wells [m]."""
    return float(np.hypot(*(np.array(PLACES[one]) - np.array(PLACES[other]))))


def theis(distance_m, minutes, rates):
    """Return Theis's drawdown (1935) of a history of rates."""
    total, before = np.zeros(len(minutes)), 0.0
    for start, rate in rates:
        days = (np.asarray(minutes) - start) / 1440.0
        u = distance_m**2 * STORATIVITY / (4.0 * TRANSMISSIVITY * np.maximum(days, 1e-9))
        part = (rate - before) * 86.4 / (4.0 * np.pi * TRANSMISSIVITY) * exp1(np.minimum(u, 600.0))
        total += np.where(days > 0.0, part, 0.0)
        before = rate
    return total


def readings():
    """Return the readings of the observation wells, at elapsed minutes."""
    rows = []
    for well in ("O1", "O2"):
        fall = theis(distance(well, "PW"), MINUTES, OWN) + theis(distance(well, "P2"), MINUTES, BESIDE)
        rows += [
            f"S,PT-1,{well},,{minute:g},{STATIC[well] + each:.4f},,,\n"
            for minute, each in zip(MINUTES, fall, strict=True)
        ]
    return READING_HEADING + "".join(rows)


def two_wells(folder, *, address=None, **changed):
    """Make the network and return it open; tables may be given in place of those here."""
    tables = {
        "wells": WELLS, "construction": CONSTRUCTION, "pumping_tests": TESTS, "pumping_rates": RATES,
        "pumping_readings": readings(), "tape_checks": None,
    }  # fmt: skip
    return pumping_network(folder, address=address, **(tables | changed))
