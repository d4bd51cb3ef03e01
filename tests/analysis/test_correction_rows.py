"""What corrections on record do to samples, and what each kind may say: rows of the record, no database."""

import datetime as dt

import numpy as np
import pandas as pd
import pytest

from gwnet.analysis.loggers.correction_history import OUT_REASONS, CorrectionHistory, within
from gwnet.analysis.loggers.correction_kinds import (
    CAUSES,
    KINDS,
    PARAMETERS,
    check_parameters,
    describe_corrections,
    describe_parameters,
)
from gwnet.errors import AnalysisError

WHEN = np.datetime64("2024-05-01T00:00", "us") + np.arange(8) * np.timedelta64(1, "h")
LEVEL = np.array([3.0, 5.0, 2.0, 7.0, 11.0, 4.0, 6.0, 9.0])
NAT = np.datetime64("NaT", "us")


def at(hour):
    """Return the hour of the first of May as the record has it; NaT for none."""
    return pd.NaT if hour is None else pd.Timestamp("2024-05-01", tz="UTC") + pd.Timedelta(hours=hour)


def history(*rows, zone="UTC"):
    """Return corrections of (kind, first hour, end hour, parameters) of series 1, or of a fifth item's."""
    columns = ["kind", "start_utc", "end_utc", "parameters", "series_id"]
    made = [(kind, at(start), at(end), given, *(more or [1])) for kind, start, end, given, *more in rows]
    return CorrectionHistory(pd.DataFrame(made, columns=columns), zone)


@pytest.mark.parametrize(
    ("start", "end", "places"),
    [
        (None, None, range(8)),
        (2, None, range(2, 8)),
        (None, 2, range(2)),
        (2, 5, range(2, 5)),
        (1.5, 4.5, range(2, 5)),
        (-3, -1, []),
        (9, 12, []),
        (5, 2, []),
    ],
)
def test_a_span_holds_samples_from_its_start_to_before_its_end(start, end, places):
    assert np.arange(8)[within(WHEN, at(start), at(end))].tolist() == list(places)
    span = within(WHEN, at(start), at(end))
    assert 0 <= span.start <= span.stop <= 8


def test_factors_multiply_and_steps_add_where_spans_meet():
    rows = history(
        ("scale", 1, 4, {"factor": 2.0}),
        ("scale", 3, None, {"factor": 0.5}),
        ("step", 2, None, {"amount_m": 0.25}),
        ("step", 5, None, {"amount_m": -1.0}),
    )
    factors = np.array([1, 2, 2, 1, 0.5, 0.5, 0.5, 0.5])
    np.testing.assert_array_equal(rows.apply_scales(WHEN, LEVEL), LEVEL * factors)
    np.testing.assert_array_equal(rows.apply_steps(WHEN, LEVEL), LEVEL + np.array([0, 0, 1, 1, 1, -3, -3, -3]) / 4)
    assert history(("step", 2, None, {"amount_m": 1.0})).apply_scales(WHEN, LEVEL).tolist() == LEVEL.tolist()


def test_exclusions_name_their_cause_the_later_one_last():
    rows = history(
        ("exclusion", 1, 5, {"cause": "flat"}), ("exclusion", 4, 6, {"cause": "other"}), ("scale", 0, 8, {"factor": 2})
    )
    flat, other = OUT_REASONS.index("flat"), OUT_REASONS.index("other")
    assert rows.find_exclusions(WHEN).tolist() == [0, flat, flat, flat, other, other, 0, 0]
    assert flat != other != 0
    assert [OUT_REASONS.count(cause) for cause in CAUSES] == [1] * len(CAUSES)


def test_samples_are_kept_against_rules_about_the_sensor():
    rows = history(
        ("keep", 0, 2, {}),
        ("keep", 3, 4, {"against": "flat"}),
        ("keep", 5, 6, {"against": "step"}),
        ("keep", 6, 7, {"against": "over range"}),
    )
    assert rows.find_kept(WHEN).tolist() == [True, True, False, True, False, False, True, False]


@pytest.mark.parametrize(
    ("first", "last", "covered"), [(2, 4, True), (2, 5, False), (1, 4, False), (3, 3, True), (2, 4.99, True)]
)
@pytest.mark.parametrize(
    ("given", "rule", "against"),
    [({}, "drift", True), ({"against": "drift"}, "drift", True), ({"against": "step"}, "drift", False)],
)
def test_a_finding_is_dismissed_where_all_its_samples_are_kept(first, last, covered, given, rule, against):
    edges = [WHEN[0] + np.timedelta64(int(hour * 3_600_000_000), "us") for hour in (first, last)]
    assert history(("keep", 2, 5, given)).is_dismissed(rule, *edges) == (covered and against)
    assert history(("keep", None, 5, given)).is_dismissed(rule, WHEN[0], edges[1]) == (last < 5 and against)
    assert history(("keep", 2, None, given)).is_dismissed(rule, edges[0], WHEN[7]) == (first >= 2 and against)
    assert not history(("exclusion", 0, 8, {"cause": "other"})).is_dismissed(rule, *edges)


@pytest.mark.parametrize(
    ("start", "end", "meets"),
    [
        (None, None, True),
        (6, None, False),  # from the moment of the removal on
        (5.9, None, True),
        (None, 2, False),  # up to the moment of the installation
        (None, 2.1, True),
        (3, 4, True),
        (7, 9, False),
        (0, 1, False),
    ],
)
def test_settings_hold_for_a_deployment_that_their_span_meets(start, end, meets):
    given = {"value": 0.4}
    rows = history(("efficiency", start, end, given))
    assert rows.settings("efficiency", at(2), at(6)) == (given if meets else {})
    assert rows.settings("density", at(2), at(6)) == {}
    open_ended = rows.settings("efficiency", at(None), at(None))
    assert open_ended == given


def test_later_settings_replace_earlier_ones_and_readings_left_out_add_up():
    rows = history(
        ("density", None, None, {"kg_m3": 1000.0, "gravity_m_s2": 9.8}),
        ("density", None, None, {"temperature": "series"}),
        ("anchoring", None, None, {"leave_out": [7, 3]}),
        ("anchoring", None, None, {"method": "constant"}),
        ("anchoring", None, None, {"leave_out": [5, 3]}),
    )
    assert rows.settings("density", at(0), at(9)) == {"temperature": "series"}
    assert rows.settings("anchoring", at(0), at(9)) == {"method": "constant", "leave_out": [3, 5, 7]}


def test_clocks_and_restarts_come_as_instants():
    rows = history(
        ("clock shift", None, 3, {"seconds": "-60"}, 2),
        ("restart", 5, None, {}),
        ("clock drift", 1, 4, {"seconds": 90.5}),
        ("restart", 2, None, {}, 2),
    )
    found = [(one.start_utc, one.end_utc, one.seconds, one.grows) for one in rows.clock()]
    np.testing.assert_equal(found, [(NAT, WHEN[3], -60.0, False), (WHEN[1], WHEN[4], 90.5, True)])
    assert rows.restarts().tolist() == [WHEN[5].item(), WHEN[2].item()]
    second = rows.of_series(2)
    assert second.rows["kind"].tolist() == ["clock shift", "restart"]
    assert second.zone == rows.zone


@pytest.mark.parametrize(
    ("row", "words"),
    [
        (("clock shift", None, None, {"seconds": 3600.0}), "clock shift +3600 s"),
        (("scale", 1, None, {"factor": 0.5}), "scale x 0.5 from 2024-05-01 03:00 UTC+02:00"),
        (("step", 1, None, {"amount_m": -0.12345}), "step -0.1235 m from 2024-05-01 03:00 UTC+02:00"),
        (
            ("exclusion", 0.5, 2, {"cause": "flat"}),
            "exclusion flat from 2024-05-01 02:30 UTC+02:00 to 2024-05-01 04:00 UTC+02:00",
        ),
        (("keep", None, 2, {"against": "drift"}), "keep against drift to 2024-05-01 04:00 UTC+02:00"),
        (("anchoring", None, None, {"method": "none", "leave_out": [3, 5]}), "anchoring none without event 3, 5"),
        (("density", None, None, {"temperature": "series"}), "density by the temperature series"),
        (("density", None, None, {"temperature": 12.5}), "density at 12.5 degC"),
        (
            ("density", None, None, {"kg_m3": 1025.0, "gravity_m_s2": 9.81}),
            "density 1025 kg/m3 gravity 9.81 m/s2",
        ),
        (("efficiency", None, None, {"value": 0.45}), "efficiency 0.45"),
        (
            (
                *("efficiency", None, None),
                {"lags": 3.0, "response": [0.251, 0.4, 0.5, 0.678], "half_width": [0, 0, 0, 0.034], "step_s": 1800.0},
            ),
            "efficiency by the response over 3 h (0.25 at once, 0.68 ± 0.03 after 1.5 h)",
        ),
    ],
)
def test_corrections_in_words(row, words):
    rows = history(row, zone="Europe/Berlin")
    assert rows.describe(next(rows.rows.itertuples())) == words
    assert words.startswith(describe_parameters(row[0], row[3]))


def test_what_each_parameter_is():
    assert {name for name, one in PARAMETERS.items() if one.is_list} == {"leave_out"}
    assert {name for name, one in PARAMETERS.items() if one.is_length} == {"amount_m"}
    texts = {name for name, one in PARAMETERS.items() if one.value_type is str}
    assert texts == {"cause", "method", "temperature", "against"}
    # how a segment was read: recorded for each that has samples
    assert {name for name, one in KINDS.items() if one.per_segment} == {"clock shift", "clock drift", "scale"}


def test_spans_that_each_kind_needs():
    """A start, both, one of them, or none, with what the command line calls them."""
    given = {
        "clock shift": {"seconds": -1e9},
        "clock drift": {"seconds": 1e9},
        "scale": {"factor": 2},
        "step": {"amount_m": -3},
        "exclusion": {"cause": "frozen"},
        "keep": {},
        "restart": {},
        "anchoring": {},
        "density": {"kg_m3": 1000},
        "efficiency": {"value": 0.5},
    }
    assert list(given) == list(KINDS)
    edge = dt.datetime(2024, 5, 1, tzinfo=dt.UTC)
    allowed = {kind: set() for kind in given}
    fixes = {}
    for kind, parameters in given.items():
        for name, span in {"": (None, None), "from": (edge, None), "to": (None, edge), "both": (edge, edge)}.items():
            try:
                assert check_parameters(kind, parameters, start=span[0], end=span[1]) == parameters
                allowed[kind].add(name)
            except AnalysisError as refused:
                fixes[kind] = str(refused)
    every, start, one = {"", "from", "to", "both"}, {"from", "both"}, {"from", "to", "both"}
    assert allowed == {
        **dict.fromkeys(["clock shift", "scale", "anchoring", "density", "efficiency"], every),
        **dict.fromkeys(["step", "restart"], start),
        **dict.fromkeys(["exclusion", "keep"], one),
        "clock drift": {"both"},
    }
    assert fixes == {
        "clock drift": "Correction 'clock drift' needs a start and an end. Give --from and --to.",
        "step": "Correction 'step' needs a start. Give --from.",
        "restart": "Correction 'restart' needs a start. Give --from.",
        "exclusion": "Correction 'exclusion' needs a start, an end or both. Give --from or --to.",
        "keep": "Correction 'keep' needs a start, an end or both. Give --from or --to.",
    }


@pytest.mark.parametrize(
    ("kind", "given", "message", "fix"),
    [
        ("tilt", {}, "There is no correction 'tilt'.", "One of: clock shift, clock drift, scale, step, "),
        ("restart", {"factor": 2.0}, "Correction 'restart' has no parameter factor.", "It has: none."),
        (
            "scale",
            {"cause": "flat", "value": 1},
            "Correction 'scale' has no parameter cause, value.",
            "It has: factor.",
        ),
        ("scale", {"factor": None}, "Correction 'scale' needs factor.", "It multiplies the values of the span."),
        ("density", {}, "Correction 'density' needs temperature or kg_m3 and not both.", "It sets the density"),
        (
            *("density", {"temperature": 10, "kg_m3": 1000}),
            *("Correction 'density' needs temperature or kg_m3 and not both.", "It sets the density"),
        ),
        ("scale", {"factor": "much"}, "'much' cannot be the factor of 'scale'.", "Give a number above zero."),
        (
            "anchoring",
            {"leave_out": "x"},
            "'x' cannot be the leave_out of 'anchoring'.",
            "Give numbers of level events.",
        ),
        ("exclusion", {"cause": "rain"}, "'rain' cannot be the cause of 'exclusion'.", "Give one of: spike, step, "),
        ("clock shift", {"seconds": float("inf")}, "inf cannot be the seconds of 'clock shift'.", "Give a number."),
    ],
)
def test_what_does_not_serve_is_refused_in_words(kind, given, message, fix):
    with pytest.raises(AnalysisError) as refused:
        check_parameters(kind, given, start=None, end=None)
    assert str(refused.value).startswith(f"{message} {fix}")


def test_values_are_stored_as_they_are_read():
    assert check_parameters("anchoring", {"method": "none", "leave_out": ()}, start=None, end=None) == {
        "method": "none"
    }
    events = check_parameters("anchoring", {"leave_out": ["12", 3, 12], "method": None}, start=None, end=None)
    assert events == {"leave_out": [3, 12]}
    assert check_parameters("density", {"temperature": "7"}, start=None, end=None) == {"temperature": 7.0}


def test_the_table_of_kinds_has_a_row_each_with_its_options():
    lines = describe_corrections().split("\n")
    assert len(lines) == 2 + len(KINDS)
    assert lines[2] == (
        '| `"clock shift"` | adds to the times of the span | `--seconds S` added to the times | '
        "start and end may be left open |"
    )
    restart = next(line for line in lines if '"restart"' in line)
    assert restart.endswith("| none | a start |")
