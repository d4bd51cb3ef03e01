"""Drawn maps: labels, contours and furniture, measured by the renderer."""

import dataclasses
import datetime as dt
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest
import shapely
import shapely.affinity

from gwnet.figures.base.page import Box, Page, Words
from gwnet.figures.base.style import new_figure
from gwnet.figures.maps.context import MapContext, Note
from gwnet.figures.maps.frame import cut_words, lay_out, scale_bar_length
from gwnet.figures.maps.geometry import cut_out, distances_along, hachures, label_spots, spot_beside
from gwnet.figures.maps.marks import RADIUS_MM, key_entries
from gwnet.figures.maps.network_map import draw_network_map, network_plot_data
from gwnet.figures.maps.surface_map import draw_surface_map, place_map_labels

from . import frames
from .frames import KNOWN_ON, SITE
from .measure import beyond_page, collisions, overlapping, texts_of, words_of


def ring(radius, middle, level, *, depression=True, inferred=False):
    """Return a round contour."""
    turn = np.linspace(0, 2 * np.pi, 121)
    x, y = middle[0] + radius * np.cos(turn), middle[1] + radius * np.sin(turn)
    x[-1], y[-1] = x[0], y[0]
    return SimpleNamespace(level_m=level, x=x, y=y, inferred=inferred, depression=depression)


def plot_data(count=34, seed=3, extent=2000.0, unit="m", **options):
    """Return a map of wells around a low, with everything on it."""
    x, y = frames.scattered(count, seed, extent)
    middle = (412_000 + extent / 2, 5_333_000 + extent / 2)
    away = np.hypot(x - middle[0], y - middle[1])
    control = frames.control(x, y, 46.0 + away / extent * 4)
    control.loc[1, ["used", "reason", "status"]] = [False, "pumping", "pumping"]
    control.loc[2, ["used", "reason", "status"]] = [False, "dry: head at or below 46.10 m", "dry"]
    control.loc[3, ["kind", "well"]] = ["stage", "River bridge"]
    contours = [
        ring(extent * r, middle, 46.0 + 4 * r, inferred=r > 0.3, depression=r < 0.3) for r in (0.125, 0.25, 0.375)
    ]
    arrows = [
        SimpleNamespace(
            ends=((middle[0] + 200.0 * i, middle[1]), (middle[0] + 200.0 * i - 60, middle[1])), inferred=False
        )
        for i in (-3, -2, 2, 3)
    ]
    hull = shapely.MultiPoint(np.column_stack([x, y])).convex_hull
    return frames.map_data(
        control=control,
        aquifer="A1",
        date=dt.date(2026, 2, 11),
        contours=contours,
        arrows=arrows,
        boundary=hull,
        interval_m=0.5,
        method_text="Linear interpolation on triangles.",
        cross_validation_m=0.04,
        gradient_text="is not significant",
        findings=[SimpleNamespace(well="GW-07", text="GW-07 stands 0.9 m above what its neighbours suggest.")],
        cautions=["Interpolated from levels at wells."],
        site=SITE,
        known_on=KNOWN_ON,
        unit=unit,
        **options,
    )


def placed(data, size=(180.0, 240.0)):
    page = Page(new_figure(size))
    extent = np.array([(point.x, point.y) for point in data.points if point.placed])
    sheet = lay_out(page, extent, data.notes, key_entries(data))
    return sheet, place_map_labels(data, sheet.frame)


@pytest.mark.parametrize("size", [(180.0, 240.0), (170.0, 165.0), (267.0, 180.0)])
@pytest.mark.parametrize("extent", [2000.0, 150.0])
def test_every_point_is_posted_and_no_label_meets_another_or_a_point(size, extent):
    data = plot_data(extent=extent)
    sheet, posted = placed(data, size)
    assert len(posted) == 34
    boxes = [one.label.box for one in posted if one.label]
    assert len(boxes) == 34
    assert overlapping(boxes) == []
    points = [Box(one.x - RADIUS_MM, one.y - RADIUS_MM, 2 * RADIUS_MM, 2 * RADIUS_MM) for one in posted]
    assert [pair for pair in overlapping([*boxes, *points]) if pair[0] < 34 <= pair[1]] == []
    panel = sheet.frame.panel
    assert all(panel.left <= b.left and b.right <= panel.right for b in boxes)
    assert all(panel.bottom <= b.bottom and b.top <= panel.top for b in boxes)


def test_the_letters_stay_within_the_boxes_that_were_kept_free_for_them():
    data = plot_data()
    _, posted = placed(data)
    figure = draw_surface_map(data)
    measured = {text.get_text(): box for text, box in texts_of(figure) if text.get_transform().is_separable}
    for one in posted:
        name = measured[one.name]
        assert name.width <= one.label.box.width + 0.1
        assert name.left >= one.label.box.left - 0.1
        assert name.right <= one.label.box.right + 0.1
        assert name.top <= one.label.box.top + 0.6


@pytest.mark.parametrize("size", [(180.0, 240.0), (170.0, 165.0), (267.0, 180.0)])
@pytest.mark.parametrize("unit", ["m", "ft"])
def test_no_text_of_a_map_meets_another_or_leaves_the_page(size, unit):
    figure = draw_surface_map(plot_data(unit=unit), size_mm=size)
    assert collisions(figure) == []
    assert beyond_page(figure) == []


def test_every_fact_that_a_map_must_carry_is_on_it():
    words = " ".join(words_of(draw_surface_map(plot_data(aquifer_name="Upper gravel"))))
    for fact in (
        "Potentiometric surface, Upper gravel (A1)",
        "Sandhaven gravel plain",
        "2026-02-11 08:00 to",
        "local datum 1987",
        "contour interval 0.5 m",
        "EPSG:25833",
        "Linear interpolation on triangles.",
        "root mean square error 0.04 m",
        "Gradient is not significant.",
        "GW-02: pumping",
        "GW-03: dry",
        "GW-07 stands 0.9 m above",
        "Interpolated from levels at wells.",
        "Record as known on",
        "inferred",
        "closed low",
        "River bridge",
    ):
        assert fact in words, fact
    assert "N" in words_of(draw_surface_map(plot_data()))


@pytest.mark.slow
def test_the_key_tells_barriers_rivers_ground_and_base_layers():
    middle = (413_000.0, 5_334_000.0)
    line = shapely.LineString([(middle[0] - 900, middle[1] - 800), (middle[0] + 900, middle[1] + 500)])
    layers = [(f"layer {number}", line.buffer(20.0 + number)) for number in range(7)]
    data = plot_data(
        layers=[*layers[:1], ("roads", line), ("marks", shapely.Point(middle)), *layers[1:]],
        barriers=[shapely.affinity.rotate(line, 70)],
        rivers=[line],
        above_ground=shapely.Point(middle).buffer(200),
    )
    words = [entry.label for entry in key_entries(data)]
    assert words[-8:] == [
        "barrier",
        "river, its heads are control",
        "head above ground",
        "layer 0",
        "roads",
        "marks",
        "layer 1",
        "layer 2",
    ]
    figure = draw_surface_map(data)
    assert collisions(figure) == []
    assert beyond_page(figure) == []
    for word in words:
        assert word in words_of(figure)
    assert not {"barrier", "head above ground"} & {entry.label for entry in key_entries(plot_data())}


def test_the_brief_text_leaves_method_and_cautions_to_the_page():
    words = " ".join(words_of(draw_surface_map(plot_data(), size_mm=(170.0, 165.0), full_text=False)))
    assert "local datum 1987" in words
    assert "GW-02: pumping" in words
    assert "Linear interpolation" not in words


def test_names_with_markup_are_shown_as_text_and_long_ones_in_full_below():
    x, y = frames.scattered(4, 1)
    names = ["$x_1$ <b>b</b>", "GW_3^a & \\alpha", "A very long name of a well near the mill by the river", "E"]
    data = frames.map_data(
        control=frames.control(x, y, [47.0, 47.5, 48.0, 48.2], well=names), aquifer="$A$", date=dt.date(2026, 2, 11)
    )
    figure = draw_surface_map(data)
    words = words_of(figure)
    assert "$x_1$ <b>b</b>" in words
    assert "GW_3^a & \\alpha" in words
    assert "A very long name of a well near the mill by the river" in words
    assert all(not text.get_parse_math() for text, _ in texts_of(figure) if "$" in text.get_text())


@pytest.mark.slow
def test_a_list_too_long_for_the_page_is_cut_and_says_so():
    x, y = frames.scattered(150, 2)
    control = frames.control(x, y, 48 + (x - 412_000) / 2000)
    control.loc[4:, "used"] = False
    control["reason"] = [f"reason number {i} that is a little longer than others" for i in range(150)]
    figure = draw_surface_map(
        frames.map_data(control=control, aquifer="A1", date=dt.date(2026, 2, 11)), size_mm=(170.0, 165.0)
    )
    words = words_of(figure)
    assert "there is no room for them here" in " ".join(words)
    assert beyond_page(figure) == []
    listed = sum("reason number" in word for word in words)
    more = next(word for word in words if word.startswith("… and "))
    assert int(more.split()[2]) == 146 - listed


def test_what_found_no_room_is_counted_in_wells_and_not_in_pieces_of_text():
    """104 wells without a slope were "4 more"."""
    names = tuple(f"GW-{number:03}" for number in range(104))
    words = [Words("Facts"), Words("Without a slope (dots)", bold=True), Words(", ".join(names), wells=104)]
    assert cut_words(words, 80.0, 12.0, 6.0)[-1].text.startswith("… and 104 more wells: there is no room")
    assert cut_words([Words("Facts. " * 200)], 80.0, 12.0, 6.0)[-1].text.startswith("… and more: ")


def test_coordinates_are_written_in_full():
    words = words_of(draw_surface_map(plot_data()))
    assert any(word.startswith("5\u00a0333\u00a0") for word in words)
    assert any(word.startswith("412\u00a0") for word in words)
    assert not any("e6" in word or "1e" in word for word in words)


@pytest.mark.parametrize(
    ("metres_per_mm", "unit", "expected"),
    [(1.0, "m", (20.0, "m")), (50.0, "m", (1.0, "km")), (5.0, "ft", (500.0, "ft")), (200.0, "ft", (2.0, "mi"))],
)
def test_the_scale_bar_has_a_round_length_that_fits(metres_per_mm, unit, expected):
    length, name, size = scale_bar_length(metres_per_mm, unit, 36.0)
    assert (length, name) == expected
    metres = {"m": 1.0, "km": 1000.0, "ft": 0.3048, "mi": 1609.344}[name]
    assert size == pytest.approx(length * metres / metres_per_mm)
    assert 36.0 / 2.6 < size <= 36.0


def circle(radius=20.0, middle=(50.0, 50.0)):
    turn = np.linspace(0, 2 * np.pi, 181)
    xy = np.column_stack([middle[0] + radius * np.cos(turn), middle[1] + radius * np.sin(turn)])
    xy[-1] = xy[0]
    return xy


def test_a_level_stands_in_its_line_and_the_line_is_interrupted_there():
    xy = circle()
    room = Box(0.0, 0.0, 100.0, 100.0)
    spots = label_spots(xy, 7.0, 2.0, room, np.empty((0, 4)), np.empty((0, 2)))
    assert spots
    for spot in spots:
        assert np.hypot(spot.x - 50, spot.y - 50) == pytest.approx(20.0, abs=0.1)
        assert -90 < spot.angle_deg <= 90
    total = distances_along(xy)[-1]
    pieces = cut_out(xy, [(spot.start, spot.end) for spot in spots])
    left = sum(distances_along(piece)[-1] for piece in pieces)
    assert left == pytest.approx(total - sum(spot.end - spot.start for spot in spots))


def test_levels_keep_clear_of_labels_and_other_levels():
    xy = np.column_stack([np.linspace(0, 100, 101), np.full(101, 50.0)])
    room = Box(0.0, 0.0, 100.0, 100.0)
    blocked = np.array([(30.0, 40.0, 70.0, 60.0)])
    (spot, *_) = label_spots(xy, 8.0, 2.0, room, blocked, np.empty((0, 2)))
    assert spot.end < 30.0 or spot.start > 70.0
    (moved, *_) = label_spots(xy, 8.0, 2.0, room, blocked, np.array([(spot.x, spot.y)]))
    assert abs(moved.x - spot.x) > 8.0
    assert label_spots(xy[:8], 8.0, 2.0, room, blocked, np.empty((0, 2))) == []
    assert label_spots(xy, 8.0, 2.0, Box(0, 0, 100, 50.5), blocked, np.empty((0, 2))) == []


def test_a_piece_too_short_for_its_level_has_it_beside():
    xy = np.array([(40.0, 50.0), (44.0, 50.0)])
    room, nothing = Box(0.0, 0.0, 100.0, 100.0), np.empty((0, 2))
    assert label_spots(xy, 7.0, 2.0, room, np.empty((0, 4)), nothing) == []
    spot = spot_beside(xy, 7.0, 2.0, room, np.empty((0, 4)), nothing)
    assert (spot.x, abs(spot.y - 50.0)) == pytest.approx((42.0, 1.6))
    assert spot.start == spot.end
    other = spot_beside(xy, 7.0, 2.0, room, np.array([(35.0, spot.y - 1, 50.0, spot.y + 1)]), nothing)
    assert (other.y > 50.0) != (spot.y > 50.0)
    assert spot_beside(xy, 7.0, 2.0, Box(41.0, 0.0, 3.0, 100.0), np.empty((0, 4)), nothing) is None


@pytest.mark.parametrize("turned", [1, -1])
def test_ticks_of_a_low_point_inward_whichever_way_the_line_runs(turned):
    ticks = hachures(circle()[::turned], 3.0, 1.1, [(0.0, 10.0)], (50.0, 50.0))
    inner = np.hypot(ticks[:, 1, 0] - 50, ticks[:, 1, 1] - 50)
    assert inner == pytest.approx(np.full(len(ticks), 18.9), abs=0.05)
    assert len(ticks) < round(2 * np.pi * 20 / 3.0)


@pytest.mark.parametrize("turned", [1, -1])
def test_ticks_of_an_open_piece_point_to_the_low(turned):
    arc = circle()[20:70][::turned]
    ticks = hachures(arc, 3.0, 1.1, [], (50.0, 50.0))
    assert (np.hypot(ticks[:, 1, 0] - 50, ticks[:, 1, 1] - 50) < 19.5).all()


def network():
    x, y = frames.scattered(24, 9, 3000.0)
    rows = [
        {
            "well": f"GW-{i + 1:02d}{'abc'[j] if i % 6 == 0 else ''}",
            "aquifer": f"A{(i + j) % 3 + 1}",
            "cluster": f"C{i}" if i % 6 == 0 else "",
            "easting": x[i],
            "northing": y[i],
            "decommissioned_on": "2019-01-01" if i == 5 else None,
        }
        for i in range(24)
        for j in range(3 if i % 6 == 0 else 1)
    ]
    return pd.DataFrame(rows)


@pytest.mark.parametrize("size", [(170.0, 145.0), (180.0, 240.0), (267.0, 180.0)])
def test_a_network_map_names_every_well_without_collision_and_each_cluster_once(size):
    wells = network()
    figure = draw_network_map(network_plot_data(wells, MapContext(SITE)), size_mm=size)
    words = words_of(figure)
    assert set(wells.loc[wells["cluster"] == "", "well"]) <= set(words)
    assert {word for word in words if "," in word and word.startswith("GW-")} == {
        f"GW-{number:02d} {', '.join(order)}" for number, order in ((1, "abc"), (7, "abc"), (13, "abc"), (19, "abc"))
    }
    assert collisions(figure) == []
    assert beyond_page(figure) == []
    assert f"A1: {(wells['aquifer'] == 'A1').sum()}" in words


def test_cautions_are_never_cut_while_a_wider_column_or_more_text_below_can_hold_them():
    x, y = frames.scattered(12, 3)
    control = frames.control(x, y, 48 + (x - 412_000) / 2000)
    data = frames.map_data(control=control, aquifer="A1", date=dt.date(2026, 2, 11))
    cautions = tuple(
        f"Caution number {number} takes a line or two of the column beside the map." for number in range(18)
    )
    data = dataclasses.replace(data, notes=(*data.notes, Note("Cautions", cautions, brief=False)))
    figure = draw_surface_map(data, size_mm=(174.0, 150.0))
    words = " ".join(words_of(figure))
    assert "no room for them" not in words
    assert words.count("Caution number") == 18
    assert beyond_page(figure) == []


def test_lists_of_wells_are_cut_before_anything_else():
    """A list of wells is in the tables as well; what a reader must know is said once."""
    x, y = frames.scattered(150, 2)
    control = frames.control(x, y, 48 + (x - 412_000) / 2000)
    control.loc[4:, "used"] = False
    control["reason"] = [f"reason number {i} that is a little longer than others" for i in range(150)]
    data = frames.map_data(control=control, aquifer="A1", date=dt.date(2026, 2, 11))
    data = dataclasses.replace(data, notes=(*data.notes, Note("Cautions", ("The river was in flood.",), brief=False)))
    words = " ".join(words_of(draw_surface_map(data, size_mm=(170.0, 165.0))))
    assert "there is no room for them here" in words
    assert "The river was in flood." in words
