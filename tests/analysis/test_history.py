"""The history of a well: every change in order of recording, with who, why and from where."""

import datetime as dt

import pytest

from gwnet.analysis.review.history import MOST_LISTED, well_history
from gwnet.errors import NotFoundError
from gwnet.network import Network
from gwnet.records import Selection
from gwnet.store.snapshot import Snapshot

from .record import RECORDED_ON, Record

WATER = "depth_to_water"
SECOND = RECORDED_ON + dt.timedelta(days=1)


def hours(number):
    return SECOND + dt.timedelta(hours=number)


class Told:
    """A well with two levels, and what was done to them since."""

    def __init__(self, url):
        self.record = Record(url)
        self.well = self.record.well("MW-1")
        self.record.well("MW-2", point=(99.0, 0.5))
        self.point = self.record.point("MW-1", 101.0, height_above_ground_m=0.8)
        self.events = [
            self.record.event("MW-1", "2024-03-12T09:40", [(WATER, 3.0), (WATER, 3.002)]),
            self.record.event("MW-1", "2024-06-12T11:00", [(WATER, 4.0)], time_known=False),
        ]
        self.net = Network(url)

    def rows(self, **options):
        """Return the history without its first columns as texts."""
        table = self.net.wells.history("MW-1", **options)
        return [
            " | ".join(row)
            for row in table[["recorded_by", "subject", "act", "item", "was", "now", "reason"]].to_numpy()
        ]

    def close(self):
        self.net.close()
        self.record.store.close()


@pytest.fixture
def told(store_url):
    made = Told(store_url)
    yield made
    made.close()


def test_what_was_recorded_first_is_stated_with_its_values(told):
    rows = told.rows()
    assert any(
        row.startswith("Ana | measuring point | recorded | main, 2018-01-01 01:00+01:00 |  | elevation: 101.000 m; ")
        for row in rows
    )
    level = next(row for row in rows if "| level | recorded | 2024-03-12T10:40+01:00 |" in row)
    assert "status: static" in level
    assert level.endswith("depth to water: 3.0 m; depth to water 2: 3.002 m | ")
    assert any("| level | recorded | 2024-06-12 |" in row for row in rows)
    assert not any("99.000" in row for row in rows), "another well's point"


def test_a_correction_tells_old_and_new_and_a_withdrawal_its_reason(told):
    with told.record.act(hours(0)):
        told.record.retire("measuring_point", told.point)
        new = told.record.point("MW-1", 100.88, height_above_ground_m=0.68, recorded_by="Ben", reason="levelled again")
    told.record.retire("measuring_point", new, hours(5))
    since = told.rows()[-3:]
    assert since == [
        "Ben | measuring point | corrected | main, 2018-01-01 01:00+01:00: elevation | 101.000 m | 100.880 m | levelled again",
        "Ben | measuring point | corrected | main, 2018-01-01 01:00+01:00: height above ground | 0.800 m | 0.680 m | levelled again",
        "Ben | measuring point | withdrawn | main, 2018-01-01 01:00+01:00 | on record |  | corrected",
    ]
    assert told.rows(known_on=hours(4)) == told.rows()[:-1]
    assert told.rows(known_on=RECORDED_ON) == told.rows()[:-3]


def test_reviews_findings_and_decisions_are_stated_in_order(told):
    finding = told.record.add(
        "verdict",
        level_event_id=told.events[0],
        rule="jump",
        severity="serious",
        limits="{}",
        message="It jumped.",
        recorded_at_utc=hours(0),
        recorded_by="checker",
        reason="checked",
    )
    told.net.review.decide([finding], "dismiss", by="Vera", reason="It rained", now_utc=hours(1))
    told.net.review.approve(Selection(wells=["MW-1"]), by="Vera", now_utc=hours(2))
    told.net.review.reopen(Selection(events=told.events[:1]), by="Wim", reason="New log", now_utc=hours(3))
    told.record.retire("verdict", finding, hours(4))
    at = "2024-03-12T10:40+01:00"
    assert told.rows()[-6:] == [
        f"checker | finding | noticed | {finding} jump at {at} |  | It jumped. | checked",
        f"Vera | decision | decided | {finding} jump at {at} | open | dismissed | It rained",
        f"Vera | review | reviewed | {at} | provisional | approved | ",
        "Vera | review | reviewed | 2024-06-12 | provisional | approved | ",
        f"Wim | review | reviewed | {at} | approved | provisional | New log",
        f"Ben | finding | no longer noticed | {finding} jump at {at} | on record |  | corrected",
    ]


def test_many_levels_of_one_load_are_stated_as_one_unless_each_is_asked_for(told):
    with told.record.act(hours(1)):
        for month in range(1, 9):
            told.record.event("MW-1", f"2025-{month:02d}-12T09:40", [(WATER, 3.0)])
    levels = [row for row in told.rows() if "| level |" in row]
    assert len(levels) == 3
    assert "8 rows, 2025-01-12T10:40+01:00 to 2025-08-12T10:40+01:00" in levels[2]
    each = [row for row in told.rows(each=True) if "| level |" in row]
    assert len(each) == 10
    told.net.review.approve(Selection(wells=["MW-1"]), by="Vera", now_utc=hours(2))
    assert (
        told.rows()[-1]
        == "Vera | review | reviewed | 10 rows, 2024-03-12T10:40+01:00 to 2025-08-12T10:40+01:00 | provisional | approved | "
    )


def test_tapes_that_were_used_at_the_well_are_stated_and_others_are_not(told):
    for code in ("T1", "T2"):
        told.record.tape(code)
        told.record.check(code, "2024-03-01", 3.0, 3.004)
    told.record.event("MW-1", "2024-07-12T09:40", [(WATER, 3.0)], instrument_id=told.record.instruments["T1"])
    checks = [row for row in told.rows() if "tape check" in row]
    assert len(checks) == 1
    assert "T1, 2024-03-01, 3.000 m" in checks[0]
    assert "reference reading: 3.004 m" in checks[0]


def test_an_unknown_well_and_one_of_several_sites_are_refused(told):
    with pytest.raises(NotFoundError, match="no well 'MW-9'"):
        told.net.wells.history("MW-9")
    other = told.record.add("site", code="T")
    settings = {"crs": "EPSG:25832", "vertical_datum": "local", "length_unit": "m", "time_zone": "UTC+01:00"}
    told.record.add("site_record", site_id=other, **settings)
    well = told.record.add("well", site_id=other, code="MW-1")
    told.record.add("well_record", well_id=well)
    with pytest.raises(NotFoundError, match="Several sites have a well 'MW-1': S, T"):
        told.net.wells.history("MW-1")
    assert len(told.net.wells.history("MW-1", site="T")) == 2


def test_few_rows_of_one_act_are_listed_one_by_one(tmp_path):
    record = Record(tmp_path / "record.sqlite")
    for code, count in (("A", MOST_LISTED), ("B", MOST_LISTED + 1)):
        record.well(code)
        with record.act():
            for month in range(1, count + 1):
                record.event(code, f"2024-{month:02d}-15T10:00", [(WATER, 3.0)])
    with record.store.reading() as connection:
        counts = {}
        for code in "AB":
            changes = well_history(Snapshot(connection, site="S"), code)
            counts[code] = int((changes["subject"] == "level").sum())
    assert counts == {"A": MOST_LISTED, "B": 1}
