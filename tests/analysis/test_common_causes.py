"""What several wells of a site show at once is one finding, named by its cause."""

import numpy as np
import pandas as pd
import pytest

from gwnet.analysis.loggers.common_causes import Seen, find_across_wells, look_at
from gwnet.analysis.loggers.findings import list_findings
from gwnet.analysis.loggers.manual_fit import find_misfits
from gwnet.hydro.loggers.drift import Installations

from .logger_record import Loggers, hours
from .record import Record

G = 9.80665
COUNT = 1500
WHEN = hours(COUNT)
WELLS = ("A", "B", "C")


class Site:
    """Three wells with absolute sensors and one barometer; the sensors hang at 88 m."""

    def __init__(self, address):
        rng = np.random.default_rng(4)
        self.record = Record(address)
        self.loggers = Loggers(self.record)
        self.air = 101_000 + np.cumsum(rng.normal(0, 30, COUNT))
        self.water = {
            well: 91.0 + 0.3 * np.sin(np.arange(COUNT) / (150 + 40 * place)) + rng.normal(0, 0.001, COUNT)
            for place, well in enumerate(WELLS)
        }
        self.off_pa = np.zeros(COUNT)
        self.record.tape("T")
        self.loggers.instrument("BARO", "barometer", accuracy_m=0.005)
        self.loggers.install("BARO", None)

    def store(self, visits=(100, 500, 900, 1400), *, sensor_off_m=None):
        """Store what sensors, barometer and tape read."""
        for well in WELLS:
            self.record.well(well, point=(100.0, 0.5))
            self.loggers.instrument(well, accuracy_m=0.005)
            self.loggers.install(well, well, depth=12.0, barometer="BARO")
            off = (sensor_off_m or {}).get(well, 0.0)
            pressure = self.air + (self.water[well] - 88.0 + off) * 1000 * G
            self.loggers.samples(well, "absolute pressure", "Pa", WHEN, pressure)
            for place in visits:
                depth = round(100.0 - float(self.water[well][place]), 4)
                self.record.event(well, str(WHEN[place])[:19], [("depth_to_water", depth)])
        self.loggers.samples("BARO", "air pressure", "Pa", WHEN, self.air + self.off_pa)

    def findings(self):
        with self.loggers.snapshot() as record:
            return list_findings(record)


@pytest.fixture
def site(tmp_path):
    made = Site(tmp_path / "a.sqlite")
    yield made
    made.record.store.close()


def test_a_sound_site_has_no_finding(site):
    site.store()
    assert site.findings().empty


def test_a_barometer_that_is_off_at_a_visit_is_one_finding_and_no_drift_of_three_sensors(site):
    """The case: all wells miss by 0.19 m on one day, and each was reported as a drift of its own."""
    site.off_pa[880:930] = 0.19 * 1000 * G
    site.store()
    [finding] = site.findings().itertuples()
    assert (finding.rule, finding.instrument, finding.well, finding.suggestion) == ("common cause", "BARO", "", "")
    assert finding.start_utc.tz_localize(None) == WHEN[880]
    assert finding.end_utc.tz_localize(None) == WHEN[930]
    assert "A, B, C" in finding.message
    assert "-0.19" in finding.message


def test_a_barometer_that_drifts_is_told_at_the_visits_by_the_readings_of_all_wells(site):
    site.off_pa += 0.19 * 1000 * G * np.clip((np.arange(COUNT) - 600) / 250, 0, 1) * (np.arange(COUNT) < 1000)
    site.off_pa[1000:] = np.linspace(0.19, 0, COUNT - 1000) * 1000 * G
    site.store()
    table = site.findings()
    assert set(table["rule"]) == {"common cause"}
    assert any("A, B, C" in message and "+0.17" in message for message in table["message"])


def test_a_rise_of_all_wells_is_water_and_no_step(site):
    for well, size in zip(WELLS, (0.2, 0.3, 0.45), strict=True):
        site.water[well][700:] += size
    site.store(visits=(100,))
    assert "step" not in set(site.findings()["rule"])


@pytest.mark.slow
def test_a_step_of_one_well_alone_is_a_step(site):
    off = np.where(np.arange(COUNT) >= 700, 0.2, 0.0)
    site.store(visits=(100, 500, 900, 1400), sensor_off_m={"A": off})
    [finding] = site.findings().itertuples()
    assert (finding.rule, finding.well) == ("slipped cable", "A")


def test_pumping_by_the_clock_is_a_saw_tooth_without_a_correction(site):
    hour = np.arange(COUNT)
    site.water["B"] -= 0.4 * (1 - (hour % 96) / 96) * (hour >= 288) * (hour < 1248)
    site.store(visits=(100,))
    [finding] = site.findings().itertuples()
    assert (finding.rule, finding.well, finding.suggestion) == ("saw-tooth", "B", "")
    assert "Adding up steps would be wrong" in finding.message


def test_the_last_samples_of_a_file_that_stand_off_are_found(site):
    site.water["C"][-2:] -= 0.8
    site.store(visits=(100, 500))
    [finding] = site.findings().itertuples()
    assert (finding.rule, finding.well) == ("end of a file", "C")
    assert finding.message.startswith("2 samples -0.800 m off the samples beside the end of a run")
    assert "exclusion" in finding.suggestion


def test_the_usual_change_is_of_the_hours_before_and_after():
    """A well at rest that begins to swing: 200 hours of each give the median of both, over three hours."""
    level = np.concatenate([np.zeros(200), 0.5 + np.tile([0.0, 0.4], 300)])
    seen = Seen(("S", "A", "L", "level"), "", np.arange(level.size), level, pd.DataFrame(), None, {})
    change, usual = seen.change_at(np.datetime64(200, "h"))
    assert change == pytest.approx(0.9)
    assert usual == pytest.approx(0.4)


def test_nothing_seen_has_nothing_in_common():
    assert find_across_wells([], []) == []
    assert look_at.__doc__


def test_readings_with_a_known_cause_are_judged_no_more(site):
    site.store()
    with site.loggers.snapshot() as record:
        from gwnet.analysis.loggers.heads import work_out_heads

        heads = work_out_heads(record, ["A"])[0]
    manual = heads.manual.copy()
    manual.loc[1, ["offset_m", "leave_one_out_residual_m"]] += 0.3
    limits = {"logger_residual_m": 0.05, "logger_drift_share": 0.25}
    place = ("S", "A", "A", "absolute pressure")
    assert isinstance(heads.installations, Installations)
    [finding] = find_misfits(place, manual, heads.installations, limits)
    assert finding.rule == "manual reading"
    event = int(manual.loc[1, "event_id"])
    assert finding.parameters == {"leave_out": [event]}
    assert list(find_misfits(place, manual, heads.installations, limits, explained={event})) == []
    # a step as large explains it, a smaller one does not
    assert list(find_misfits(place, manual, heads.installations, limits, stepped_m=0.3)) == []
    assert len(list(find_misfits(place, manual, heads.installations, limits, stepped_m=0.1))) == 1
