"""Many wells without a measurement are dots without labels; a pumped well never squeezes its group."""

import datetime as dt

import numpy as np
import pandas as pd
import pytest

from gwnet.figures.hydrograph.events import LONGEST_BRIDGE_DAYS, longest_gap
from gwnet.figures.hydrograph.span import Span, common_span, vertical_limits
from gwnet.figures.maps.surface_map import draw_surface_map

from . import frames


def control(unmeasured):
    rows = [
        {"well": f"U{n}", "easting": 100.0 * n, "northing": 50.0 * (n % 3), "measured_at": "2026-02-17", "used": True}
        for n in range(6)
    ]
    rows += [
        {"well": f"N{n}", "easting": 5000.0 + n, "northing": 9000.0, "measured_at": "", "used": False}
        for n in range(unmeasured)
    ]
    table = pd.DataFrame(rows)
    table["kind"], table["status"] = "well", "static"
    table["water_elevation_m"] = np.where(table["used"], 50.0 + table["easting"] / 1000.0, np.nan)
    table["uncertainty_m"] = 0.01
    table["reason"] = np.where(table["used"], "", "no measurement on the date")
    return table


@pytest.mark.parametrize(("unmeasured", "quiet"), [(3, 0), (40, 40)])
def test_many_unmeasured_wells_are_quiet(unmeasured, quiet):
    data = frames.map_data(control=control(unmeasured), aquifer="upper", date=dt.date(2026, 2, 17))
    assert sum(point.quiet for point in data.points) == quiet
    assert not any(point.quiet and point.used for point in data.points)


def test_quiet_wells_are_stated_in_the_text_but_not_labelled():
    data = frames.map_data(control=control(40), aquifer="upper", date=dt.date(2026, 2, 17))
    figure = draw_surface_map(data)
    texts = [text.get_text() for text in figure.findobj() if hasattr(text, "get_text")]
    assert "U3" in texts
    assert "N7" not in texts
    assert any("N7" in line for note in data.notes for line in note.lines)


def levels(well, elevations, status):
    return pd.DataFrame(
        {
            "well": well,
            "site": "S",
            "status": status,
            "bound": "",
            "usable": [word == "static" for word in status],
            "quality": "good",
            "review": "approved",
            "water_elevation_m": elevations,
        }
    )


def test_a_pumped_well_does_not_stretch_the_span_of_its_group():
    quiet = levels("W", [50.0, 50.8, 50.2], ["static"] * 3)
    pumped = levels("P", [50.1, 42.0, 43.0], ["static", "pumping", "pumping"])
    assert common_span([quiet, pumped]).height_m < 2.0


def test_a_far_outlier_does_not_stretch_the_span_of_its_group():
    steady = 50.0 + 0.3 * np.sin(np.arange(12.0))
    sound = levels("W", steady, ["static"] * 12)
    faulty = levels("V", np.append(steady[:-1], 40.0), ["static"] * 12)
    assert common_span([sound, faulty]) == common_span([sound, levels("V", steady, ["static"] * 12)])
    few = levels("U", [50.0, 50.1, 46.0], ["static"] * 3)
    assert common_span([sound, few]).height_m > 4.0


def test_a_pumped_well_gets_a_span_of_its_own():
    elevation = np.array([50.1, 42.0, 43.0])
    kind = np.array(["level", "pumping", "pumping"], dtype=object)
    low, high = vertical_limits(elevation, kind, np.empty(0), (), Span(1.5, 49.5), "m")
    assert low < 42.0 < 50.1 < high
    assert vertical_limits(elevation[:1], kind[:1], np.empty(0), (), Span(1.5, 49.5), "m") == (49.5, 51.0)


def test_a_line_never_bridges_many_years():
    days = np.array([0.0, 2000.0, 4000.0])
    assert longest_gap(days, np.array(["level"] * 3, dtype=object), None) == LONGEST_BRIDGE_DAYS
    assert longest_gap(days, np.array(["level"] * 3, dtype=object), 5000.0) == 5000.0


@pytest.mark.slow
def test_only_the_lowest_panel_names_the_years():
    from gwnet.figures.hydrograph.draw import draw_hydrograph, hydrograph_plot_data

    days = pd.date_range("2020-01-15", periods=12, freq="90D", tz="UTC")
    table = levels("W", np.linspace(50.0, 51.0, 12), ["static"] * 12)
    table["measured_at"] = days.strftime("%Y-%m-%dT%H:%M+00:00")
    table["measured_at_utc"], table["time_known"] = days, True
    table["day"] = days.tz_localize(None).normalize()
    table["uncertainty_m"], table["finding"], table["aquifer"] = 0.01, "", "upper"
    context = pd.concat(
        pd.DataFrame(
            {"series": name, "quantity": name, "unit": "mm", "date": days.date, "value": 10.0, "site": "S", "notes": ""}
        )
        for name in ("rainfall", "abstraction")
    )
    site = {"site": "S", "name": "Site", "vertical_datum": "local", "time_zone": "UTC"}
    figure = draw_hydrograph(hydrograph_plot_data(table, "W", site=site, context=context))
    named = [axes for axes in figure.axes if any(label.get_text() for label in axes.get_xticklabels())]
    assert len(figure.axes) >= 3
    assert len([axes for axes in named if axes.get_xlabel() == ""]) == 1
