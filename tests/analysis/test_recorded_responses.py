"""The response to air pressure as it is recorded with a correction, and when it cannot be; constructed."""

import datetime as dt

import pandas as pd
import pytest

from gwnet.analysis.loggers import efficiency as module
from gwnet.errors import AnalysisError

from .efficiency_frames import answer, deployment_row, heads_of, series, stub, use


def test_without_air_pressure_the_response_cannot_be_removed(monkeypatch):
    air, level = series(5)
    lost = heads_of(air, level, vented=True)
    rows = [deployment_row(), deployment_row(instrument="other", barometer="X", deployment_id=8)]
    use(monkeypatch, lost, rows=rows)
    with pytest.raises(
        AnalysisError, match=r"'L' to air pressure cannot be removed: its barometer B has no samples then\."
    ):
        module.refuse_without_air("record", "L")
    use(monkeypatch, lost, rows=[deployment_row(barometer="")])
    with pytest.raises(AnalysisError, match="its deployments name no barometer"):
        module.refuse_without_air("record", "L")
    asked = []
    use(monkeypatch, heads_of(air, level), rows=rows, asked=asked)
    module.refuse_without_air("record", "L")
    assert asked == [[7]]


def moment(day):
    return dt.datetime(2024, 1, day, tzinfo=dt.UTC)


@pytest.mark.parametrize(
    ("start", "end", "numbers"),
    [
        (None, None, [1, 2]),
        (moment(9), None, [1, 2]),
        (moment(10), None, [2]),
        (None, moment(10), [1]),
        (None, moment(11), [1, 2]),
        (moment(10), moment(10), []),
    ],
)
def test_the_deployments_that_a_span_meets_count(monkeypatch, start, end, numbers):
    stub(monkeypatch)
    air, level = series(30)
    days = [pd.Timestamp(moment(day)) for day in (1, 10)]
    rows = [
        deployment_row(deployment_id=1, installed_at_utc=days[0], removed_at_utc=days[1]),
        deployment_row(deployment_id=2, installed_at_utc=days[1]),
        deployment_row(deployment_id=3, instrument="other"),
    ]
    asked = []
    use(monkeypatch, *(heads_of(air, level, number=number) for number in (1, 2, 3)), rows=rows, asked=asked)
    if numbers:
        module.find_response("record", "L", 24.0, start, end)
    else:
        with pytest.raises(AnalysisError, match="No deployment of 'L' with an air pressure meets that span"):
            module.find_response("record", "L", 24.0, start, end)
    assert asked == [numbers]


def test_the_response_with_most_changes_is_recorded_to_five_digits(monkeypatch):
    stub(monkeypatch)
    air, level = series(30)
    use(monkeypatch, *(heads_of(air, level, number=number) for number in (1, 2, 3)))
    asked = []
    answers = iter([answer(count=5), answer((0.1234567, 0.3), (0.0000149, 0.29), count=9), answer(count=7)])
    monkeypatch.setattr(
        module, "deconvolve_response", lambda *pair, lags, tides: asked.append((lags, tides)) or next(answers)
    )
    made = module.find_response("record", "L", 24.0, None, None)
    assert asked == [(24, ())] * 3
    assert made == {"step_s": 3600.0, "response": [0.12346, 0.3], "half_width": [0.00001, 0.29]}
    use(monkeypatch, heads_of(air, level, number=1, well="W2"), heads_of(air, level, number=2, well="W1"))
    with pytest.raises(AnalysisError, match=r"'L' was in W1, W2, which answer to air pressure each in its own way"):
        module.find_response("record", "L", 24.0, None, None)


@pytest.mark.parametrize(
    ("late", "words"),
    [
        (answer(why="too few changes"), "too few changes"),
        (answer((0.2, 0.9, 1.5), (0.1, 0.2, 0.25)), "1.50 (1.25 to 1.75) is no efficiency"),
        (answer((0.2, 0.9, 0.25), (0.1, 0.2, 0.25)), "0.25 ± 0.25 at the longest lag is not significant"),
        (answer((0.2, 0.9, 0.25), (0.1, 0.9, 0.24)), None),
    ],
)
def test_a_response_that_is_missing_impossible_or_not_significant_is_refused(monkeypatch, late, words):
    stub(monkeypatch, late=late)
    if words is None:
        assert module.find_response("record", "L", 24.0, None, None)["response"] == [0.2, 0.9, 0.25]
        return
    with pytest.raises(AnalysisError) as refused:
        module.find_response("record", "L", 24.0, None, None)
    assert refused.value.args[0] == f"The record of 'L' gives no response to air pressure: {words}."
