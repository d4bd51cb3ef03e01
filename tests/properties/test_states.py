"""The same state gives the same answers, whatever is recorded afterwards and by how many hands at once."""

import datetime as dt
import threading
import time

import numpy as np
import pytest

from gwnet.errors import GwnetError
from gwnet.network import Network, init
from gwnet.records import Selection

WELLS = ("A1", "A2", "A3", "B1", "B2")
START = dt.date(2025, 1, 7)

TABLES = {
    "sites": "site,crs,vertical_datum,length_unit,time_zone\nS,EPSG:25832,local,m,UTC+01:00\n",
    "aquifers": "aquifer\nupper\n",
    "wells": "site,well,easting,northing,aquifer,ground_elevation,total_depth\n"
    + "".join(
        f"S,{well},{500_000 + 170 * (n % 3) + 20 * n},{5_300_000 + 210 * (n // 2)},upper,100,20\n"
        for n, well in enumerate(WELLS)
    ),
    "measuring_points": "site,well,valid_from,elevation,height_above_ground\n"
    + "".join(f"S,{well},2018-01-01,100.7,0.7\n" for well in WELLS),
    "rounds": "site,round,starts_on,ends_on\nS,2025-Q1,2025-01-07,2025-01-08\n",
}
EVENTS = "site,well,date,time,round,depth_to_water\n"
DEFINITION = 'title = "Levels"\nsections = ["levels", "sign_off"]\n'


def write(folder, name, text):
    path = folder / name
    path.write_text(text)
    return path


class Writers:
    """Two hands that record in one database, each with a record of its own open."""

    def __init__(self, url, folder, seed):
        init(url)
        self.url, self.folder, self.random, self.count = url, folder, np.random.default_rng(seed), 0
        self.nets, self.refusals = [Network(url), Network(url)], []
        paths = [write(folder, f"{name}.csv", text) for name, text in TABLES.items()]
        rows = "".join(f"S,{well},2025-01-07,1{n}:00,2025-Q1,{3 + n / 100:.3f}\n" for n, well in enumerate(WELLS))
        self.nets[0].load([*paths, write(folder, "level_events.csv", EVENTS + rows)], by="Ana")

    def close(self):
        for net in self.nets:
            net.close()

    def act(self, hand):
        """Let one hand do something that it chooses at random; what somebody else did first may refuse it."""
        net, self.count = self.nets[hand], self.count + 1
        well, number = str(self.random.choice(WELLS)), self.count
        match int(self.random.integers(5)):
            case 0 | 1:
                day = START + dt.timedelta(days=int(self.random.integers(20)))
                depth = 3 + self.random.integers(500) / 1000
                row = f"S,{well},{day},1{number % 10}:{number % 60:02d},,{depth:.3f}\n"
                self._load(net, f"level_events_{number}.csv", EVENTS + row)
            case 2:
                elevation = 100.7 + self.random.integers(200) / 1000
                row = f"site,well,valid_from,elevation,height_above_ground\nS,{well},2018-01-01,{elevation:.3f},0.7\n"
                self._load(net, f"measuring_points_{number}.csv", row, correct=True, reason="levelled again")
            case 3:
                net.review.approve(Selection(wells=[well]), by=f"hand {hand}", pass_over=True)
            case _:
                net.checks.record(by=f"hand {hand}")

    def _load(self, net, name, text, **more):
        net.load([write(self.folder, name, text)], by="Ana", **more)


def answers(net, state):
    """Return what is asked of one state, as text."""
    queue = net.review.queue(known_on=state)
    parts = [net.levels(known_on=state).to_csv(), queue.rounds.to_csv(), queue.levels.to_csv(), queue.findings.to_csv()]
    parts += [net.checks(known_on=state).to_csv(), net.wells.history("A1", known_on=state).to_csv()]
    return "\n".join(parts)


def map_sheet(net, state):
    """Return what a map sheet of one state says."""
    from matplotlib.text import Text

    figure = net.map("upper", START, window_days=30, known_on=state).figure()
    return sorted(text.get_text() for text in figure.findobj(Text))


@pytest.fixture
def writers(store_url, tmp_path):
    made = Writers(store_url, tmp_path, 1)
    yield made
    made.close()


def newest(net):
    return net.state().serial


@pytest.mark.slow
def test_every_state_gives_the_same_answers_after_interleaved_writers(writers):
    told = {}
    for step in range(9):
        hands = [0, 1] if step % 3 == 0 else [step % 2]
        threads = [threading.Thread(target=quietly, args=(writers, hand)) for hand in hands]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
        net = writers.nets[step % 2]
        serial = newest(net)
        told.setdefault(serial, answers(net, f"state:{serial}"))
        assert answers(net, None) == told[serial], "without known-on it is the newest state"
    states = writers.nets[0].states()
    assert states["serial"].tolist() == list(range(1, len(states) + 1))
    assert states["recorded_at_utc"].is_monotonic_increasing
    assert states["recorded_at_utc"].is_unique
    assert len(told) > 2
    for serial, before in told.items():
        instant = states["recorded_at_utc"][serial - 1].to_pydatetime()
        for net in writers.nets:
            assert answers(net, f"state:{serial}") == before
            assert answers(net, instant) == before
    assert writers.nets[0].doctor().findings == ()
    for words in writers.refusals:
        assert "constraint" not in words.lower(), "a refusal in the words of the database"
        assert "duplicate key" not in words


def quietly(writers, hand):
    """Act; what the other hand did first may be a reason to refuse, which is kept."""
    try:
        writers.act(hand)
    except GwnetError as error:
        writers.refusals.append(str(error))


@pytest.mark.slow
def test_a_state_is_not_seen_before_it_is_whole_and_never_slips_into_an_earlier_one(writers):
    reader, recorder = writers.nets
    before = answers(reader, None)
    answered = []
    with writers.nets[0].store.altering():
        loading = threading.Thread(target=quietly, args=(writers, 1))
        loading.start()
        moment = dt.datetime.now(dt.UTC)
        # a question about the present instant waits for whoever holds the lock, and here that is this thread
        asking = threading.Thread(target=lambda: answered.append(answers(reader, moment)))
        asking.start()
        time.sleep(0.2)
    asking.join()
    loading.join()
    assert answered == [before]
    assert answers(reader, moment) == before, "what waited for the lock was recorded after the question"
    assert answers(recorder, "state:1") == before


@pytest.mark.slow
def test_map_sheets_and_reports_of_a_state_keep_their_bytes(store_url, tmp_path):
    writers = Writers(store_url, tmp_path, 3)
    net = writers.nets[0]
    definition = write(tmp_path, "levels.toml", DEFINITION)
    sheet, first = map_sheet(net, None), net.report(definition, "2025-Q1", tmp_path / "one")
    assert any("(state 1)" in text for text in sheet)
    for hand in (0, 1, 0, 1):
        quietly(writers, hand)
    assert newest(net) > 1
    assert map_sheet(net, "state:1") == sheet
    again = net.report(definition, "2025-Q1", tmp_path / "two", known_on="state:1")
    assert [path.read_bytes() for path in again] == [path.read_bytes() for path in first]
    now = net.report(definition, "2025-Q1", tmp_path / "three")
    assert now[0].read_bytes() != first[0].read_bytes()
    writers.close()
