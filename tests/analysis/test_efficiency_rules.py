"""Barometric efficiencies of a deployment beside those of its own arrays, and what the notes say of them; constructed."""

import datetime as dt
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

from gwnet.analysis.loggers import efficiency as module
from gwnet.errors import AnalysisError
from gwnet.hydro.loggers.barometric import clark_efficiency, regression_efficiency
from gwnet.hydro.loggers.deconvolution import BarometricResponse, Tide, deconvolve_response

NAN = float("nan")
START = np.datetime64("2024-01-01T00:00", "us")
HOUR = np.timedelta64(3_600_000_000, "us")

#: Water of 1000 kg/m3 under 10 m/s2, so that 10 000 Pa are a metre.
PER_PASCAL = 1e-4


def deployment_row(**more):
    row = {"deployment_id": 7, "instrument": "L", "barometer": "B", "kind": "absolute pressure logger", "well": "W"}
    installed = pd.Timestamp("2023-12-31", tz="UTC")
    return {**row, "installed_at_utc": installed, "removed_at_utc": pd.NaT, **more}


def heads_of(air_pa, level_m, *, when=None, out=None, correction=None, settings=None, well="W", number=7, vented=False):
    count = len(level_m)
    history = SimpleNamespace(settings=lambda kind, start, end: {} if settings is None else settings)
    return SimpleNamespace(
        site="S",
        well=well,
        instrument="L",
        quantity="vented pressure" if vented else "absolute pressure",
        deployment_id=number,
        time_utc=START + np.arange(count) * HOUR if when is None else when,
        state=SimpleNamespace(out=np.zeros(count, dtype=np.uint8) if out is None else out),
        anchored=SimpleNamespace(correction_m=np.full(count, 90.0) if correction is None else correction),
        level=SimpleNamespace(
            level_m=np.asarray(level_m),
            air_pa=np.full(count, NAN) if vented else np.asarray(air_pa),
            metres_per_pascal=lambda: np.full(count, PER_PASCAL),
            channel=SimpleNamespace(correction_history=history),
        ),
    )


@pytest.fixture
def use(monkeypatch):
    """Give a function that lets the module see some heads, deployments and a barometer."""

    def use_these(*heads, rows=None, barometer=None, air_pa=None, asked=None):
        table = pd.DataFrame(
            [deployment_row(deployment_id=one.deployment_id, well=one.well) for one in heads] if rows is None else rows
        )
        by_number = {one.deployment_id: one for one in heads}
        monkeypatch.setattr(module, "deployments_in", lambda record, wells=None: table)
        monkeypatch.setattr(module, "loggers_of", lambda record: "loggers")
        asked_of = [] if asked is None else asked

        def iterate(record, deployments):
            asked_of.append(deployments["deployment_id"].tolist())
            return (by_number[number] for number in deployments["deployment_id"] if number in by_number)

        monkeypatch.setattr(module, "iterate_heads", iterate)
        channel = None if barometer is None else SimpleNamespace(value=np.asarray(barometer))
        monkeypatch.setattr(module, "barometer_channel", lambda loggers, code, when: channel)

        def air(loggers, row, when):
            return SimpleNamespace(pressure_pa=np.full(when.size, NAN) if air_pa is None else air_pa)

        monkeypatch.setattr(module, "air_pressure", air)

    return use_these


def series(count=300, seed=3):
    """Return air pressure and a level that answers with an efficiency near 0.4."""
    random = np.random.default_rng(seed)
    air = 100_000.0 + np.cumsum(random.normal(0.0, 60.0, count))
    return air, 2.0 - 0.4 * (air - 100_000.0) * PER_PASCAL + random.normal(0.0, 0.001, count)


def limits(name, value, half_width):
    return {name: value, f"{name}_lower": value - half_width, f"{name}_upper": value + half_width}


@pytest.mark.parametrize("step", [1, 2, 3, 8])
@pytest.mark.parametrize("vented", [False, True])
def test_each_method_is_of_the_levels_that_count_at_even_moments(use, step, vented):
    """Levels that are out are left out, those without a correction count as they are."""
    air, level = series()
    out = np.zeros(300, dtype=np.uint8)
    out[120:126] = 3
    correction = np.full(300, 0.002)
    correction[290:] = NAN
    settings = {"response": [0.1, 0.25]} if vented else {"value": 0.35}
    use(
        heads_of(air, level, out=out, correction=correction, settings=settings, vented=vented),
        barometer=[1.0, 2.0],
        air_pa=air,
    )
    (row,) = module.estimate_efficiencies("record", every_hours=float(step), lag_hours=25.0).to_dict("records")
    used = np.where(out == 0, level + np.nan_to_num(correction), NAN)
    # nothing is interpolated over more than one and a half steps
    missing = (120, 126) if 1.5 * step < 7 else (0, 0)
    filled = np.where(np.isnan(used), np.interp(np.arange(300), np.flatnonzero(out == 0), used[out == 0]), used)
    filled[slice(*missing)] = NAN
    pair = filled[::step], air[::step] * PER_PASCAL
    when = (START + np.arange(300) * HOUR)[::step]
    clark, levels = clark_efficiency(*pair), regression_efficiency(*pair, of_changes=False)
    changes = regression_efficiency(*pair, of_changes=True)
    lags = {1: 25, 2: 12, 3: 8, 8: 3}[step]
    late = deconvolve_response(when, *pair, lags=lags, tides=())
    values = {
        "clark": (clark.efficiency, clark.half_width),
        "regression_of_levels": (levels.efficiency, levels.half_width),
        "regression_of_changes": (changes.efficiency, changes.half_width),
        "deconvolution": (late.response[-1], late.half_width[-1]),
    }
    for hours in (1, 6, 24):
        values[f"changes_{hours}h"] = (NAN, NAN)
        if hours % step == 0:
            over = regression_efficiency(*pair, of_changes=True, over=hours // step)
            values[f"changes_{hours}h"] = (over.efficiency, over.half_width)
    expected = {
        "site": "S",
        "well": "W",
        "instrument": "L",
        "barometer": "B",
        "every_hours": float(step),
        "pairs": changes.count,
        "correlation_of_changes": changes.correlation,
        "lag_hours": lags * step,
        "applied_efficiency": 0.25 if vented else 0.35,
    }
    for name, (value, half_width) in values.items():
        is_given = -0.05 <= value <= 1.05 and not (value < -half_width or value - 1.0 > half_width)
        expected |= limits(name, value, half_width) if is_given else limits(name, NAN, NAN)
    assert set(row) == {*expected, "note"} == set(module.EFFICIENCY_COLUMNS)
    for name, value in expected.items():
        if isinstance(value, str):
            assert row[name] == value
        else:
            np.testing.assert_allclose(row[name], value, rtol=1e-9, err_msg=name)


def test_steps_are_never_shorter_than_the_interval_and_an_hour_unless_given(use):
    air, level = series(60)
    use(heads_of(air, level))
    assert module.estimate_efficiencies("record", every_hours=0.25)["every_hours"].tolist() == [1.0]
    row = module.estimate_efficiencies("record").iloc[0]
    assert (row["every_hours"], row["pairs"], row["lag_hours"]) == (1.0, 59, 24.0)
    assert np.isnan(row["applied_efficiency"])
    use(heads_of(air, level, when=START + np.arange(60) * HOUR // 4))
    assert module.estimate_efficiencies("record")["pairs"].tolist() == [14]
    use(heads_of(air, level, vented=True))
    assert module.estimate_efficiencies("record").empty


@pytest.mark.parametrize(
    ("asked", "serves"),
    [
        ({"every_hours": 240.0}, True),
        ({"every_hours": 240.1}, False),
        ({"every_hours": 0.0}, False),
        ({"every_hours": 0.5}, True),
        ({"lag_hours": 0.0}, True),
        ({"lag_hours": 240.0}, True),
        ({"lag_hours": 240.1}, False),
        ({"lag_hours": -0.1}, False),
    ],
)
def test_steps_and_lags_reach_up_to_ten_days(use, asked, serves):
    air, level = series(10)
    use(heads_of(air, level, vented=True))
    for ask in (module.estimate_efficiencies, module.estimate_responses):
        if serves:
            assert ask("record", **asked).empty
            continue
        every, lag = asked.get("every_hours", 1.0), asked.get("lag_hours", 24.0)
        with pytest.raises(AnalysisError) as refused:
            ask("record", **asked)
        assert refused.value.args[0] == f"Levels every {every:g} h with lags up to {lag:g} h cannot be compared."
        assert refused.value.fix == "Give a step above 0 and lags from 0, both up to 240 hours."


@pytest.mark.parametrize(
    ("value", "half_width", "expected"),
    [
        (-0.05, 1.0, False),
        (-0.0500001, 1.0, True),
        (1.0499999, 1.0, False),
        (1.0500001, 1.0, True),
        (-0.03125, 0.03125, False),
        (-0.03125, 0.03124, True),
        (1.03125, 0.03125, False),
        (1.03125, 0.03124, True),
        (0.0, 0.0, False),
        (1.0, 0.0, False),
        (0.3, 0.0, False),
        (NAN, NAN, False),
    ],
)
def test_an_efficiency_outside_0_to_1_by_more_than_its_half_width_or_a_twentieth_is_impossible(
    value, half_width, expected
):
    assert module.is_impossible(value, half_width) is expected


def answer(
    response=(0.2, 0.4), half_width=(0.01, 0.02), *, settling=0.0, settling_half_width=0.0, why="", tides=(), count=10
):
    lag_s = 3600.0 * np.arange(1, len(response) + 1) * 1.5
    return BarometricResponse(
        lag_s, np.array(response), np.array(half_width), settling, settling_half_width, tuple(tides), count, 0.5, why
    )


def found(efficiency, half_width=0.0):
    return SimpleNamespace(efficiency=efficiency, half_width=half_width, correlation=-0.5, count=5)


@pytest.fixture
def stub(monkeypatch, use):
    """Give a function that lets the methods give chosen numbers; changes by hours, and the rest."""

    def use_numbers(changes=(), levels=(0.4, 0.0), clark=(0.4, 0.0), late=None, air=None, **more):
        spans = {1: (0.4, 0.0), 6: (0.4, 0.0), 24: (0.4, 0.0), **dict(changes)}

        def regression(level, air, *, of_changes, over=1):
            return found(*(spans[over] if of_changes else levels))

        monkeypatch.setattr(module, "regression_efficiency", regression)
        monkeypatch.setattr(module, "clark_efficiency", lambda level, air: found(*clark))
        monkeypatch.setattr(module, "deconvolve_response", lambda *pair, lags, tides: late or answer())
        air_pa, level = series(40)
        use(heads_of(air_pa if air is None else air, level[: 40 if air is None else len(air)]), **more)

    return use_numbers


def note():
    return module.estimate_efficiencies("record")["note"].iloc[0]


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({}, ""),
        ({24: (0.45, 0.0)}, ""),
        ({24: (0.46, 0.0)}, "changes over 1 h, 6 h, 24 h disagree (0.40, 0.40, 0.46)"),
        ({1: (0.34, 0.0), 6: (0.37, 0.0)}, "changes over 1 h, 6 h, 24 h disagree (0.34, 0.37, 0.40)"),
        ({1: (0.5, 0.0), 6: (0.5625, 0.0625), 24: (0.5625, 0.0625)}, ""),
        (
            {1: (0.5, 0.0), 6: (0.5625, 0.0624), 24: (0.5625, 0.0625)},
            "changes over 1 h, 6 h, 24 h disagree (0.50, 0.56, 0.56)",
        ),
        ({6: (0.5, 0.06), 24: (0.45, 0.08)}, "changes over 1 h, 6 h, 24 h disagree (0.40, 0.50, 0.45)"),
        ({1: (0.3, 0.06), 6: (0.399, 0.08), 24: (0.35, 0.09)}, ""),
        ({6: (NAN, NAN), 24: (0.5, 0.0)}, "changes over 1 h, 24 h disagree (0.40, 0.50)"),
    ],
)
def test_changes_that_differ_by_more_than_their_uncertainty_and_a_twentieth_are_noted(stub, changes, words):
    """The half-widths of two values combine as the root of the sum of their squares."""
    stub(changes)
    assert note() == (f"{words}: the answer changes with time, see the deconvolution" if words else "")


def test_impossible_values_are_named_with_their_limits_and_not_given(stub):
    stub({6: (1.2, 0.3)}, levels=(-0.5, 0.125), clark=(-0.25, 0.5), late=answer((0.2, 0.9, 1.5), (0.1, 0.0, 0.25)))
    row = module.estimate_efficiencies("record").iloc[0]
    assert row["note"].split("; ")[:4] == [
        "clark: -0.25 (-0.75 to 0.25) is no efficiency",
        "regression of levels: -0.50 (-0.62 to -0.38) is no efficiency",
        "changes over 6h: 1.20 (0.90 to 1.50) is no efficiency",
        "deconvolution: 1.50 (1.25 to 1.75) is no efficiency",
    ]
    lost = [name for name in module.EFFICIENCY_COLUMNS if pd.isna(row[name]) and name != "applied_efficiency"]
    parts = ("", "_lower", "_upper")
    assert lost == [
        f"{name}{part}" for name in ("clark", "regression_of_levels", "changes_6h", "deconvolution") for part in parts
    ]


@pytest.mark.parametrize(
    ("late", "words"),
    [
        (answer(settling=0.05), ""),
        (answer(settling=0.051), "the response still changes within the last half of 3 h: longer lags may serve"),
        (answer(settling=-0.051), "the response still changes within the last half of 3 h: longer lags may serve"),
        (answer(settling=-0.25, settling_half_width=0.25), ""),
        (
            answer(settling=0.25, settling_half_width=0.24),
            "the response still changes within the last half of 3 h: longer lags may serve",
        ),
        (answer(settling=0.25, why="too few changes"), "no deconvolution: too few changes"),
    ],
)
def test_a_response_that_goes_on_changing_or_is_missing_is_noted(stub, late, words):
    stub(late=late)
    assert note() == words
    assert set(module.estimate_responses("record")["note"]) == {words}


@pytest.mark.parametrize("vented", [False, True])
def test_a_barometer_whose_steps_make_a_twentieth_of_the_changes_is_noted(use, vented):
    """Rounding to steps of r adds r²/12 to the variance of a value (uniform errors), twice that to that of a change."""
    air, level = series(200)
    heads = heads_of(air, level, vented=vented)
    shares = {}
    step_pa = 90.0
    for hours in (1, 6, 24):
        change = air[hours:] - air[:-hours]
        shares[hours] = step_pa**2 / 6.0 / np.var(change)
    assert shares[1] > 0.05 > shares[24]
    use(heads, barometer=[0.0, step_pa, 0.0], air_pa=air)
    listed = ", ".join(f"{share:.0%} over {hours} h" for hours, share in shares.items() if share > 0.05)
    said = f"the barometer's steps of 9 mm of water are too coarse: {listed} of the changes, drawn toward {0 if vented else 1}"
    assert said in note().split("; ")
    assert said in module.estimate_responses("record")["note"].iloc[0].split("; ")
    use(heads, barometer=[0.0, 5000.0], air_pa=air)
    assert ": 100% over 1 h, 100% over 6 h, 100% over 24 h of the changes" in note()


def test_a_barometer_that_shows_no_change_or_is_not_on_record_is_not_called_coarse(stub):
    stub(air=np.full(10, 100_000.0), barometer=[0.0, 20_000.0])
    assert note() == ""
    stub(air=100_000.0 + 0.1 * np.sin(np.arange(30.0)))
    assert note() == ""


def test_the_response_has_one_row_a_lag_and_a_tide(stub):
    """A tide whose amplitude is not above its half-width is not significant."""
    tides = [
        Tide("M2", 0.02, 0.005, 100.0, 8.0),
        Tide("K1", 0.01, 0.01, -50.0, 30.0),
        Tide("O1", 0.01, 0.02, 5.0, 90.0),
    ]
    stub(late=answer((0.2, 0.4, 1.5), (0.01, 0.02, 0.1), settling=0.3, tides=tides))
    table = module.estimate_responses("record", tides=True)
    assert tuple(table.columns) == module.RESPONSE_COLUMNS
    assert table[["site", "well", "instrument", "barometer"]].drop_duplicates().to_numpy().tolist() == [
        ["S", "W", "L", "B"]
    ]
    assert table["input"].tolist() == [*["air pressure"] * 3, "M2", "K1", "O1"]
    late = "the response still changes within the last half of 4.5 h: longer lags may serve"
    assert table["note"].tolist() == [
        late,
        late,
        f"1.50 (1.40 to 1.60) is no efficiency; {late}",
        "",
        "not significant",
        "not significant",
    ]
    numbers = table.drop(columns=["site", "well", "instrument", "barometer", "input", "note"]).to_numpy(dtype=float)
    none = [NAN] * 6
    expected = [
        [1.5, 0.2, 0.19, 0.21, *none],
        [3.0, 0.4, 0.38, 0.42, *none],
        [4.5, *[NAN] * 9],
        [*[NAN] * 4, 0.02, 0.015, 0.025, 100.0, 92.0, 108.0],
        [*[NAN] * 4, 0.01, 0.0, 0.02, -50.0, -80.0, -20.0],
        [*[NAN] * 4, 0.01, 0.0, 0.03, 5.0, -85.0, 95.0],
    ]
    np.testing.assert_allclose(numbers, expected, rtol=1e-12, atol=1e-15)


def test_whole_lags_and_all_tides_are_asked_for(monkeypatch, stub):
    asked = []
    stub()
    monkeypatch.setattr(
        module, "deconvolve_response", lambda *pair, lags, tides: asked.append((lags, tides)) or answer()
    )
    module.estimate_responses("record", lag_hours=7.9, every_hours=2.0, tides=True)
    module.estimate_responses("record", lag_hours=8.0, every_hours=2.0)
    module.estimate_responses("record")
    assert asked == [(3, tuple(module.TIDES)), (4, ()), (24, ())]


# --- what is recorded with a correction ---------------------------------------------------------------------------


def test_without_air_pressure_the_response_cannot_be_removed(use):
    air, level = series(5)
    lost = heads_of(air, level, vented=True)
    rows = [deployment_row(), deployment_row(instrument="other", barometer="X", deployment_id=8)]
    use(lost, rows=rows)
    with pytest.raises(
        AnalysisError, match=r"'L' to air pressure cannot be removed: its barometer B has no samples then\."
    ):
        module.refuse_without_air("record", "L")
    use(lost, rows=[deployment_row(barometer="")])
    with pytest.raises(AnalysisError, match="its deployments name no barometer"):
        module.refuse_without_air("record", "L")
    asked = []
    use(heads_of(air, level), rows=rows, asked=asked)
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
def test_the_deployments_that_a_span_meets_count(use, stub, start, end, numbers):
    stub()
    air, level = series(30)
    days = [pd.Timestamp(moment(day)) for day in (1, 10)]
    rows = [
        deployment_row(deployment_id=1, installed_at_utc=days[0], removed_at_utc=days[1]),
        deployment_row(deployment_id=2, installed_at_utc=days[1]),
        deployment_row(deployment_id=3, instrument="other"),
    ]
    asked = []
    use(*(heads_of(air, level, number=number) for number in (1, 2, 3)), rows=rows, asked=asked)
    if numbers:
        module.find_response("record", "L", 24.0, start, end)
    else:
        with pytest.raises(AnalysisError, match="No deployment of 'L' with an air pressure meets that span"):
            module.find_response("record", "L", 24.0, start, end)
    assert asked == [numbers]


def test_the_response_with_most_changes_is_recorded_to_five_digits(monkeypatch, use, stub):
    stub()
    air, level = series(30)
    use(*(heads_of(air, level, number=number) for number in (1, 2, 3)))
    answers = iter([answer(count=5), answer((0.1234567, 0.3), (0.0000149, 0.29), count=9), answer(count=7)])
    monkeypatch.setattr(module, "deconvolve_response", lambda *pair, lags, tides: next(answers))
    made = module.find_response("record", "L", 24.0, None, None)
    assert made == {"step_s": 3600.0, "response": [0.12346, 0.3], "half_width": [0.00001, 0.29]}
    use(heads_of(air, level, number=1, well="W2"), heads_of(air, level, number=2, well="W1"))
    with pytest.raises(AnalysisError, match=r"'L' was in W1, W2, which answer to air pressure each in its own way"):
        module.find_response("record", "L", 24.0, None, None)


@pytest.mark.parametrize(
    ("late", "words"),
    [
        (answer(why="too few changes"), "too few changes"),
        (answer((0.2, 1.5), (0.1, 0.25)), "1.50 (1.25 to 1.75) is no efficiency"),
        (answer((0.2, 0.25), (0.1, 0.25)), "0.25 ± 0.25 at the longest lag is not significant"),
        (answer((0.2, 0.25), (0.1, 0.24)), None),
    ],
)
def test_a_response_that_is_missing_impossible_or_not_significant_is_refused(stub, late, words):
    stub(late=late)
    if words is None:
        assert module.find_response("record", "L", 24.0, None, None)["response"] == [0.2, 0.25]
        return
    with pytest.raises(AnalysisError) as refused:
        module.find_response("record", "L", 24.0, None, None)
    assert refused.value.args[0] == f"The record of 'L' gives no response to air pressure: {words}."
