"""The section on pumping tests, composed from frames: record, levels before, analyses, what is not determined."""

import dataclasses
import math

import pandas as pd
import pytest

from gwnet.errors import DefinitionError
from gwnet.reporting.content import Bullets, Heading, Paragraph, Table
from gwnet.reporting.definition.parse import load_definition
from gwnet.reporting.measures import Measures
from gwnet.reporting.sections import pumping

TEST = {
    "test": "PT-1",
    "well": "PW",
    "kind": "constant rate",
    "starts_at": "2026-02-01T08:00+01:00",
    "stops_at": "",
    "hours": math.nan,
    "rates_l_s": "8; 10",
    "wells": "PW,O1",
    "readings": 40,
    "purpose": "",
    "crew": "Ana",
}
STATIC = {
    "test": "PT-1",
    "well": "O1",
    "background": "mean",
    "n": 3,
    "static_elevation_m": 95.3,
    "static_depth_m": math.nan,
    "uncertainty_m": 0.004,
    "slope_m_per_day": math.nan,
    "slope_uncertainty_m_per_day": math.nan,
    "barometer": "B",
    "barometric_efficiency": 0.5,
    "largest_air_correction_m": -0.03,
    "air_not_known": 0,
}
DRAWDOWN = {
    "test": "PT-1",
    "well": "O1",
    "distance_m": 30.0,
    "measured_at": "2026-02-01T08:10:00+01:00",
    "elapsed_min": 10.0,
    "since_change_min": 10.0,
    "rate_l_s": 8.0,
    "source": "manual",
    "passed": "",
    "depth_to_water_m": 5.5,
    "water_elevation_m": 94.9,
    "air_correction_m": -0.01,
    "static_elevation_m": 95.3,
    "drawdown_m": 0.4,
    "uncertainty_m": 0.006,
}
FITS = [
    {
        "parameter": "transmissivity",
        "value": 251.24,
        "unit": "m2/d",
        "lower": 240.0,
        "upper": 262.0,
        "identifiable": True,
    },
    {
        "parameter": "leakage_factor",
        "value": math.inf,
        "unit": "m",
        "lower": 713.0,
        "upper": math.inf,
        "identifiable": False,
    },
]


def frames():
    """Return the frames of the section."""
    of_fit = {
        "test": "PT-1",
        "wells": "O1,O2",
        "method": "leaky",
        "n": 40,
        "rmse_m": 0.003,
        "note": "A note.",
        "superposed": "",
    }
    return {
        "pumping_tests": pd.DataFrame([TEST]),
        "pumping_rates": pd.DataFrame(
            [{"test": "PT-1", "well": "PW", "elapsed_min": 0.0, "rate_l_s": 8.0, "method": "meter", "notes": ""}]
        ),
        "pumping_static": pd.DataFrame([STATIC]),
        "pumping_drawdowns": pd.DataFrame([DRAWDOWN]),
        "pumping_fits": pd.DataFrame([of_fit | fit for fit in FITS]),
        "pumping_remarks": pd.DataFrame([{"test": "PT-1", "what": "finding", "message": "It never stopped."}]),
    }


@pytest.fixture
def blocks(view24, constructed):
    extras = dataclasses.replace(view24.data.extras, frames=frames())
    view = dataclasses.replace(view24, data=dataclasses.replace(view24.data, extras=extras))
    return list(pumping.compose_pumping_tests(view, constructed.PlainDrawing()))


def tables(blocks):
    return {block.key: block for block in blocks if isinstance(block, Table)}


def test_a_period_without_a_test_says_so_in_one_sentence(view24, constructed):
    [sentence] = pumping.compose_pumping_tests(view24, constructed.PlainDrawing())
    assert sentence.text == "No pumping test is on record in this period."


def test_each_test_has_its_record_its_rates_the_level_before_and_its_analyses(blocks):
    found = tables(blocks)
    assert list(found) == ["pumping-tests", "pumping-rates-PT-1", "pumping-static-PT-1", "pumping-fits-PT-1"]
    [record] = found["pumping-tests"].rows
    assert [cell.value for cell in record[:4]] == ["PT-1", "PW", "constant rate", "2026-02-01 08:00"]
    assert record[4].reason == "not on record"
    assert record[5].reason == "end not on record"
    [static] = found["pumping-static-PT-1"].rows
    assert static[0].value == "O1"
    assert static[6].value == pytest.approx(0.4)
    assert [block.text for block in blocks if isinstance(block, Heading)] == ["Test PT-1"]
    assert [block.items for block in blocks if isinstance(block, Bullets)] == [("It never stopped.",)]


def test_what_the_data_do_not_determine_is_said(blocks):
    rows = tables(blocks)["pumping-fits-PT-1"].rows
    assert [cell.value for cell in rows[0][3:7]] == ["251.2", "m2/d", "240", "262"]
    assert rows[1][3].reason == rows[1][6].reason == "not determined by the data"
    texts = [block.text for block in blocks if isinstance(block, Paragraph)]
    assert texts[0] == (
        "Leaky, O1, O2: transmissivity 251.2 m2/d (limits at 95 %: 240 to 262); the data do not determine the leakage "
        "factor, only that it is above 713 m. A note."
    )
    assert texts[-1] == pumping.FOR_A_PROFESSIONAL


def test_distances_have_the_unit_of_the_report(view24, constructed):
    extras = dataclasses.replace(view24.data.extras, frames=frames())
    in_feet = Measures("ft", 2)
    view = dataclasses.replace(view24, data=dataclasses.replace(view24.data, extras=extras), measures=in_feet)
    found = tables(list(pumping.compose_pumping_tests(view, constructed.PlainDrawing())))["pumping-static-PT-1"]
    assert found.columns[1].unit == "ft"
    assert found.rows[0][1].value == pytest.approx(30.0 / 0.3048)


def test_the_definition_names_tests_and_methods(tmp_path):
    chosen = load_definition("pumping_test").settings["pumping"]
    assert chosen == pumping.PumpingSettings()
    path = tmp_path / "own.toml"
    head = 'title = "T"\nsections = ["pumping_test"]\n[pumping]\n'
    path.write_text(
        head
        + 'tests = ["PT-1"]\nmethods = ["theis"]\nbackground = "line"\nbefore_hours = 6\nair_pressure = "kept"\nsuperpose = ["all"]\n'
    )
    own = load_definition(path).settings["pumping"]
    assert (own.tests, own.methods, own.background, own.before_hours) == (("PT-1",), ("theis",), "line", 6.0)
    assert (chosen.is_air_removed, own.is_air_removed) == (True, False)
    assert (chosen.superpose, own.superpose) == ((), ("all",))
    path.write_text(head + 'background = "spline"\n')
    with pytest.raises(DefinitionError, match="mean, line"):
        load_definition(path)
