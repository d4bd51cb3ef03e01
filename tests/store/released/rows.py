"""Rows of every table as each released revision of the schema holds them."""

import datetime as dt
import zlib

FIRST = dt.datetime(2024, 3, 1, 8, 0, tzinfo=dt.UTC)
RECORDED = dt.datetime(2024, 3, 2, 9, 0, tzinfo=dt.UTC)
CORRECTED = dt.datetime(2024, 4, 2, 9, 0, tzinfo=dt.UTC)
DAY = dt.timedelta(days=1)
START_MS = 1_720_000_000_000

BY = {"recorded_at_utc": RECORDED, "recorded_by": "Ana", "reason": None, "source_file_id": 1, "source_row": 2}
RETIRED = {"retired_at_utc": CORRECTED, "retired_by": "Ben", "retired_reason": "misread"}
SUCCESSOR = {"recorded_at_utc": CORRECTED, "recorded_by": "Ben", "reason": "misread"}
CONTENT = b"site,well\nS,MW-1\n"


def recorded(number, *, written=None, **columns):
    return {"id": number, **BY, "as_written": written, **columns}


def _common():
    """Rows of tables that every revision has in the same form."""
    return {
        "site": [{"id": 1, "code": "S"}],
        "aquifer": [{"id": 1, "code": "upper"}],
        "well": [{"id": 1, "site_id": 1, "code": "MW-1"}, {"id": 2, "site_id": 1, "code": "MW-2"}],
        "instrument": [{"id": 1, "code": "L1"}, {"id": 2, "code": "L2"}, {"id": 3, "code": "T1"}],
        "gauging_round": [{"id": 1, "site_id": 1, "code": "2024-Q1"}],
        "gauge": [{"id": 1, "site_id": 1, "code": "G1"}],
        "context_series": [{"id": 1, "site_id": 1, "code": "rain"}],
        "source_file": [
            {
                "id": 1,
                "name": "wells.csv",
                "sha256": "0" * 64,
                "size_bytes": len(CONTENT),
                "content": zlib.compress(CONTENT, 6),
                "layout": "wells",
                "row_count": 2,
                "loaded_at_utc": RECORDED,
                "loaded_by": "Ana",
            }
        ],
        "site_record": [
            recorded(
                1,
                site_id=1,
                name="Meadow",
                crs="EPSG:25832",
                vertical_datum="local",
                length_unit="ft",
                time_zone="Europe/Vienna",
                repeat_tolerance_m=0.01,
                gauging_interval_days=90.0,
                self_review=True,
                check_limits='{"spike": 0.1}',
            )
        ],
        "aquifer_record": [recorded(1, aquifer_id=1, name="Upper gravel", confinement="unconfined")],
        "well_record": [
            recorded(
                1, written='{"well": "MW-1"}', well_id=1, easting=500000.0, aquifer_id=1, total_depth_m=20.0, **RETIRED
            ),
            recorded(
                2, well_id=1, easting=500000.5, northing=5300000.25, aquifer_id=1, total_depth_m=20.0, **SUCCESSOR
            ),
            recorded(
                3, well_id=2, longitude=9.0, latitude=47.85, drilled_on=dt.date(2010, 5, 1), hazards="ditch", notes="ü"
            ),
        ],
        "construction_part": [
            recorded(
                1, well_id=1, part="screen", top_depth_m=12.0, bottom_depth_m=18.0, diameter_mm=50.0, material="PVC"
            )
        ],
        "measuring_point": [
            recorded(
                1,
                well_id=1,
                access="main",
                valid_from_utc=FIRST - 1000 * DAY,
                valid_until_utc=FIRST + 10 * DAY,
                elevation_m=100.7,
                height_above_ground_m=0.7,
                accuracy_m=0.005,
                surveyed_on=dt.date(2018, 1, 1),
            ),
            recorded(
                2, well_id=1, access="main", valid_from_utc=FIRST + 10 * DAY, elevation_m=100.65, change="altered"
            ),
        ],
        "instrument_record": [
            recorded(1, instrument_id=1, kind="absolute pressure logger", serial="77", range_m=20.0),
            recorded(2, instrument_id=2, kind="barometer"),
            recorded(3, instrument_id=3, kind="electric tape", length_unit="m", length_below_sensing_point_m=0.11),
        ],
        "tape_check": [
            recorded(1, instrument_id=3, checked_on=dt.date(2024, 1, 9), tape_reading_m=30.0, reference_reading_m=29.99)
        ],
        "deployment": [
            recorded(1, site_id=1, well_id=1, instrument_id=1, hanging_depth_m=12.5, valid_from_utc=FIRST)
            | {"valid_until_utc": FIRST + 100 * DAY, "barometer_id": 2},
            recorded(2, site_id=1, well_id=1, instrument_id=1, hanging_depth_m=12.5, valid_from_utc=FIRST + 100 * DAY)
            | {"recorded_at_utc": RECORDED + 100 * DAY},
            recorded(3, site_id=1, instrument_id=2, valid_from_utc=FIRST),
        ],
        "round_record": [
            recorded(
                1, gauging_round_id=1, starts_on=dt.date(2024, 3, 1), ends_on=dt.date(2024, 3, 2), wells='["MW-1"]'
            )
        ],
        "level_event": [
            {"id": 1, "well_id": 1, "access": "main", "measured_at_utc": FIRST, "time_known": True, "event": ""},
            {
                "id": 2,
                "well_id": 1,
                "access": "main",
                "measured_at_utc": FIRST + DAY,
                "time_known": False,
                "event": "7",
            },
        ],
        "level_record": [
            recorded(
                1, level_event_id=1, gauging_round_id=1, status="static", local_offset_minutes=60, instrument_id=3
            ),
            recorded(2, level_event_id=2, status="dry", local_offset_minutes=60, quality="good", **RETIRED),
            recorded(3, level_event_id=2, status="pumping", local_offset_minutes=60, discharge_l_s=0.5, **SUCCESSOR),
        ],
        "level_reading": [
            {
                "level_record_id": 1,
                "quantity": "depth_to_water",
                "ordinal": 1,
                "value": 3.25,
                "unit": "m",
                "written": "3,25",
            },
            {
                "level_record_id": 1,
                "quantity": "depth_to_water",
                "ordinal": 2,
                "value": 10.7,
                "unit": "ft",
                "written": "10.7",
            },
        ],
        "verdict": [
            recorded(
                1, level_event_id=1, rule="repeats disagree", severity="serious", limits="{}", message="They differ."
            )
        ],
        "review": [
            recorded(1, level_event_id=1, state="approved", reason="looks right"),
            recorded(2, verdict_id=1, state="accepted"),
        ],
        "threshold": [
            recorded(1, well_id=1, threshold="low", kind="lower", quantity="depth_to_water", value_m=9.5, consecutive=2)
        ],
        "stage_reading": [
            recorded(1, gauge_id=1, measured_at_utc=FIRST, time_known=True, water_elevation_m=99.125, aquifer_id=1)
        ],
        "context_value": [
            recorded(1, context_series_id=1, on_date=dt.date(2024, 3, 1), quantity="rainfall", unit="mm", value=3.5)
        ],
        "report_issue": [
            recorded(
                1,
                definition="quarterly",
                definition_sha256="1" * 64,
                period="2024-Q1",
                known_on_utc=RECORDED,
                sha256="2" * 64,
                printed_values="[]",
            )
        ],
    }


def _samples():
    rows = [
        {"series_id": series, "time_ms": START_MS + 60_000 * step, "value": series + step / 8}
        for series in (1, 2, 3)
        for step in range(5)
    ]
    return [*rows, {"series_id": 3, "time_ms": 1_730_000_000_000, "value": None, "flag": 2}]


def _correction(series_id):
    return recorded(
        1, series_id=series_id, kind="step", parameters='{"amount_m": 0.1}', valid_from_utc=FIRST, reason="slipped"
    )


def rows_0001():
    """A logger with two deployments, each with a series, and series of no deployment."""
    series = ((1, 1, 1, "water pressure", "kPa"), (2, 1, 2, "water pressure", "kPa"))
    series += ((3, 2, None, "air pressure", "hPa"), (4, 2, None, "battery", "V"))
    names = ("id", "instrument_id", "deployment_id", "quantity", "unit")
    return {
        **_common(),
        "logger_series": [dict(zip(names, row, strict=True)) for row in series],
        "sample": _samples(),
        "adjustment": [_correction(2)],
    }


def _downloads():
    counts = dict.fromkeys(("same_count", "repeated_count", "conflict_count", "missing_count", "event_count"), 0)
    span = {"first_ms": START_MS, "last_ms": START_MS + 240_000, "row_count": 5, "added_count": 5}
    return [
        recorded(series, series_id=series, layout="plain", zone="UTC", **span, **counts) | {"layout_text": "x = 1"}
        for series in (1, 2, 3)
    ]


def rows_0002():
    """Series of segments, with the downloads and runs of their samples; the register."""
    names = ("id", "instrument_id", "quantity", "unit", "take")
    series = ((1, 1, "water pressure", "kPa", 1), (2, 1, "water pressure", "kPa", 2), (3, 2, "air pressure", "hPa", 1))
    runs = [
        {"series_id": n, "first_ms": START_MS, "last_ms": START_MS + 240_000, "download_id": n, "sample_count": 5}
        for n in (1, 2, 3)
    ]
    runs.append(
        {
            "series_id": 3,
            "first_ms": 1_730_000_000_000,
            "last_ms": 1_730_000_000_000,
            "download_id": 3,
            "sample_count": 1,
        }
    )
    tables = _common()
    tables["report_issue"][0]["site_id"] = 1
    return {
        **tables,
        "source_piece": [{"source_file_id": 1, "ordinal": 1, "content": b""}],
        "logger_series": [dict(zip(names, row, strict=True)) for row in series],
        "download": _downloads(),
        "sample": _samples(),
        "sample_run": runs,
        "sample_pack": [
            {
                "series_id": 1,
                "first_ms": START_MS,
                "last_ms": START_MS + 240_000,
                "step_ms": 60_000,
                "sample_count": 5,
                "download_id": 1,
                "content": bytes.fromhex(
                    "000000000000f03f000000000000f23f000000000000f43f000000000000f63f000000000000f83f"
                ),
            }
        ],
        "sample_conflict": [
            {
                "id": 1,
                "series_id": 1,
                "time_ms": START_MS,
                "value": 9.0,
                "unit": "kPa",
                "download_id": 2,
                "source_row": 4,
            }
        ],
        "adjustment": [_correction(2)],
        "register_entry": [
            recorded(
                1,
                site_id=1,
                code="E1",
                kind="promise",
                raised_on=dt.date(2024, 1, 1),
                raised_by="Rea",
                text="Clean the well",
                state="open",
            )
        ],
    }


def rows_0003():
    """As before, with corrections and segments by their names of today."""
    tables = rows_0002()
    for series in tables["logger_series"]:
        series["segment"] = series.pop("take")
    tables["correction"] = tables.pop("adjustment")
    return tables


ROWS = {"0001": rows_0001, "0002": rows_0002, "0003": rows_0003}
