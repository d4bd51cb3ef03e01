"""Properties of downloads of loggers: any sequence of them gives the record that a plain dict would."""

import datetime as dt

import numpy as np
import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from gwnet.store import revision
from gwnet.store.fetch import read_samples
from gwnet.store.fetch import samples as fetch_samples
from gwnet.store.fetch.sample_runs import runs_of
from gwnet.store.save import samples as save_samples
from gwnet.store.save.bulk import insert_columns, reserve_ids, retire
from gwnet.store.save.downloads import add_download
from gwnet.store.save.segments import segment_for
from gwnet.store.session import open_store

from ..helpers import follow, owners_of

pytestmark = pytest.mark.slow

START = dt.datetime(2026, 4, 6, 8, 0, tzinfo=dt.UTC)

#: A download: times and values in any order, perhaps repeated, and how many are added at once.
downloads = st.tuples(
    st.lists(st.tuples(st.integers(0, 25), st.integers(0, 2)), min_size=1, max_size=20), st.integers(1, 8)
)
#: A withdrawal: which of the downloads on record, counted around.
withdrawals = st.integers(0, 9)
steps = st.lists(downloads | withdrawals, min_size=1, max_size=9)


class Model:
    """What is on record, as a dict of time to value and download."""

    def __init__(self):
        self.kept = {}

    def add(self, number, pairs):
        """Add a download; return what is added, passed over and in conflict."""
        told = {"added": 0, "passed over": 0, "conflicts": 0}
        for time, value in pairs:
            if time not in self.kept:
                self.kept[time] = (value, number)
                told["added"] += 1
            else:
                told["passed over" if self.kept[time][0] == value else "conflicts"] += 1
        return told

    def withdraw(self, number):
        """Withdraw a download."""
        self.kept = {time: held for time, held in self.kept.items() if held[1] != number}

    def samples(self):
        """Return the values by time."""
        return {time: float(value) for time, (value, _) in self.kept.items()}


@pytest.fixture(scope="module", params=["sqlite", pytest.param("postgresql", marks=pytest.mark.postgres)])
def store(request, tmp_path_factory):
    if request.param == "sqlite":
        url = str(tmp_path_factory.mktemp("record") / "record.sqlite")
    else:
        url = request.getfixturevalue("postgres_module_url")
    opened = open_store(url, create=True)
    revision.upgrade(opened)
    yield opened
    opened.close()


def new_instrument(store):
    with store.writing("add", "Ana", now_utc=follow(store, START)) as connection:
        number = reserve_ids(connection, "instrument", 1)
        insert_columns(connection, "instrument", {"id": number, "code": [f"L{number[0]}"]}, 1)
    return int(number[0])


def load(store, instrument, when, pairs, size):
    """Add a download in chunks; return its number and what became of its samples."""
    time_ms, value = (np.array(column) for column in zip(*pairs, strict=True))
    with store.writing("load", "Ana", now_utc=when) as connection:
        series, others = segment_for(connection, instrument, "water pressure", "kPa")
        number = add_download(connection, series, layout="plain", zone="UTC", by="Ana")
        appending = save_samples.Appending(connection, series, number, others)
        done = [
            appending.add(time_ms[at : at + size], value[at : at + size].astype(float))
            for at in range(0, len(pairs), size)
        ]
        appending.finish()
    return number, {
        "added": sum(part.added for part in done),
        "passed over": sum(part.same + part.repeated for part in done),
        "conflicts": sum(part.conflicts.time_ms.size for part in done),
    }


def on_record(store, instrument, known_on=None):
    """Return samples and their downloads of all takes, by time; packs and rows must tell the same."""
    samples, owners = {}, {}
    with store.reading() as connection:
        table = fetch_samples.series(connection, known_on)
        for one in table[table["instrument"] == f"L{instrument}"].itertuples():
            times, values = fetch_samples.samples(connection, one.series_id, known_on=known_on)
            every, held = read_samples.read_rows(connection, one.series_id)
            runs = runs_of(connection, one.series_id, known_on)
            keep = runs.owned_on_record(every)
            assert (every[keep].tolist(), held[keep].tolist()) == (times.tolist(), values.tolist())
            assert one.sample_count == times.size
            assert not samples.keys() & set(times.tolist()), "no time stands in two segments"
            samples |= dict(zip(times.tolist(), values.tolist(), strict=True))
            owners |= dict(zip(every[keep].tolist(), owners_of(runs, every[keep]), strict=True))
            last = fetch_samples.latest(connection, [one.series_id], known_on)
            assert last["time_ms"].tolist() == times[-1:].tolist()
            assert last["value"].tolist() == values[-1:].tolist()
    return samples, owners


@settings(max_examples=30, deadline=None, suppress_health_check=list(HealthCheck))
@given(steps=steps)
@example(steps=[([(0, 0), (2, 1)], 1), ([(1, 1), (3, 0)], 1), 0, ([(0, 1), (1, 1), (1, 2), (3, 2), (2, 0)], 1), 1])
@example(steps=[([(0, 0), (9, 1)], 8), ([(5, 1), (4, 0), (6, 0)], 2), ([(5, 1), (7, 0), (4, 1)], 1), 1])
def test_any_sequence_gives_the_record_of_a_dict(store, steps):
    instrument, model, moments = new_instrument(store), Model(), []
    live, start = [], follow(store, START) + dt.timedelta(minutes=1)
    for place, step in enumerate(steps):
        when = start + dt.timedelta(minutes=place)
        if isinstance(step, int):
            if live:
                number = live.pop(step % len(live))
                with store.writing("withdraw", "Ben", now_utc=when) as connection:
                    retire(connection, "download", [number], by="Ben", reason="wrong")
                model.withdraw(number)
        else:
            number, told = load(store, instrument, when, *step)
            live.append(number)
            assert told == model.add(number, step[0])
        moments.append((when, dict(model.kept)))
    samples, owners = on_record(store, instrument)
    assert samples == model.samples()
    assert owners == {time: number for time, (_, number) in model.kept.items()}
    for when, kept in moments:
        samples, owners = on_record(store, instrument, when)
        assert samples == {time: float(value) for time, (value, _) in kept.items()}
        assert owners == {time: number for time, (_, number) in kept.items()}
