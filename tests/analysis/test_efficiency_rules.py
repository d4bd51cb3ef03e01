"""Barometric efficiencies of a deployment beside those of its own arrays, and what the notes say of them; constructed."""

import numpy as np
import pandas as pd
import pytest

from gwnet.analysis.loggers import efficiency as module
from gwnet.errors import AnalysisError
from gwnet.hydro.loggers.barometric import clark_efficiency, regression_efficiency
from gwnet.hydro.loggers.deconvolution import Tide, deconvolve_response

from .efficiency_frames import HOUR, NAN, PER_PASCAL, START, answer, heads_of, series, stub, use


def limits(name, value, half_width):
    return {name: value, f"{name}_lower": value - half_width, f"{name}_upper": value + half_width}


@pytest.mark.parametrize("step", [1, 2, 3, 8])
@pytest.mark.parametrize("vented", [False, True])
def test_each_method_is_of_the_levels_that_count_at_even_moments(monkeypatch, step, vented):
    """Levels that are out are left out, those without a correction count as they are."""
    air, level = series()
    out = np.zeros(300, dtype=np.uint8)
    out[120:126] = 3
    correction = np.full(300, 0.002)
    correction[290:] = NAN
    settings = {"response": [0.1, 0.25]} if vented else {"value": 0.35}
    use(
        monkeypatch,
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


def test_steps_are_never_shorter_than_the_interval_and_an_hour_unless_given(monkeypatch):
    air, level = series(60)
    use(monkeypatch, heads_of(air, level))
    assert module.estimate_efficiencies("record", every_hours=0.25)["every_hours"].tolist() == [1.0]
    row = module.estimate_efficiencies("record").iloc[0]
    assert (row["every_hours"], row["pairs"], row["lag_hours"]) == (1.0, 59, 24.0)
    assert np.isnan(row["applied_efficiency"])
    use(monkeypatch, heads_of(air, level, when=START + np.arange(60) * HOUR // 4))
    assert module.estimate_efficiencies("record")["pairs"].tolist() == [14]
    use(monkeypatch, heads_of(air, level, vented=True))
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
def test_steps_and_lags_reach_up_to_ten_days(monkeypatch, asked, serves):
    air, level = series(10)
    use(monkeypatch, heads_of(air, level, vented=True))
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
def test_changes_that_differ_by_more_than_their_uncertainty_and_a_twentieth_are_noted(monkeypatch, changes, words):
    """The half-widths of two values combine as the root of the sum of their squares."""
    stub(monkeypatch, changes)
    assert note() == (f"{words}: the answer changes with time, see the deconvolution" if words else "")


def test_impossible_values_are_named_with_their_limits_and_not_given(monkeypatch):
    stub(
        monkeypatch,
        {6: (1.2, 0.3)},
        levels=(-0.5, 0.125),
        clark=(-0.25, 0.5),
        late=answer((0.2, 0.9, 1.5), (0.1, 0.0, 0.25)),
    )
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
def test_a_response_that_goes_on_changing_or_is_missing_is_noted(monkeypatch, late, words):
    stub(monkeypatch, late=late)
    assert note() == words
    assert set(module.estimate_responses("record")["note"]) == {words}


@pytest.mark.parametrize("vented", [False, True])
def test_a_barometer_whose_steps_make_a_twentieth_of_the_changes_is_noted(monkeypatch, vented):
    """Rounding to steps of r adds r²/12 to the variance of a value (uniform errors), twice that to that of a change."""
    air, level = series(200)
    heads = heads_of(air, level, vented=vented)
    shares = {}
    step_pa = 90.0
    for hours in (1, 6, 24):
        change = air[hours:] - air[:-hours]
        shares[hours] = step_pa**2 / 6.0 / np.var(change)
    assert shares[1] > 0.05 > shares[24]
    use(monkeypatch, heads, barometer=[0.0, step_pa, 0.0], air_pa=air)
    listed = ", ".join(f"{share:.0%} over {hours} h" for hours, share in shares.items() if share > 0.05)
    said = f"the barometer's steps of 9 mm of water are too coarse: {listed} of the changes, drawn toward {0 if vented else 1}"
    assert said in note().split("; ")
    assert said in module.estimate_responses("record")["note"].iloc[0].split("; ")
    use(monkeypatch, heads, barometer=[0.0, 5000.0], air_pa=air)
    assert ": 100% over 1 h, 100% over 6 h, 100% over 24 h of the changes" in note()


def test_a_barometer_that_shows_no_change_or_is_not_on_record_is_not_called_coarse(monkeypatch):
    stub(monkeypatch, air=np.full(10, 100_000.0), barometer=[0.0, 20_000.0])
    assert note() == ""
    stub(monkeypatch, air=100_000.0 + 0.1 * np.sin(np.arange(30.0)))
    assert note() == ""


def test_the_response_has_one_row_a_lag_and_a_tide(monkeypatch):
    """A tide whose amplitude is not above its half-width is not significant."""
    tides = [
        Tide("M2", 0.02, 0.005, 100.0, 8.0),
        Tide("K1", 0.01, 0.01, -50.0, 30.0),
        Tide("O1", 0.01, 0.02, 5.0, 90.0),
    ]
    stub(monkeypatch, late=answer((0.2, 0.4, 1.5), (0.01, 0.02, 0.1), settling=0.3, tides=tides))
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


def test_whole_lags_and_all_tides_are_asked_for(monkeypatch):
    asked = []
    stub(monkeypatch)
    monkeypatch.setattr(
        module, "deconvolve_response", lambda *pair, lags, tides: asked.append((lags, tides)) or answer()
    )
    module.estimate_responses("record", lag_hours=7.999, every_hours=2.0, tides=True)
    module.estimate_responses("record", lag_hours=8.0, every_hours=2.0)
    module.estimate_responses("record")
    assert asked == [(3, tuple(module.TIDES)), (4, ()), (24, ())]
