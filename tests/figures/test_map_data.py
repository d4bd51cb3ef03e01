"""What maps show, as numbers and sentences."""

import datetime as dt
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest
import shapely

from gwnet.errors import AnalysisError, SettingsError
from gwnet.figures.maps.context import MapContext
from gwnet.figures.maps.marks import look
from gwnet.figures.maps.network_data import network_plot_data

from . import frames
from .frames import KNOWN_ON, SITE

DAY = dt.date(2026, 2, 11)


def three(**columns):
    return frames.control([412_000, 412_500, 412_200], [5_333_000, 5_333_100, 5_333_600], [48.1, 47.9, 48.4], **columns)


def data_of(control, **options):
    options = {"aquifer": "A1", "date": DAY, "site": SITE} | options
    return frames.map_data(control=control, **options)


def text_of(data, title):
    return [line for note in data.notes if note.title == title for line in note.lines]


def test_values_are_printed_with_the_decimals_of_their_uncertainty_and_unit():
    assert [point.value for point in data_of(three()).points] == ["48.10", "47.90", "48.40"]
    assert [point.value for point in data_of(three(), unit="ft").points] == ["157.81", "157.15", "158.79"]
    assert [point.value for point in data_of(three(uncertainty_m=0.5)).points] == ["48.1", "47.9", "48.4"]


def test_excluded_wells_keep_their_reason_and_say_what_kind_of_number_they_have():
    control = three(used=[True, False, False], reason=["", "pumping", ""], status=["static", "pumping", "dry"])
    data = data_of(control)
    assert [point.value for point in data.points] == ["48.10", "(47.90)", "≤ 48.40"]
    assert text_of(data, "Left out") == ["GW-02: pumping", "GW-03: no reason given"]


def test_wells_with_the_same_reason_are_listed_together_and_undrawn_ones_are_stated():
    control = three(used=[True, False, False], reason=["", "no measurement", "no measurement"])
    assert text_of(data_of(control), "Left out") == ["GW-02, GW-03: no measurement"]
    control.loc[2, "easting"] = np.nan
    assert text_of(data_of(control), "Left out") == [
        "GW-02: no measurement",
        "GW-03: no measurement (not drawn: no coordinates)",
    ]


def test_the_caption_tells_day_hours_counts_datum_interval_method_and_moment():
    control = three(kind=["well", "well", "stage"])
    data = data_of(
        control,
        interval_m=0.5,
        method_text="Linear interpolation.",
        cross_validation_m=0.043,
        gradient_text="0.0021 ± 0.0003 m/m towards 145° ± 8°",
        cautions=["Only a test."],
        aquifer_name="Upper gravel",
        known_on=KNOWN_ON,
    )
    assert data.title == "Potentiometric surface, Upper gravel (A1)"
    assert text_of(data, "Levels") == [
        "Levels of 2026-02-11 08:00 to 08:10, local time; 2 wells and 1 gauge used, 0 left out.",
        "Water elevations in m above local datum 1987; contour interval 0.5 m.",
        "Record as known on 2026-04-07 09:30:00 UTC (state 3).",
    ]
    surface = " ".join(text_of(data, "Surface"))
    assert "Linear interpolation." in surface
    assert "root mean square error 0.04 m" in surface
    assert "Gradient 0.0021 ± 0.0003 m/m towards 145° ± 8°." in surface
    assert text_of(data, "Cautions") == ["Only a test."]


def test_levels_of_loggers_have_a_kind_of_their_own_and_are_counted():
    data = data_of(three(source=["manual", "logger", "logger"], used=[True, True, False], reason=["", "", "on hold"]))
    assert [point.kind for point in data.points] == ["well", "logger", "well"]
    assert "2 wells (1 by the logger: GW-02) used, 1 left out." in " ".join(text_of(data, "Levels"))
    marks = [tuple(look(point)[name] for name in ("marker", "markerfacecolor")) for point in data.points]
    assert len(set(marks)) == 3
    assert {mark for mark, _ in marks} == {"o", "D"}


def test_levels_of_two_days_or_without_a_time_are_written_so():
    control = three(measured_at=["2026-02-11", "2026-02-12T09:40+01:00", "2026-02-11T08:00+01:00"])
    assert text_of(data_of(control), "Levels")[0].startswith("Levels of 2026-02-11 to 2026-02-12 09:40, local time")


def test_findings_mark_their_well_and_are_printed_once():
    finding = SimpleNamespace(well="GW-02", text="GW-02 stands 1.2 m above what its neighbours suggest.")
    data = data_of(three(), findings=[finding])
    assert [bool(point.finding) for point in data.points] == [False, True, False]
    assert text_of(data, "Findings (ringed)") == [finding.text]


def test_contours_arrows_and_boundary_become_arrays():
    line = SimpleNamespace(
        level_m=48.768, x=np.array([0.0, 1.0]), y=np.array([0.0, 1.0]), inferred=True, depression=False
    )
    arrow = SimpleNamespace(ends=((0.0, 0.0), (1.0, 2.0)), inferred=False)
    data = data_of(
        three(), contours=[line], arrows=[arrow], boundary=[(0, 0), (4, 0), (4, 3)], interval_m=0.3048, unit="ft"
    )
    assert [(one.level, one.rank, one.inferred) for one in data.contours] == [("160", 160, True)]
    assert data.arrows.tolist() == [[0.0, 0.0, 1.0, 2.0]]
    assert data.boundary[0].tolist() == [[0, 0], [4, 0], [4, 3], [0, 0]]
    assert data_of(three()).boundary == ()


def test_base_layers_take_any_geometry():
    layers = [
        ("lake", shapely.Polygon([(0, 0), (4, 0), (4, 4)], holes=[[(2, 1), (3, 1), (3, 2)]])),
        ("river and marks", [shapely.LineString([(0, 0), (5, 5)]), shapely.MultiPoint([(1, 1), (2, 2)])]),
        ("frame", SimpleNamespace(geometry=[shapely.box(0, 0, 1, 1), None])),
    ]
    lake, river, frame = data_of(three(), layers=layers).layers
    assert len(lake.rings) == 2
    assert (len(river.lines), river.points.tolist()) == (1, [[1.0, 1.0], [2.0, 2.0]])
    assert len(frame.rings) == 1


def test_measured_wells_of_other_aquifers_are_counted_and_not_drawn():
    many = frames.control(np.linspace(412_000, 413_000, 17), np.full(17, 5_333_000.0), np.full(17, 48.0))
    many.loc[3:, "used"] = False
    many.loc[3:, "reason"] = "taps another aquifer: A2"
    data = data_of(many)
    assert len(data.points) == 3
    (line,) = text_of(data, "Left out")
    assert line == "14 wells of other aquifers are not drawn (A2 14)."
    assert "3 wells used, 0 left out" in text_of(data, "Levels")[0]


def test_points_of_rivers_are_counted_and_not_posted():
    control = three()
    control.loc[2, "kind"] = "river"
    data = data_of(control, rivers=[shapely.LineString([(412_000, 5_333_000), (412_500, 5_333_600)])])
    assert [point.name for point in data.points] == control["well"].tolist()[:2]
    assert "2 wells and 1 point of rivers used" in text_of(data, "Levels")[0]
    assert [(layer.kind, len(layer.lines)) for layer in data.layers] == [("river", 1)]


def test_a_first_level_without_time_of_day_leaves_the_day_alone():
    control = three()
    control["measured_at"] = ["2026-02-11", "2026-02-11T18:55+01:00", "2026-02-11"]
    assert text_of(data_of(control), "Levels")[0].startswith("Levels of 2026-02-11, local time")


def test_the_rule_of_the_set_stands_with_the_levels():
    assert text_of(data_of(three(), set_text="One level a well."), "Levels")[-1] == "One level a well."


def test_wrong_use_is_refused():
    with pytest.raises(SettingsError, match="'yd'"):
        data_of(three(), unit="yd")
    with pytest.raises(AnalysisError, match="no map can be drawn"):
        data_of(three(easting=np.nan))


def network(**columns):
    frame = pd.DataFrame(
        {
            "well": ["GW-01", "GW-02", "GW-03", "GW-04"],
            "aquifer": ["A2", "A1", "", "A9"],
            "cluster": ["", "C1", "C1", ""],
            "easting": [412_000.0, 412_100.0, 412_100.0, np.nan],
            "northing": [5_333_000.0, 5_333_100.0, 5_333_100.0, 5_333_000.0],
            "decommissioned_on": [None, None, "2019-01-01", None],
        }
    )
    return frame.assign(**columns)


def test_a_network_map_groups_by_aquifer_in_the_order_of_the_record():
    aquifers = pd.DataFrame({"aquifer": ["A1", "A2"], "name": ["Upper gravel", "Lower gravel"]})
    stages = pd.DataFrame(
        {
            "gauge": ["R1", "R1"],
            "easting": [412_000.0, 412_050.0],
            "northing": [5_333_500.0, 5_333_500.0],
            "measured_at_utc": pd.to_datetime(["2020-01-01", "2021-01-01"], utc=True),
        }
    )
    data = network_plot_data(network(), MapContext(SITE), aquifers=aquifers, stages=stages)
    assert data.groups == (("A1", "Upper gravel (A1)"), ("A2", "Lower gravel (A2)"), ("", "aquifer not on record"))
    assert [well.active for well in data.wells] == [True, True, False]
    assert [(gauge.name, gauge.x) for gauge in data.gauges] == [("R1", 412_050.0)]
    assert text_of(data, "Network") == ["3 wells, 1 cluster."]
    assert text_of(data, "Without coordinates on record") == ["GW-04."]


def test_a_network_without_coordinates_is_refused():
    with pytest.raises(AnalysisError, match="coordinates"):
        network_plot_data(network(easting=np.nan), MapContext(SITE))
