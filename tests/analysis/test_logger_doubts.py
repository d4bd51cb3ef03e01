"""Samples about which a serious finding is open give no level until somebody corrects or dismisses it."""

import numpy as np
import pytest

from gwnet.analysis.levels.serving import judge_levels
from gwnet.analysis.loggers.channels import loggers_of
from gwnet.analysis.loggers.correction_history import IN_DOUBT, OUT_REASONS
from gwnet.analysis.loggers.correction_kinds import DISMISSED, DOUBTED_BY
from gwnet.analysis.loggers.corrections import dismissals
from gwnet.analysis.loggers.doubts import find_doubts
from gwnet.analysis.loggers.explain import explain_head
from gwnet.analysis.loggers.finding_rules import RULES
from gwnet.analysis.loggers.level_faults import find_level_faults, find_open_steps, is_corrected_at
from gwnet.analysis.loggers.levels import LevelRequest, levels_for_sets, logger_days
from gwnet.errors import AnalysisError

from .logger_record import HOUR
from .record import moment
from .test_logger_findings import accept, decide, found, noisy, one_of
from .test_logger_heads import Installed

COUNT = np.arange(1500)


@pytest.fixture
def installed(tmp_path):
    made = noisy(Installed(tmp_path / "a.sqlite"))
    yield made
    made.record.store.close()


def kept_out(made):
    """Return the places that open findings keep out, by rule."""
    (heads,) = made.heads()
    reasons = np.array(OUT_REASONS, dtype=object)[heads.out]
    return {rule: np.flatnonzero(reasons == word) for rule, word in IN_DOUBT.items() if (reasons == word).any()}


def dismiss(made, rule):
    name = one_of(found(made), rule)["finding"]
    with made.loggers.snapshot() as record:
        wanted = dismissals(record, name)
    return decide(made, *wanted)


def stepped(made, *, at=900, by=0.3, reads=()):
    """Install a sensor that shows a step, and read the water as it was."""
    true = made.water.copy()
    made.water = np.where(at > COUNT, true, true + by)
    made.install()
    made.water = true
    made.read(*reads)
    return made


@pytest.mark.slow
def test_a_spike_is_out_until_it_is_dismissed_and_not_read_by_hand(installed):
    true = installed.water.copy()
    installed.water = np.where(COUNT == 500, true + 0.6, true)
    installed.install()
    installed.water = true
    installed.read(100, 500, 1400)
    assert kept_out(installed)["spike"].tolist() == [500]
    (heads,) = installed.heads()
    # the manual reading in the middle is compared with the samples beside it
    assert np.abs(heads.water_elevation_m - true)[COUNT != 500].max() < 0.01
    assert heads.doubtful_m[500] == pytest.approx(true[500] + 0.6, abs=0.01)
    done = dismiss(installed, "spike")
    assert done.moved["gained"].tolist() == [1]
    assert not kept_out(installed)
    assert set(found(installed)["rule"]) == {"drift", "manual reading"}  # and the drift is of that reading


@pytest.mark.slow
def test_the_outermost_samples_are_out_until_somebody_excludes_them(installed):
    installed.water[-2:] -= 0.5
    installed.install()
    installed.read(100, 700)
    assert kept_out(installed)["end of a file"].tolist() == [1498, 1499]
    accept(installed, one_of(found(installed), "end of a file")["finding"])
    assert not kept_out(installed)
    assert installed.heads()[0].out[-1] == OUT_REASONS.index("spike")


@pytest.mark.parametrize(
    ("reads", "out"),
    [
        ((100, 400), (900, 1500)),  # anchored before it alone
        ((1000, 1400), (0, 900)),  # anchored after it alone
        ((100, 800, 1200), (800, 1201)),  # offsets on both sides that are joined by a line
    ],
)
def test_a_step_leaves_in_doubt_what_is_anchored_across_it(installed, reads, out):
    stepped(installed, reads=reads)
    ((_, places),) = kept_out(installed).items()
    assert (places[0], places[-1] + 1) == out
    assert places.size == out[1] - out[0]


@pytest.mark.slow
def test_a_step_leaves_everything_in_doubt_where_readings_on_both_sides_are_averaged(installed):
    stepped(installed, reads=(100, 800, 1200))
    installed.loggers.correct("L", "absolute pressure", "anchoring", method="constant")
    ((rule, places),) = kept_out(installed).items()
    assert (rule, places.size) == ("slipped cable", 1500)


def test_a_step_of_which_the_way_back_is_seen_leaves_what_is_between_in_doubt(installed):
    true = installed.water.copy()
    installed.water = np.where((COUNT >= 600) & (COUNT < 700), true + 0.3, true)
    installed.install()
    installed.water = true
    installed.read(100, 1400)
    assert kept_out(installed)["slipped cable"].tolist() == list(range(600, 700))


def test_a_step_within_the_uncertainty_of_the_heads_changes_nothing(installed):
    installed.water = np.where(COUNT < 900, installed.water, installed.water + 0.05)
    installed.install()  # by the hanging depth, good to 8 cm
    assert "step" in set(found(installed)["rule"])
    assert not kept_out(installed)


@pytest.mark.slow
def test_a_step_that_is_corrected_or_dismissed_leaves_no_doubt(installed):
    stepped(installed, reads=(100, 400))
    name = one_of(found(installed), "step")["finding"]
    assert kept_out(installed)
    dismiss(installed, "step")
    assert not kept_out(installed)
    assert name not in set(found(installed)["finding"])


@pytest.mark.slow
def test_a_rise_that_another_well_shares_leaves_no_doubt(installed):
    true = installed.water.copy()
    installed.water = np.where(COUNT < 900, true, true + 0.3)
    installed.install()
    installed.read(100, 400)
    assert "step" in kept_out(installed)
    loggers = installed.loggers
    installed.record.well("V", point=(100.0, 0.5))
    loggers.instrument("M", accuracy_m=0.005)
    loggers.install("M", "V", depth=12.1, barometer="")
    other = 3.0 + np.where(COUNT < 900, 0.0, 0.25) + np.random.default_rng(2).normal(size=1500) * 0.001
    loggers.samples("M", "water column", "m", installed.when, other)
    first, _ = installed.heads()
    assert not first.out.any()
    assert "step" not in set(found(installed)["rule"])


@pytest.mark.slow
def test_a_wrong_clock_leaves_its_span_in_doubt(installed):
    installed.install(clock=installed.when - 2 * HOUR)
    installed.read(100, 700, 1400)
    assert kept_out(installed)["clock"].size == 1498  # the first two have no air pressure by that clock
    dismiss(installed, "clock")
    assert not kept_out(installed)


@pytest.mark.slow
def test_drift_leaves_in_doubt_what_no_two_readings_enclose(installed):
    true = 91.0 + (installed.water - 91.0) * 0.3
    installed.water = true + np.linspace(0, 0.2, 1500)
    installed.install()
    installed.water = true
    installed.read(50, 400, 800, 1100)
    assert kept_out(installed)["drift"].tolist() == [*range(50), *range(1101, 1500)]
    dismiss(installed, "drift")
    assert not kept_out(installed)


def test_levels_days_and_sets_say_why_a_logger_gives_none(installed):
    stepped(installed, reads=(100, 400))
    with installed.loggers.snapshot() as record:
        days = logger_days(record.of_site("S"), ["W"])
        late = days[days["measured_at"] > "2024-02-08"]
        assert len(late) > 20
        assert set(late["finding"]) == {"serious finding open: step"} == set(late["unusable_reason"])
        assert not late["usable"].any()
        assert late["water_elevation_m"].notna().all()
        early = days[days["measured_at"] < "2024-02-07"]
        assert early["usable"].all()
        for purpose in ("statistics", "map", "threshold"):
            assert not judge_levels(late, purpose)["serves"].any()
        when = moment("2024-02-15 12:00")
        request = LevelRequest(("W",), when, when, when + HOUR.item())
        (rows,) = levels_for_sets(record.of_site("S"), [request])
    assert rows["finding"].tolist() == ["serious finding open: step"]
    assert not rows["usable"].any()


def test_explain_tells_the_level_that_an_open_finding_keeps_out(installed):
    stepped(installed, reads=(100, 400))
    with installed.loggers.snapshot() as record:
        (explained,) = explain_head(record, "W", "2024-02-15T12:00")
    steps = {step.what: step for step in explained.steps}
    assert steps["water elevation"].value.startswith("would be 9")
    assert steps["used as a level"].value == "no: serious finding open: step"
    assert "gwnet logger findings" in steps["used as a level"].source


@pytest.mark.slow
def test_what_keeps_no_samples_out_cannot_be_dismissed(installed):
    keep = (COUNT < 600) | (COUNT > 640)
    installed.when, installed.air, installed.water = (
        part[keep] for part in (installed.when, installed.air, installed.water)
    )
    installed.install()
    installed.read(100, 700)
    with pytest.raises(AnalysisError, match=r"\(gap\) keeps no samples out"):
        dismiss(installed, "gap")


def test_the_rules_say_what_they_keep_out():
    assert {rule for rule in RULES if RULES[rule].keeps_out} == set(DISMISSED) - {"common cause"}
    assert set(DOUBTED_BY) == set(IN_DOUBT)


def test_faults_steps_and_doubts_can_be_worked_out_by_themselves(installed):
    installed.water[500] += 0.6
    stepped(installed, reads=(100, 400))
    (heads,) = installed.heads()
    faults = find_level_faults(heads.level, np.zeros(1500, dtype=bool), least_m=0.03)
    assert [(rule, first, last) for rule, first, last, _ in faults.outliers()] == [("spike", 500, 500)]
    assert np.flatnonzero(np.isnan(faults.cleaned_m)).tolist() == [500]
    steps = find_open_steps(heads, tolerance_m=0.05)
    assert steps.place.tolist() == [900]
    assert steps.size_m[0] == pytest.approx(0.3, abs=0.01)
    assert not is_corrected_at(heads, 900, "step", "restart")
    with installed.loggers.snapshot() as record:
        codes = find_doubts(loggers_of(record), heads.in_doubt(), list)
    assert np.flatnonzero(codes).size == 0  # what is out already is not out twice


def test_a_step_where_a_correction_on_record_begins_leaves_no_doubt(installed):
    installed.install()
    installed.read(100, 400)
    installed.loggers.correct("L", "absolute pressure", "step", "2024-02-01", amount_m=0.4)
    assert "step" in set(found(installed)["rule"])
    assert not kept_out(installed)


def test_samples_at_the_end_that_have_no_air_pressure_are_looked_at_as_they_are(installed):
    installed.loggers.install("L", "W", depth=12.1, barometer="B")
    installed.loggers.install("B", None)
    pressure = installed.air + (installed.water - 88.0) * 9806.65
    pressure[-1] += 5000
    installed.loggers.samples("L", "absolute pressure", "Pa", installed.when, pressure)
    installed.loggers.samples("B", "air pressure", "Pa", installed.when[:1300], installed.air[:1300])
    row = one_of(found(installed), "end of a file")
    assert row["start_utc"].to_numpy() == installed.when[-1]
