"""A record with one reading a well, or a few: each a case of its own for the reduction; constructed."""

from __future__ import annotations

from gwnet.store.contract import TAPE_READINGS

from .record import Record

WATER, GROUND, HEAD, PRODUCT, BOTTOM = (
    *("depth_to_water", "depth_below_ground", "water_elevation", "depth_to_product", "sounded_depth"),
)
DAY = "2024-03-01T10:00"

#: Readings of each well, with the status and further columns of the event where they are not the usual ones.
READ = {
    "height unknown": ([(WATER, 2.0)], {}),
    "two points": ([(WATER, 2.0)], {}),
    "other datum": ([(HEAD, 98.0)], {}),
    "other datum, read": ([(WATER, 2.0)], {}),
    "same datum": ([(WATER, 2.0)], {}),
    "above by little": ([(WATER, -0.003)], {}),
    "below by little": ([(WATER, 0.002)], {}),
    "above": ([(WATER, -0.5)], {}),
    "above, pumping": ([(WATER, -0.5)], {"status": "pumping"}),
    "no access": ([], {"status": "no access"}),
    "flowing, no point": ([], {"status": "flowing"}),
    "at the screen": ([(WATER, 12.5)], {}),
    "below the screen": ([(WATER, 12.625)], {}),
    "below the screen, pumping": ([(WATER, 12.625)], {"status": "pumping"}),
    "below the screen, silted up": ([(WATER, 13.0), (BOTTOM, 11.0)], {}),
    "at the bottom": ([(WATER, 12.15)], {}),
    "below the bottom": ([(WATER, 12.25)], {}),
    "below the sounding": ([(WATER, 10.5), (BOTTOM, 10.0)], {}),
    "product below": ([(WATER, 5.0), (PRODUCT, 5.5)], {}),
    "product at the water": ([(WATER, 5.0), (PRODUCT, 5.0)], {}),
    "product": ([(WATER, 50.0), (PRODUCT, 40.0)], {"tape": "T1", "product_relative_density": 0.8}),
    "thin product": ([(WATER, 5.5), (PRODUCT, 5.0)], {"product_relative_density": 0.8}),
    "elevation": ([(HEAD, 98.0)], {}),
    "elevation, stated": ([(HEAD, 98.0), ("accuracy", 0.05)], {}),
    "ground, height": ([(GROUND, 2.0)], {}),
    "ground": ([(GROUND, 2.0)], {}),
    "stated sigma": ([(WATER, 5.0), ("accuracy_1sd", 0.1, "ft")], {}),
    "air line": ([(WATER, 5.0)], {"tape": "T9", "method": "air line"}),
    "steel": ([(WATER, 50.0), (BOTTOM, 100.0)], {"tape": "S", "tape_temperature_degc": 30.0}),
    "of the instrument": ([(WATER, 5.0)], {"tape": "A"}),
    "chalked": ([(TAPE_READINGS[0], 20.0), (TAPE_READINGS[1], 1.25)], {"tape_temperature_degc": 30.0}),
    "thrice": ([(WATER, 5.0), (WATER, 5.002), (WATER, 5.005)], {}),
    "beyond": ([(WATER, 120.0)], {"tape": "T1"}),
    "short of": ([(WATER, 2.0)], {"tape": "T2"}),
    "disagreeing": ([(WATER, 5.0), (WATER, 5.1)], {}),
    "chosen": ([(WATER, 5.0), (WATER, 5.1)], {"chosen_reading": 2}),
}

#: Wells with a screen from 8 to 12 m below ground and a point 0.5 m above it; a depth of 12 m; none of their own.
_SCREENED = ("at the screen", "below the screen", "below the screen, pumping", "below the screen, silted up")
_TWELVE = ("at the bottom", "below the bottom", "below the sounding")
_OTHERS = ("height unknown", "two points", "flowing, no point", "ground, height", "ground")
_DATUMS = {"other datum": "Old datum", "other datum, read": "Old datum", "same datum": " LOCAL "}


def made_in(folder):
    """Return the record and the event of each well."""
    made = Record(folder / "cases.sqlite")
    with made.act():
        for code, more in {
            "T1": {},
            "T2": {},
            "T9": {},
            "S": {"kind": "steel tape"},
            "A": {"kind": "sounder", "accuracy_m": 0.02},
        }.items():
            made.tape(code, **more)
        # T1 was checked to 300 m before, and to 100 m last, where it reads a thousandth too much
        for code, day, tape, reference in (
            ("T1", "2023-01-10", 0.0, 0.0),
            ("T1", "2023-01-10", 300.0, 300.0),
            ("T1", "2024-01-10", 0.0, 0.0),
            ("T1", "2024-01-10", 100.0, 99.9),
            ("T2", "2024-01-10", 5.0, 5.0),
            ("T2", "2024-01-10", 400.0, 400.0),
        ):
            made.check(code, day, tape, reference)
        for name in READ:
            if name in _SCREENED:
                made.well(name, screen=(8.0, 12.0), point=(100.5, 0.5))
            elif name in _TWELVE:
                made.well(name, point=(100.0, 0.0), total_depth_m=12.0)
            elif name in _DATUMS:
                made.well(name)
                made.point(name, 101.0, vertical_datum=_DATUMS[name])
            elif name not in _OTHERS:
                made.well(name, point=(200.0, 0.5))
        made.well("height unknown", ground_elevation_m=100.2, ground_accuracy_m=1.5)
        made.point("height unknown", 101.0)
        made.well("two points", point=(101.0, 0.5))
        made.well("flowing, no point")
        made.well("ground, height", point=(101.0, 0.8), ground_accuracy_m=1.5)
        made.well("ground", ground_elevation_m=100.2, ground_accuracy_m=1.5)
        made.point("ground", 101.0)
        events = {}
        for name, (readings, more) in READ.items():
            columns = {key: value for key, value in more.items() if key != "tape"}
            if "tape" in more:
                columns["instrument_id"] = made.instruments[more["tape"]]
            events[name] = made.event(name, DAY, readings, **columns)
        made.well("early", point=(100.0, 0.5))
        events["early"] = made.event("early", "2017-03-01T10:00", [], status="not measured")
    return made, events
