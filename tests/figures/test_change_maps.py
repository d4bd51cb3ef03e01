"""Maps of change, of data worth and of two days: what they show, with nothing that meets or leaves the page."""

import datetime as dt
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest
import shapely

from gwnet.figures.maps.change_data import change_plot_data, worth_plot_data
from gwnet.figures.maps.context import MapContext, Note
from gwnet.figures.maps.data import map_plot_data
from gwnet.figures.maps.layers import layer_entries
from gwnet.figures.maps.paired import PairPlotData, draw_paired_maps
from gwnet.figures.maps.surface_map import draw_surface_map

from . import frames
from .frames import KNOWN_ON, SITE
from .measure import beyond_page, collisions, words_of

CONTEXT = MapContext(SITE, "Upper gravel", KNOWN_ON)


def drawn(**changes):
    x, y = frames.scattered(9, 4)
    hull = shapely.MultiPoint(np.column_stack([x, y])).convex_hull
    line = SimpleNamespace(level_m=-0.2, x=x[:3], y=y[:3], inferred=False, depression=True)
    control = frames.control(x, y, 47.0 + x / 1e6)
    given = {"control": control, "boundary": hull, "contours": (line,), "interval_m": 0.2, "crs": "EPSG:25833"}
    return frames.map_result(**given | changes)


def change():
    control = drawn().control
    wells = control[["well", "kind", "easting", "northing", "used", "reason"]].assign(
        change_m=np.linspace(-0.4, 0.4, 9),
        uncertainty_m=0.02,
        is_significant=True,
        measured_before="a",
        measured_after="b",
    )
    wells.loc[4, "is_significant"] = False
    wells.loc[8, ["used", "reason"]] = [False, "pumping"]
    return SimpleNamespace(
        wells=wells, surface_map=drawn(), aquifer="A1", date=dt.date(2026, 2, 11), since=dt.date(2025, 11, 12)
    )


def test_a_map_of_change_has_signs_brackets_and_contours_in_words():
    data = change_plot_data(change(), CONTEXT, facts=["Mean change 0.00 m."], cautions=["Only a test."])
    assert data.title == "Change of water level, Upper gravel (A1)"
    assert data.subtitle == "Sandhaven gravel plain · 2025-11-12 to 2026-02-11"
    kinds = [point.kind for point in data.points]
    assert kinds == [*["fall"] * 4, "even", *["rise"] * 3, "well"]
    assert [point.value for point in data.points][:5] == ["−0.40", "−0.30", "−0.20", "−0.10", "(0.00)"]
    assert [contour.level for contour in data.contours] == ["fall 0.2"]
    assert not any(contour.depression for contour in data.contours)
    assert {note.title: note.lines for note in data.notes}["Left out"] == ("GW-09: pumping",)
    figure = draw_surface_map(data)
    assert {"rise", "fall", "change within its uncertainty", "left out"} <= set(words_of(figure))
    assert collisions(figure) == []
    assert beyond_page(figure) == []


def test_a_map_of_data_worth_marks_the_least_wells_and_the_places():
    wells = pd.DataFrame({"well": [f"GW-{i:02d}" for i in range(1, 10)], "rank": range(1, 10), "kind": "well"})
    wells = wells.assign(mean_change_m=np.linspace(0.001, 0.1, 9), note="")
    source = drawn()
    source.used = source.control
    result = SimpleNamespace(wells=wells, drawn=source)
    data = worth_plot_data(
        result,
        CONTEXT,
        candidates=[("A", 412_000.0, 5_333_000.0, 0.4)],
        least=2,
        contours=source.contours,
        interval_m=0.2,
        facts=["A fact."],
        cautions=[],
    )
    assert [point.kind for point in data.points] == [*["least"] * 2, *["ranked"] * 7, "candidate"]
    assert data.points[-1].value == "± 0.40"
    assert data.title.startswith("Data worth of wells")
    assert [contour.level for contour in data.contours] == ["0.2"]
    assert "well whose removal changes the map least" in words_of(draw_surface_map(data))


def test_two_maps_share_a_sheet():
    maps = tuple(map_plot_data(drawn(date=day), CONTEXT) for day in (dt.date(2025, 11, 12), dt.date(2026, 2, 11)))
    heading = CONTEXT.heading("Potentiometric surface", "both", "m", aquifer="A1")
    notes = (Note("Directions of flow", ("They agree.",)),)
    figure = draw_paired_maps(PairPlotData(**heading, maps=maps, heads=("2025-11-12\n", "2026-02-11\n"), notes=notes))
    words = words_of(figure)
    assert {"2025-11-12", "2026-02-11", "Potentiometric surface, Upper gravel (A1)", "They agree."} <= set(words)
    assert beyond_page(figure) == []


def test_layers_have_a_key_by_kind():
    features = SimpleNamespace(layers=(), barriers=[shapely.LineString([(0, 0), (1, 1)])], rivers=())
    data = map_plot_data(drawn(features=features, above_ground=shapely.box(0, 0, 1, 1)), CONTEXT)
    assert [entry.label for entry in layer_entries(data.layers)] == ["barrier", "head above ground"]


@pytest.mark.parametrize(
    ("code", "name", "shown"), [("A1", "Upper", "Upper (A1)"), ("A1", "", "A1"), ("A1", "A1", "A1")]
)
def test_an_aquifer_is_named_once(code, name, shown):
    assert MapContext(SITE, name).named(code) == shown
