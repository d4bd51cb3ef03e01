"""Which labels a crowded map carries, names of places, and maps of hundreds of wells without a collision."""

import math

import numpy as np
import pandas as pd
import pytest

from gwnet.figures.base.page import Box
from gwnet.figures.base.placement import PlacedLabel
from gwnet.figures.maps.context import MOST_LABELS, MapContext
from gwnet.figures.maps.labels import choose_labelled, group_places, is_far, join_names, split_basins
from gwnet.figures.maps.network_map import draw_network_map, network_plot_data
from gwnet.figures.maps.surface_map import draw_surface_map, extent_of
from gwnet.figures.maps.trend_map import draw_slope_map, slope_map_plot_data

from ..large_network import place_wells
from . import frames
from .measure import beyond_page, collisions, texts_of, words_of

SITE = {"site": "S", "name": "", "crs": "EPSG:25832", "vertical_datum": "local", "time_zone": "UTC+01:00"}


@pytest.mark.parametrize(
    ("names", "joined"),
    [
        (["MW-12-U", "MW-12-M", "MW-12-L"], "MW-12 U, M, L"),
        (["MW12A", "MW12B"], "MW12 A, B"),
        (["W-01", "W-02"], "W-01, W-02"),
        (["MW-1", "MW-1A"], "MW-1, MW-1A"),
        (["N1", "P-7"], "N1, P-7"),
        (["A 1-a"] * 2, "A 1-a"),
        ([], ""),
        ([f"P9-{n}" for n in range(1, 9)], "P9 1, 2, 3, 4, 5, and 3 more"),
    ],
)
def test_wells_of_a_place_are_named_once(names, joined):
    assert join_names(names) == joined


def test_few_points_are_all_labelled_and_of_many_the_first_the_extreme_the_outermost_and_a_spread():
    random = np.random.default_rng(3)
    places, values = random.uniform(0, 100, (400, 2)), random.normal(0, 1, 400)
    first = np.zeros(400, dtype=bool)
    first[[17, 230]] = True
    assert choose_labelled(places[:60], values[:60], first[:60], 60).all()
    chosen = choose_labelled(places, values, first, 60)
    assert chosen.sum() == 60
    assert chosen[first].all()
    assert chosen[np.argsort(values)[[0, 1, 2, -1, -2, -3]]].all()
    corners = [int(np.argmin(places[:, 0])), int(np.argmax(places[:, 0])), int(np.argmax(places[:, 1]))]
    assert chosen[corners].all()
    to_nearest = np.hypot(*(places[:, None] - places[chosen][None]).transpose(2, 0, 1)).min(axis=1)
    assert to_nearest.max() < 14.0, "a part of the map has no label"
    assert np.array_equal(chosen, choose_labelled(places, values, first, 60))


def test_values_that_are_not_known_are_no_extremes():
    places = np.column_stack([np.arange(9.0), np.arange(9.0) % 3])
    chosen = choose_labelled(places, [math.nan] * 9, [False] * 9, 4)
    assert chosen.sum() == 4


def test_points_of_one_place_are_found_in_order():
    places = np.array([[0.0, 0.0], [5.0, 0.0], [0.1, 0.1], [5.0, 0.2], [9.0, 9.0]])
    assert group_places(places, 0.5) == [[0, 2], [1, 3], [4]]
    assert group_places(np.empty((0, 2))) == []


def test_a_label_is_far_by_the_length_of_its_line():
    box = Box(0.0, 0.0, 4.0, 2.0)
    assert not is_far(None)
    assert not is_far(PlacedLabel(box))
    assert not is_far(PlacedLabel(box, ((0.0, 0.0), (8.9, 0.0))))
    assert is_far(PlacedLabel(box, ((0.0, 0.0), (9.1, 0.0))))


def test_basins_far_apart_are_split_and_one_field_is_not():
    wells = place_wells(160)
    places = np.array([(well["east"], well["north"]) for well in wells])
    inner, outer = split_basins(places)
    assert [wells[i]["well"][:2] for i in (inner[0], outer[0])] == ["MW", "OB"]
    assert sorted((*inner, *outer)) == list(range(160))
    assert {wells[i]["aquifer"] for i in outer} == {"outer"}
    assert split_basins(places[inner]) == [list(range(len(inner)))]
    assert split_basins(np.array([[0.0, 0.0], [1.0, 0.0], [90_000.0, 0.0]])) == [[0, 1, 2]], "so few need one map"
    assert split_basins(np.zeros((20, 2))) == [list(range(20))]


def control(wells):
    """Return the control of one aquifer from wells of the large network; those of clusters share their place."""
    east, north = (np.array([well[name] for well in wells]) for name in ("east", "north"))
    frame = frames.control(east + 400_000, north + 5_300_000, 90.0 - east / 900.0 + np.sin(north / 700.0))
    return frame.assign(well=[well["well"] for well in wells])


def crowded():
    """Return a map of 300 wells with others of clusters left out, and one left out far away."""
    wells = [well for well in place_wells(460) if well["aquifer"] != "outer"][:300]
    frame = control(wells)
    seconds = frame["well"].str.endswith(("-M", "-L"))
    frame.loc[seconds, "used"] = False
    frame.loc[seconds, "reason"] = "one well a place: another stands for it (longer screen)"
    frame.loc[5, ["used", "reason", "easting"]] = [False, "pumping", 700_000.0]
    return frames.map_data(frame)


@pytest.mark.slow
@pytest.mark.parametrize("size", [(170.0, 160.0), (180.0, 240.0), (267.0, 180.0)])
def test_a_map_of_hundreds_of_wells_has_no_label_on_another_and_none_beyond_its_frame(size):
    data = crowded()
    figure = draw_surface_map(data, size_mm=size)
    assert collisions(figure) == []
    assert beyond_page(figure) == []
    words = words_of(figure)
    names = [word for word in words if word.startswith("MW-") and ":" not in word and "more" not in word]
    named = [word for word in names if len(word) < 22]
    assert 20 <= len(named) <= MOST_LABELS
    assert any(word.endswith((" M, L", " L, M")) or ", " in word for word in named)
    panel = figure.axes[0].get_window_extent()
    scale = 25.4 / figure.dpi
    for text, box in texts_of(figure):
        if text.get_text() in named:
            assert box.left >= panel.x0 * scale - 0.3
            assert box.right <= panel.x1 * scale + 0.3
    whole = " ".join(words)
    assert "wells are drawn without a label" in whole
    assert "1 well that was left out lies" in whole


def test_the_frame_is_that_of_the_control_and_not_of_a_well_far_away():
    data = crowded()
    extent = extent_of(data)
    used = np.array([(point.x, point.y) for point in data.points if point.used])
    span = used.max(axis=0) - used.min(axis=0)
    assert (extent.max(axis=0) - extent.min(axis=0) <= span * 1.35).all()
    assert extent[:, 0].max() < 500_000


def network_frame(count):
    wells = [well for well in place_wells(count) if well["aquifer"] != "outer"]
    return pd.DataFrame(
        {
            "well": [well["well"] for well in wells],
            "aquifer": [well["aquifer"] for well in wells],
            "cluster": [well["cluster"] for well in wells],
            "easting": [well["east"] for well in wells],
            "northing": [well["north"] for well in wells],
        }
    )


def test_a_network_map_of_hundreds_of_wells_counts_those_without_a_label():
    wells = network_frame(640)
    figure = draw_network_map(network_plot_data(wells, MapContext(SITE)), size_mm=(170.0, 145.0))
    assert collisions(figure) == []
    assert beyond_page(figure) == []
    whole = " ".join(words_of(figure))
    assert f"of {len(wells)} wells are drawn without a label" in whole
    assert "no room for them" not in whole


@pytest.mark.slow
def test_a_map_of_hundreds_of_significant_trends_labels_a_part_of_them():
    wells = network_frame(460)
    random = np.random.default_rng(2)
    slopes = random.normal(0, 0.05, len(wells))
    table = pd.DataFrame(
        {
            "well": wells["well"],
            "slope_m_per_year": slopes,
            "direction": np.where(slopes > 0, "rising", "falling"),
            "n": 40,
            "first": "2015-01-01",
            "last": "2025-01-01",
        }
    )
    figure = draw_slope_map(slope_map_plot_data(table, wells, MapContext(SITE)))
    assert collisions(figure) == []
    assert beyond_page(figure) == []
    steepest = wells["well"][int(np.argmax(slopes))]
    assert "wells are drawn without their name" in " ".join(words_of(figure))
    assert sum(word in set(wells["well"]) for word in words_of(figure)) <= 70
    assert steepest


def test_two_used_wells_side_by_side_keep_a_label_each():
    wells = [well for well in place_wells(60) if well["aquifer"] != "outer"]
    frame = control(wells)
    frame.loc[1, ["easting", "northing"]] = frame.loc[0, ["easting", "northing"]].to_numpy() + 3.0
    words = words_of(draw_surface_map(frames.map_data(frame)))
    assert {frame["well"][0], frame["well"][1]} <= set(words)
