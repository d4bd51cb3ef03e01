"""What heads cannot pass: ground, bounds of wells, base of the unit, barriers, edges; constructed, by hand."""

import dataclasses
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest
import shapely

from gwnet.analysis.maps.bounds import above_base, above_ground, against_bounds
from gwnet.analysis.maps.compartments import CompartmentSurface, compartments_of, main_surface, polygons
from gwnet.analysis.maps.features import MapFeatures
from gwnet.analysis.maps.parts import Making, Part, joined, make_parts
from gwnet.analysis.maps.result import Control
from gwnet.errors import SettingsError, TooFewLevelsError
from gwnet.hydro.surfaces import triangulation
from gwnet.hydro.surfaces.contours import ContourLine
from gwnet.hydro.surfaces.surface import Grid
from gwnet.hydro.surfaces.variogram import Covariance

CORNERS = np.array([[0.0, 0.0], [4.0, 0.0], [4.0, 3.0], [0.0, 3.0]])


def grid_of(x, y, heads):
    heads = np.broadcast_to(np.asarray(heads, dtype=float), (len(y), len(x))).copy()
    return Grid(np.asarray(x, dtype=float), np.asarray(y, dtype=float), heads, heads, CORNERS)


def ground_control(ground):
    """Return wells at the corners of 4 by 3 m, one of them twice, with their ground."""
    rows = pd.DataFrame(CORNERS, columns=["easting", "northing"]).assign(ground_elevation_m=ground)
    return pd.concat([rows, rows.iloc[:1]], ignore_index=True)


def test_heads_above_the_ground_are_marked_with_how_high_and_how_far():
    """The ground rises from 10 m by 0.25 m a metre eastward; heads of 10.5 m stand above it as far as x = 2.

    Beyond the wells the ground is not known, though the grid has heads there.
    """
    control = ground_control(10.0 + 0.25 * CORNERS[:, 0])
    area, text = above_ground(control, grid_of(range(-1, 6), range(-1, 5), 10.5), "m")
    assert area.equals(shapely.box(0.0, 0.0, 2.0, 3.0))
    assert text == (
        "Heads are up to 0.50 m above the ground as interpolated between wells, over 40% of the control (marked): wells "
        "there would flow, or the ground is higher than between the wells."
    )
    for heads, ground in ((10.0, 10.0), (9.0, 10.0), (10.0, np.nan)):
        assert above_ground(ground_control(ground), grid_of(range(5), range(4), heads), "m") == (None, "")


def test_an_area_above_the_ground_may_have_a_hole_and_several_parts():
    """Above by half a metre but for two nodes that lie as much below: a rhombus of half a square metre about each."""
    x, y = range(11), range(5)
    heads = np.full((5, 11), 10.5)
    heads[2, 2] = heads[2, 5] = 9.5
    heads[:, 8] = 9.5
    corners = np.array([[0.0, 0.0], [10.0, 0.0], [10.0, 4.0], [0.0, 4.0]])
    control = pd.DataFrame(corners, columns=["easting", "northing"]).assign(ground_elevation_m=10.0)
    area, text = above_ground(control, grid_of(x, y, heads), "ft")
    assert sorted(part.area for part in area.geoms) == pytest.approx([1.5 * 4.0, 7.5 * 4.0 - 1.0])
    assert text.startswith("Heads are up to 1.64 ft above the ground as interpolated between wells, over 87% of")


def bound_rows(*rows):
    columns = ["well", "bound", "water_elevation_m", "uncertainty_m", "easting", "northing", "used", "reason"]
    return pd.DataFrame(list(rows), columns=columns)


def test_a_surface_contradicts_bounds_by_more_than_their_half_width():
    """The surface stands at 10 m + 0.25 x; a dry well below it and a flowing one above it cannot be."""
    surface = triangulation.fit(*CORNERS.T, 10.0 + 0.25 * CORNERS[:, 0])
    control = bound_rows(
        ("A", "<=", 10.0, 0.25, 2.0, 1.0, False, "dry"),  # drawn at 10.5
        ("B", ">=", 11.0, 0.25, 2.0, 2.0, False, "flowing"),
        ("C", "<=", 10.25, 0.25, 2.0, 1.5, False, "dry"),  # by its half-width and no more
        ("D", "<=", 10.0, 0.25, 2.0, 1.0, True, ""),
        ("E", "", 10.0, 0.25, 2.0, 1.0, False, "pumping"),
        ("F", "<=", np.nan, 0.25, 2.0, 1.0, False, "dry"),
        ("G", "<=", 10.0, 0.25, 2.0, np.nan, False, "dry"),
        ("H", "<=", 10.0, 0.25, 2.0, 1.0, False, "taps another aquifer: lower"),
        ("I", "<=", 10.375, np.nan, 2.0, 1.0, False, "dry"),  # no half-width known
        ("J", "<=", 9.0, 0.25, 9.0, 1.0, False, "dry"),  # beyond the control
        ("K", "<=", 12.0, 0.25, 2.0, 1.0, False, "dry"),
        ("L", ">=", 9.0, 0.25, 2.0, 1.0, False, "flowing"),
    )
    told, text = against_bounds(control, surface, "m")
    changed = dict(zip(told["well"], told["reason"], strict=True))
    expected = dict(zip(control["well"], control["reason"], strict=True))
    expected |= {
        "A": "dry; the surface is drawn 0.50 m above",
        "B": "flowing; the surface is drawn 0.50 m below",
        "I": "dry; the surface is drawn 0.12 m above",
    }
    assert changed == expected
    assert text == (
        "The surface contradicts wells that are no control: A (<= 10.00 m, drawn 10.50 m), B (>= 11.00 m, drawn 10.50 m), "
        "I (<= 10.38 m, drawn 10.50 m). There it is not to be relied on; check these wells, and measure between them and "
        "the control."
    )
    assert control["reason"].tolist()[0] == "dry", "the control that was given stays"
    for rows in (control.iloc[2:8], control.iloc[3:5], control.drop(columns="bound")):
        same, nothing = against_bounds(rows, surface, "m")
        assert (same is rows, nothing) == (True, "")


def line_at(level):
    return ContourLine(level, np.array([0.0, 1.0]), np.array([0.0, 1.0]), False, False)


def test_nothing_is_drawn_at_or_below_the_base():
    grid = grid_of(range(3), range(2), [[1.0, 2.0, 3.0], [np.nan, 2.5, 4.0]])
    lines = tuple(line_at(level) for level in (1.5, 2.0, 2.5))
    above, kept, text = above_base(grid, lines, 2.0, "m")
    expected = [[np.nan, np.nan, 3.0], [np.nan, 2.5, 4.0]]
    assert np.array_equal(above.water_elevation_m, expected, equal_nan=True)
    assert [line.level_m for line in kept] == [2.5]
    assert text == (
        "The surface falls to or below the base of the unit at 2.00 m over 40% of the control; nothing is drawn there."
    )
    for base in (np.nan, 0.5):
        assert above_base(grid, lines, base, "m") == (grid, lines, "")


def test_only_areas_of_a_geometry_are_kept():
    half, unit = shapely.box(0, 0, 1, 0.5), shapely.box(2, 0, 3, 1)
    line = shapely.LineString([(5, 5), (6, 6)])
    assert polygons(half) is half
    assert polygons(shapely.GeometryCollection([line, half])).equals(half)
    both = polygons(shapely.GeometryCollection([half, line, unit]))
    assert (both.geom_type, both.area) == ("MultiPolygon", 1.5)
    assert polygons(line).is_empty


def levels_at(*places):
    x, y = np.array(places, dtype=float).T
    names = [f"W{k}" for k in range(len(x))]
    z = 40.0 - 0.002 * x + 0.001 * y
    return Control(names, x, y, z, np.full(len(x), 0.02), 0, np.ones(len(x), dtype=bool))


#: Two groups of wells, west and east of x = 500; the extent is 1000 m.
WEST = ((0, 0), (0, 600), (200, 300), (400, 50), (350, 580))
EAST = ((1000, 0), (980, 600), (700, 310), (650, 100))
FAULT = shapely.LineString([(500, -300), (500, 900)])


def test_the_compartment_with_most_levels_comes_first_and_a_barrier_that_cuts_ends_nowhere_inside():
    found, alone = compartments_of(levels_at(*EAST, *WEST), MapFeatures(barriers=(FAULT,)))
    assert [compartment.positions.tolist() for compartment in found] == [[4, 5, 6, 7, 8], [0, 1, 2, 3]]
    assert [compartment.barriers for compartment in found] == [None, None]
    assert [compartment.lines for compartment in found] == [(), ()]
    assert alone == {}
    assert found[0].region.equals(shapely.MultiPoint(WEST).convex_hull)


@pytest.mark.parametrize(
    ("east", "reason"),
    [
        (((1000, 0), (980, 600)), "no surface: only 2 levels of its compartment can be used"),
        (((1000, 0), (900, 300), (800, 600)), "no surface: the levels of its compartment lie on one line"),
    ],
)
def test_levels_of_a_compartment_that_makes_no_surface_have_that_reason(east, reason):
    found, alone = compartments_of(levels_at(*WEST, *east), MapFeatures(barriers=(FAULT,)))
    assert len(found) == 1
    assert alone == {5 + k: reason for k in range(len(east))}
    with pytest.raises(TooFewLevelsError, match="No compartment between the barriers has three levels"):
        compartments_of(levels_at(*WEST[:2], *east), MapFeatures(barriers=(FAULT,)))


def test_a_boundary_leaves_out_the_compartments_beyond_it():
    west = shapely.box(-100, -100, 300, 700)
    found, alone = compartments_of(levels_at(*WEST, *EAST), MapFeatures(barriers=(FAULT,), boundary=west))
    assert [compartment.positions.tolist() for compartment in found] == [[0, 1, 2, 3, 4]]
    assert found[0].region.equals(shapely.MultiPoint(WEST).convex_hull & west)
    assert alone == dict.fromkeys(range(5, 9), "no surface: its compartment lies beyond the boundary")
    with pytest.raises(SettingsError, match="holds nothing of the control"):
        compartments_of(levels_at(*WEST), MapFeatures(boundary=shapely.box(5000, 0, 5100, 100)))


@pytest.mark.parametrize(("length", "ends"), [(4.5, False), (5.5, True)])
def test_a_barrier_within_the_control_counts_from_half_a_hundredth_of_its_extent(length, ends):
    """The extent is 1000 m, so 5 m."""
    stub = shapely.LineString([(450, 300), (450 + length, 300)])
    (found,), _ = compartments_of(levels_at(*WEST, *EAST), MapFeatures(barriers=(stub,)))
    assert (found.barriers is not None) == ends
    assert [line.length for line in found.lines] == ([pytest.approx(length)] if ends else [])


@pytest.mark.parametrize(("off", "corners"), [(0.5, 2), (2.0, 3)])
def test_corners_of_a_barrier_within_a_thousandth_of_the_extent_of_its_line_do_not_count(off, corners):
    bent = shapely.LineString([(450, 200, 7), (450 + off, 300, 7), (450, 400, 7)])
    (found,), _ = compartments_of(levels_at(*WEST, *EAST), MapFeatures(barriers=(bent,)))
    assert [len(line.coords) for line in found.lines] == [corners]


MAKING = Making("triangulation", None, "linear", 0.1, 21, 3)


@pytest.fixture(scope="module")
def cut():
    levels = levels_at(*WEST, *EAST)
    found, _ = compartments_of(levels, MapFeatures(barriers=(FAULT,)))
    return levels, make_parts(levels, found, MAKING)


def test_surfaces_of_compartments_are_asked_each_for_its_own(cut):
    levels, parts = cut
    surface, grid = joined(levels, parts, 21)
    assert isinstance(surface, CompartmentSurface)
    assert main_surface(surface) is parts[0].surface
    assert main_surface(parts[1].surface) is parts[1].surface
    regions = [shapely.MultiPoint(group).convex_hull for group in (WEST, EAST)]
    held = shapely.contains_xy(regions[0].union(regions[1]), *np.meshgrid(grid.x, grid.y))
    near = shapely.intersects_xy(regions[0].union(regions[1]).boundary.buffer(1e-6), *np.meshgrid(grid.x, grid.y))
    drawn = np.isfinite(grid.water_elevation_m)
    assert (drawn == held)[~near].all()
    # between the compartments the nearest surface answers, as if it went on, but nothing is inside the control
    x, y = np.array([[150.0, 800.0], [480.0, 560.0]]), np.array([[300.0, 300.0], [310.0, 300.0]])
    plane = 40.0 - 0.002 * x + 0.001 * y
    inside = surface.predict(x, y, inside_control=True)
    assert inside[0] == pytest.approx(plane[0], rel=1e-12)
    assert np.isnan(inside[1]).all()
    assert np.isnan(surface.standard_error(x, y)).tolist() == [[True, True], [True, True]], "triangles know no error"
    left_out = surface.leave_one_out().residual_m
    for part, rows in zip(parts, (slice(0, 5), slice(5, 9)), strict=True):
        assert left_out[rows] == pytest.approx(part.surface.leave_one_out().residual_m, nan_ok=True)


def test_a_single_compartment_is_the_whole_control():
    levels = levels_at(*WEST)
    found, _ = compartments_of(levels, MapFeatures())
    (part,) = make_parts(levels, found, MAKING)
    assert part.plain
    assert part.shows(((-900.0, 0.0), (900.0, 0.0)))
    surface, grid = joined(levels, (part,), 21)
    assert (surface is part.surface, grid is part.grid) == (True, True)
    bounded, _ = compartments_of(levels, MapFeatures(boundary=shapely.box(-10, -10, 150, 700)))
    (part,) = make_parts(levels, bounded, MAKING)
    surface, grid = joined(levels, (part,), 21)
    assert (part.plain, surface is part.surface) == (False, True)
    assert np.array_equal(grid.x, part.grid.x)
    assert np.isnan(grid.water_elevation_m[:, grid.x > 150.0 + 1e-6]).all()


def test_a_line_is_shown_within_the_region_where_it_meets_no_barrier():
    region, wall = shapely.box(0, 0, 10, 10), shapely.LineString([(5, 0), (5, 4)])
    other = shapely.LineString([(8, 8), (9, 9)])
    compartment = SimpleNamespace(region=region, lines=(wall, other))
    part = Part(compartment, False, None, None, None, None, (), (), 0)
    assert part.shows(((1.0, 1.0), (4.0, 2.0)))
    assert not part.shows(((4.0, 1.0), (6.0, 1.0)))
    assert not part.shows(((4.0, 6.0), (11.0, 6.0)))
    assert part.shows(((4.0, 6.0), (6.0, 6.0)))
    assert dataclasses.replace(part, plain=True).shows(((4.0, 1.0), (16.0, 1.0)))


@pytest.mark.parametrize("scale", [1.0, 0.005])
def test_contours_that_a_boundary_cuts_are_open_and_those_within_stay(scale):
    """Heads rise with the distance from the middle; a boundary takes half of every ring, and all of the outer ones."""
    lines = np.arange(0.0, 101.0, 10.0) * scale
    x, y = (values.ravel() for values in np.meshgrid(lines, lines))
    z = np.hypot(x - 50.0 * scale, y - 50.0 * scale) / scale
    names = [f"W{k}" for k in range(len(x))]
    levels = Control(names, x, y, z, np.full(len(x), 0.02), 0, np.ones(len(x), dtype=bool))
    making = dataclasses.replace(MAKING, interval_m=10.0)
    whole, _ = compartments_of(levels, MapFeatures())
    (part,) = make_parts(levels, whole, making)
    assert {line.level_m for line in part.contours if line.depression} >= {20.0, 30.0, 40.0}
    limit = shapely.box(-10.0 * scale, -10.0 * scale, 50.0 * scale, 110.0 * scale)
    half, _ = compartments_of(levels, MapFeatures(boundary=limit))
    (part,) = make_parts(levels, half, making)
    assert part.contours
    assert not any(line.depression for line in part.contours)
    assert max(line.x.max() for line in part.contours) == pytest.approx(50.0 * scale)


def test_contours_keep_one_and_a_half_cells_off_a_barrier_that_ends_inside():
    """Heads fall across a wall of 300 m; project default."""
    wall = shapely.LineString([(520, 150), (520, 450)])
    levels = levels_at(*WEST, *EAST)
    found, _ = compartments_of(levels, MapFeatures(barriers=(wall,)))
    making = dataclasses.replace(
        MAKING, method="kriging", covariance=Covariance("exponential", 0.1, 500.0), interval_m=0.05
    )
    (part,) = make_parts(levels, found, making)
    off = [shapely.LineString(np.column_stack([line.x, line.y])).distance(wall) for line in part.contours]
    assert min(off) == pytest.approx(1.5 * part.grid.spacing_m, rel=0.01)
