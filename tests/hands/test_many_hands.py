"""Eight hands at one record: each ends as if it had been alone, and the record is what one person would have made."""

import random

import pytest

from gwnet.network import Network, init

from .at_once import run_at_once

pytestmark = pytest.mark.slow

HANDS = 8
TABLES = {
    "sites": "site,crs,vertical_datum,length_unit,time_zone\nS,EPSG:25832,local,m,UTC+01:00\n",
    "aquifers": "aquifer,name\nupper,Upper\n",
    "wells": "site,well,easting,northing,aquifer,total_depth\n"
    + "".join(f"S,W{n},{500000 + n},5300000,upper,30\n" for n in range(8)),
    "measuring_points": "site,well,valid_from,elevation,accuracy\n"
    + "".join(f"S,W{n},2015-01-01,{100 + n},0.01\n" for n in range(8)),
}
EVENTS = [
    f"S,W{well},2024-{month:02}-{day:02},09:00,{3 + well / 10 + month / 100 + (5 if (month, well) == (7, 3) else 0):.2f}"
    for month in range(1, 11)
    for day in (3, 10, 17, 24)
    for well in range(8)
]
EVENT_HEADING = "site,well,date,time,depth_to_water"


@pytest.fixture
def hands(store_url, tmp_path):
    """Give a record with eight wells."""
    return Hands(store_url, tmp_path)


class Hands:
    """A record, and people who work on it at the same time."""

    def __init__(self, url, folder, *, tables=TABLES):
        self.url, self.folder = url, folder
        init(url)
        first = folder / "first"
        first.mkdir()
        for name, text in tables.items():
            (first / f"{name}.csv").write_text(text, encoding="utf-8")
        with Network(url) as net:
            net.load([first], by="Keeper")

    def write(self, name, heading, rows):
        """Write a table and return the name of its file."""
        (self.folder / name).write_text("\n".join([heading, *rows, ""]), encoding="utf-8")
        return name

    def at_once(self, *command):
        """Run a command eight times at once; a part of it that is a function is called with the number of the hand."""
        commands = [
            [*(word(hand) if callable(word) else word for word in command), "--db", self.url] for hand in range(HANDS)
        ]
        ran = run_at_once(commands, cwd=self.folder)
        for one in ran:
            for raw in ("Traceback", "refused:", "duplicate key", "CHECK constraint", "deadlock", "is locked"):
                assert raw not in one.err, one.err
        return ran

    def codes(self, ran):
        """Return the exit codes in order of size."""
        return sorted(one.code for one in ran)

    def count(self, table, *, live=False):
        """Return how many rows a table has."""
        where = " WHERE retired_at_utc IS NULL" if live else ""
        with Network(self.url) as net, net.store.reading() as connection:
            return connection.exec_driver_sql(f"SELECT count(*) FROM {table}{where}").scalar_one()


def test_one_record_is_made_by_all(store_url, tmp_path):
    ran = run_at_once([["init", "--db", store_url]] * HANDS, cwd=tmp_path)
    assert [one.code for one in ran] == [0] * HANDS, [one.err for one in ran]
    assert Hands(store_url, tmp_path).count("well") == 8


def test_the_same_new_wells_in_other_orders(hands):
    rows = [f"S,N{n},{510000 + n},5300000,upper,20" for n in range(30)]
    random.Random(7).shuffle(rows)
    orders = [random.Random(hand).sample(rows, len(rows)) for hand in range(HANDS)]
    files = [
        hands.write(f"wells_{hand}.csv", "site,well,easting,northing,aquifer,total_depth", order)
        for hand, order in enumerate(orders)
    ]
    ran = hands.at_once("load", files.__getitem__, "--by", lambda hand: f"Hand {hand}")
    assert hands.codes(ran) == [0] * HANDS
    assert (
        sorted(one.out.split(": ")[2].strip() for one in ran) == ["30 rows, 30 added"] + ["30 rows, 30 unchanged"] * 7
    )
    assert hands.count("well") == hands.count("well_record") == 38


def test_the_same_events_in_other_files(hands):
    files = [hands.write(f"level_events_{n}.csv", EVENT_HEADING, [*EVENTS[n:], *EVENTS[:n]]) for n in range(HANDS)]
    ran = hands.at_once("load", files.__getitem__, "--by", lambda hand: f"Hand {hand}")
    assert hands.codes(ran) == [0] * HANDS
    assert sorted(one.out.split(": ")[2].strip() for one in ran) == [
        "320 rows, 320 added",
        *["320 rows, 320 unchanged"] * 7,
    ]
    assert hands.count("level_event") == hands.count("level_record") == 320


def test_one_file_of_events_by_all(hands):
    file = hands.write("level_events.csv", EVENT_HEADING, EVENTS)
    ran = hands.at_once("load", file, "--by", "Ana")
    assert hands.codes(ran) == [0] * HANDS
    assert sum("320 added" in one.out for one in ran) == 1
    assert all("320 added" in one.out or "320 unchanged" in one.out or "already loaded" in one.out for one in ran)
    assert hands.count("level_record") == 320
    assert hands.count("source_file") == 5


def test_other_values_for_the_same_events_are_rejections(hands):
    files = [
        hands.write(f"level_events_{n}.csv", EVENT_HEADING, [f"S,W1,2024-01-03,09:00,{3 + n / 10}"])
        for n in range(HANDS)
    ]
    ran = hands.at_once("load", files.__getitem__, "--by", "Ana")
    assert hands.codes(ran) == [0] + [1] * 7
    assert all("on record with other values" in one.err for one in ran if one.code)
    assert hands.count("level_record") == 1


def test_corrections_of_one_row_follow_one_another(hands):
    files = [hands.write(f"wells_{n}.csv", "site,well,total_depth", [f"S,W1,{40 + n}"]) for n in range(HANDS)]
    ran = hands.at_once("load", files.__getitem__, "--correct", "--reason", "sounded again", "--by", "Ana")
    assert hands.codes(ran) == [0] * HANDS
    assert hands.count("well_record") == 8 + HANDS
    assert hands.count("well_record", live=True) == 8


def test_checks(hands):
    file = hands.write("level_events.csv", EVENT_HEADING, EVENTS)
    with Network(hands.url) as net:
        net.load([hands.folder / file], by="Ana")
        expected = len(net.checks())
    ran = hands.at_once("check", "--by", lambda hand: f"Hand {hand}")
    assert hands.codes(ran) == [3] * HANDS
    assert expected > 0
    assert hands.count("verdict") == hands.count("verdict", live=True) == expected
    said = sorted(one.err.strip().splitlines()[-1] for one in ran)
    kept = f"0 recorded, {expected} on record already, 0 no longer found."
    assert said == [kept] * 7 + [f"{expected} recorded, 0 on record already, 0 no longer found."]


def test_reviews(hands):
    file = hands.write("level_events.csv", EVENT_HEADING, EVENTS[:8])
    with Network(hands.url) as net:
        net.load([hands.folder / file], by="Ana")
    ran = hands.at_once("review", "approve", "--well", "W1", "--by", lambda hand: f"Vera {hand}")
    assert hands.codes(ran) == [0] * HANDS
    assert hands.count("review") == 1


def test_rounds(hands):
    plan = ("round", "plan", "2026-Q2", "--starts-on", "2026-05-12")
    ran = hands.at_once(*plan, "--crew", lambda hand: f"Crew {hand}", "--by", "Keeper")
    assert hands.codes(ran) == [0] + [1] * 7
    assert all("2026-Q2" in one.err for one in ran if one.code)
    assert hands.count("round_record") == 1


EXPORT = "time,water column [m]\n" + "".join(
    f"2024-{month:02}-{day:02} {hour:02}:00,{5 + hour / 100 + day / 50:.3f}\n"
    for month in (2, 3)
    for day in range(1, 28)
    for hour in range(0, 24, 2)
)
LOGGER = {
    **TABLES,
    "instruments": "instrument,kind,serial\nL,vented pressure logger,77\n",
    "deployments": "site,well,instrument,installed_at,hanging_depth\nS,W1,L,2024-01-15T09:00,10\n",
    "level_events": f"{EVENT_HEADING}\nS,W1,2024-02-03,09:00,4.8\nS,W1,2024-03-03,09:00,4.9\n",
}


@pytest.fixture
def logger(store_url, tmp_path):
    """Give a record with a logger, and its export in the folder."""
    (tmp_path / "export.csv").write_text(EXPORT, encoding="utf-8")
    return Hands(store_url, tmp_path, tables=LOGGER)


def test_one_file_of_a_logger_by_all(logger):
    ran = logger.at_once("logger", "load", "export.csv", "--zone", "UTC", "--instrument", "L", "--by", "Ana")
    assert logger.codes(ran) == [0] * HANDS
    assert sum("already loaded" in one.out for one in ran) == 7
    assert logger.count("download") == 1
    assert logger.count("sample") == EXPORT.count("\n") - 1


def test_corrections_of_a_logger(logger):
    with Network(logger.url) as net:
        net.loggers.load([logger.folder / "export.csv"], zone="UTC", instrument="L", by="Ana")
    step = ("logger", "correct", "L", "step", "--from", "2024-03-01T00:00Z", "--reason", "slipped", "--by", "Ana")
    ran = logger.at_once(*step, "--amount", lambda hand: str((hand + 1) / 10))
    assert logger.codes(ran) == [0] * HANDS
    assert logger.count("correction") == HANDS
    ran = logger.at_once(*step, "--amount", "2")
    assert logger.codes(ran) == [0] + [1] * 7
    assert all("That correction is on record as number 9" in one.err for one in ran if one.code)
    assert logger.count("correction") == HANDS + 1
