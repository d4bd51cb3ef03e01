"""Open logger files, byte for byte as published, read by what is proposed for them and by built-in layouts.

Counts, spans and extremes are those of ``raw/inventory.csv`` of the open data, found there with other code. Sources:
Chester meadow study, California Polytechnic State University (MIT); Land Berlin, groundwater station 1 (dl-de/by-2-0);
Land Nordrhein-Westfalen (dl-de/zero-2-0); see the README of the open data.
"""

import csv
import random

import numpy as np
import pytest

from gwnet.errors import IngestError
from gwnet.ingest.loggers.guess import propose_layout
from gwnet.ingest.loggers.layout import load_layout, parse_layout
from gwnet.ingest.loggers.rows import open_logger_file

pytestmark = pytest.mark.shared

MEADOW = "raw/control_meadow/"
FILES = [
    "BARO_control_download_2020-08.csv",
    "BARO_control_download_2020-11.csv",
    "BARO_rockcreek_download_2020-08.csv",
    "CM0W_download_2019-12.csv",
    "CM0W_download_2020-07.csv",
    "CM0W_download_2020-08.csv",
    "CM0W_download_2020-11.csv",
    "CM3W_download_2020-07.csv",
    "CM4W_download_2019-07.txt",
    "CM4W_download_2019-09.txt",
    "CM4W_download_2019-12.txt",
    "CM4W_download_2020-04.txt",
    "CM4W_download_2020-07.csv",
    "CM4W_download_2020-08.csv",
    "CM4W_download_2020-11.csv",
]


@pytest.fixture(scope="module")
def inventory(open_data):
    with (open_data / "raw" / "inventory.csv").open() as file:
        return {row["file"]: row for row in csv.DictReader(file)}


def layout_of(path, proposed):
    """Return the layout that is proposed, written out and read again, or the built-in one that fits."""
    if proposed:
        return parse_layout(propose_layout(path).toml())
    return load_layout("comma-iso" if path.suffix == ".txt" else "comma-12-hour-month-first")


def read(path, layout, **options):
    file = open_logger_file(path, layout, **options)
    chunks = list(file.chunks(rows=5_000))
    file.require_good()
    file.lines = np.concatenate([chunk.row for chunk in chunks])
    times = np.concatenate([chunk.time_ms for chunk in chunks])
    values = [np.concatenate([chunk.values[n] for chunk in chunks]) for n in range(len(file.columns))]
    return file, times, values


def local(time_ms, hours):
    return str((int(time_ms) + hours * 3_600_000) * np.timedelta64(1, "ms") + np.datetime64(0, "ms"))[:19].replace(
        "T", " "
    )


@pytest.mark.parametrize("proposed", [True, False], ids=["proposed", "built-in"])
@pytest.mark.parametrize("name", FILES)
def test_a_file_of_the_meadow_holds_what_its_inventory_says(name, proposed, open_data, inventory):
    path = open_data / MEADOW / name
    known = inventory[MEADOW + name]
    text = path.suffix == ".txt"
    offset = -8 if name.startswith("CM3W") else -7
    file, times, values = read(path, layout_of(path, proposed), zone="UTC-07:00" if text else "")
    events = file.odd_counts().get("event", 0)
    assert times.size + events == int(float(known["data_rows"]))
    assert events == int(float(known["rows_without_value"]))
    assert np.count_nonzero(np.isnan(values[0])) == 0
    assert file.columns[0].quantity == ("water pressure" if text else "absolute pressure")
    assert file.columns[0].unit == "psi"
    assert values[0].min() == float(known["value_min"])
    assert values[0].max() == float(known["value_max"])
    beside = np.diff(file.lines) == 1  # the inventory has no jump across an event row
    assert np.abs(np.diff(values[0]))[beside].max() == pytest.approx(float(known["largest_jump"]), abs=1e-9)
    assert file.zone == f"UTC-0{-offset}:00"
    assert local(times[0], offset) == known["first"]
    # the last row of most files is an event at which the logger was read out
    last = max(int(times[-1]), *[_time_of(one.text, offset) for one in file.odd() if one.kind == "event"] or [0])
    assert local(last, offset) == known["last"]
    assert np.unique(np.diff(times))[0] > 0
    steps = np.diff(times) / 1000.0
    assert float(np.median(steps)) == float(known["usual_step_s"])
    assert file.serial == {"CM4W": "020034814" if text else "10960657"}.get(name[:4], file.serial)
    assert file.serial.isdigit()
    if not text:
        assert (file.columns[1].quantity, file.columns[1].unit) == ("water temperature", "degF")


def _time_of(line, offset):
    """Return the time of an event row [ms UTC], read with numpy alone."""
    date, clock, half = line.split(",")[1].split(" ")
    month, day, year = date.split("/")
    hour, minute, second = map(int, clock.split(":"))
    hours = hour % 12 + (12 if half == "PM" else 0)
    midnight = np.datetime64(f"20{year}-{month}-{day}", "ms").astype(int)
    return int(midnight) + ((hours - offset) * 3600 + minute * 60 + second) * 1000


def test_the_three_overlapping_files_agree_where_they_overlap(open_data):
    read_ = [
        read(open_data / MEADOW / f"CM4W_download_2020-{m}.csv", load_layout("comma-12-hour-month-first"))
        for m in ("07", "08", "11")
    ]
    first, second, third = (dict(zip(times.tolist(), values[0].tolist(), strict=True)) for _, times, values in read_)
    assert set(first) < set(second) < set(third)
    assert all(third[time] == value for time, value in {**first, **second}.items())


def test_the_same_samples_as_the_tidy_reading_of_another_library(open_data):
    import pandas as pd

    path = open_data / MEADOW / "CM0W_download_2019-12.csv"
    _, times, values = read(path, layout_of(path, proposed=True))
    frame = pd.read_csv(path, skiprows=1, encoding="utf-8-sig").iloc[:, 1:4].dropna(thresh=2)
    stamps = pd.to_datetime(frame.iloc[:, 0], format="%m/%d/%y %I:%M:%S %p") + pd.Timedelta(hours=7)
    assert np.array_equal(times, stamps.to_numpy().astype("datetime64[ms]").astype(np.int64))
    assert np.array_equal(values[0], frame.iloc[:, 1].to_numpy())
    assert np.array_equal(values[1], frame.iloc[:, 2].to_numpy())


@pytest.mark.parametrize("built_in", [None, "semicolon-dotted-latin-1", "semicolon-dotted"])
def test_the_berlin_station(open_data, inventory, built_in):
    path = open_data / "raw" / "berlin_station_1.csv"
    known = inventory["raw/berlin_station_1.csv"]
    layout = load_layout(built_in) if built_in else parse_layout(propose_layout(path).toml())
    file, times, (level,) = read(path, layout, zone="UTC+01:00")
    assert (file.columns[0].quantity, file.columns[0].unit) == ("water elevation", "m")
    assert times.size == int(float(known["data_rows"]))
    assert (local(times[0], 1), local(times[-1], 1)) == (known["first"], known["last"])
    assert (level.min(), level.max()) == (float(known["value_min"]), float(known["value_max"]))
    assert set(np.diff(times)) == {86_400_000}


@pytest.mark.parametrize("built_in", [None, "semicolon-iso"])
def test_the_two_wells_of_north_rhine_westphalia(open_data, built_in):
    path = open_data / "raw" / "nrw_two_wells_sample.csv"
    proposal = propose_layout(path)
    assert any("--only" in doubt for doubt in proposal.doubts)
    layout = load_layout(built_in) if built_in else proposal.layout
    read_ = {}
    for well in ("279576511", "070167217"):
        file, times, (depth, level) = read(path, layout, zone="UTC+01:00", only=well)
        assert [column.quantity for column in file.columns] == ["depth to water", "water elevation"]
        read_[well] = (times, depth, level, file)
    times, depth, level, file = read_["279576511"]
    assert [local(time, 1)[:10] for time in times] == [
        "2026-02-25",
        "2026-03-25",
        "2026-04-22",
        "2026-05-27",
        "2026-07-01",
    ]
    assert depth.tolist() == [13.36, 13.83, 14.29, 14.62, 13.36]
    assert level[:4].tolist() == [38.93, 38.46, 38.0, 37.67]
    assert np.isnan(level[4])
    assert file.odd_counts() == {"other": 4, "missing": 1, "remark": 1}
    assert read_["070167217"][1].tolist() == [10.66, 10.68, 10.7, 10.73]


@pytest.mark.parametrize("name", ["CM4W_download_2019-07.txt", "CM0W_download_2020-08.csv"])
def test_a_file_that_is_cut_anywhere_is_refused_or_gives_the_rows_that_are_whole(name, open_data, tmp_path):
    content = (open_data / MEADOW / name).read_bytes()
    path = tmp_path / name
    path.write_bytes(content)
    layout = layout_of(path, proposed=True)
    _, times, values = read(path, layout, zone="UTC-07:00")
    truth = dict(zip(times.tolist(), values[0].tolist(), strict=True))
    rng = random.Random(name)
    refused = 0
    for _ in range(40):
        path.write_bytes(content[: rng.randrange(len(content))])
        samples = samples_or_none(path, layout)
        refused += samples is None
        assert samples is None or samples.items() <= truth.items()
    assert refused > 20


def samples_or_none(path, layout):
    """Return the samples of a file by time, None where it is refused."""
    try:
        _, times, values = read(path, layout, zone="UTC-07:00")
    except IngestError:
        return None
    return dict(zip(times.tolist(), values[0].tolist(), strict=True))
