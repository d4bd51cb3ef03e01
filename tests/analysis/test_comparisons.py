"""Gradients by round and in clusters, changes, paired maps and the worth of wells, on a constructed record.

Ten wells on a plane whose fall turns from east (spring) to west (autumn) as if a river rose, with a cluster of three.
"""

import datetime as dt
import json

import numpy as np
import pandas as pd
import pyogrio
import pytest

from gwnet.analysis.maps.change import change_table
from gwnet.analysis.maps.same_day import same_day_set
from gwnet.errors import AnalysisError, NotFoundError, SettingsError, TooFewLevelsError
from gwnet.hydro.gradients.horizontal import plane_gradient
from gwnet.network import Network

from ..exchange.test_geopackage import validated
from .frames import levels, stages, wells
from .record import Record

RIM = 50.0
SPRING, AUTUMN, DRY = "2025-03-11", "2025-09-09", "2025-12-09"
PLACES = {
    "A": (0, 0),
    "B": (400, 50),
    "C": (900, 0),
    "D": (100, 500),
    "E": (500, 450),
    "F": (1000, 520),
    "G": (50, 1000),
    "H": (450, 950),
    "I": (950, 1020),
}
EAST = {SPRING: -0.002, AUTUMN: 0.002}


def head(day, place):
    return 45.0 + EAST[day] * (place[0] - 500) + 0.0002 * place[1]


@pytest.fixture(scope="module")
def net(tmp_path_factory):
    path = tmp_path_factory.mktemp("compare") / "r.sqlite"
    made = Record(path)
    for name, place in PLACES.items():
        cluster = {"cluster": "K"} if name == "E" else {}
        made.well(name, point=(RIM, 0.5), screen=(8, 12), ground_elevation_m=49.5, **_at(place), **cluster)
    made.well("E2", point=(RIM, 0.5), screen=(28, 32), ground_elevation_m=49.5, cluster="K", **_at((501, 450)))
    made.well("E3", point=(RIM, 0.5), ground_elevation_m=49.5, cluster="K", **_at((502, 450)))
    for code, day in (("R1", SPRING), ("R2", AUTUMN), ("R3", DRY)):
        _round(made, code, day)
    # E2 is screened deeper: its head stands above that of E, then too near to it to be told apart
    for day, over in ((SPRING, 0.1), (AUTUMN, -0.001)):
        for number, (name, place) in enumerate(PLACES.items()):
            _event(made, name, f"{day}T{9 + number // 4:02d}:10", RIM - head(day, place), day)
        _event(made, "E2", f"{day}T12:10", RIM - head(day, PLACES["E"]) - over, day)
    _event(made, "E", f"{DRY}T09:00", None, DRY, status="dry")
    _event(made, "E2", f"{DRY}T09:10", 5.0, DRY)
    _event(made, "A", f"{DRY}T10:00", 5.0, DRY)
    made.store.close()
    with Network(path) as network:
        yield network


def _at(place):
    return {"easting": 500_000.0 + place[0], "northing": 5_400_000.0 + place[1]}


ROUNDS = {}


def _round(made, code, day):
    ROUNDS[day] = made.add("gauging_round", site_id=made.site_id, code=code)
    date = dt.date.fromisoformat(day)
    made.add("round_record", gauging_round_id=ROUNDS[day], starts_on=date, ends_on=date, wells=json.dumps([]))


def _event(made, well, when, depth, day, status="static"):
    readings = [] if depth is None else [("depth_to_water", round(depth, 4)), ("depth_to_water", round(depth, 4))]
    made.event(well, when, readings, status=status, gauging_round_id=ROUNDS[day])


@pytest.fixture(scope="module")
def change(net):
    return net.map.change("upper", AUTUMN, SPRING, storage="0.1..0.2")


def test_gauges_come_after_the_wells_whatever_their_names():
    site = wells(("W1", 0, 0, {}), ("A2", 100, 0, {}))
    sets = [
        same_day_set(
            levels(("W1", f"{day}T10:00", 10.0 + rise, {}), ("A2", f"{day}T10:00", 11.0 + rise, {})),
            site,
            aquifer="upper",
            date=dt.date.fromisoformat(day),
            time_zone="UTC+01:00",
            stages=stages(("G1", f"{day}T09:00Z", 9.0 + rise, 50.0, 50.0, "upper")),
        )
        for day, rise in (("2026-03-17", 0.0), ("2026-06-17", 0.5))
    ]
    changes = change_table(*sets, {}, pd.DataFrame({"measuring_point": [], "survey_uncertainty_m": []}))
    assert list(zip(changes["kind"], changes["well"], strict=True)) == [("well", "A2"), ("well", "W1"), ("stage", "G1")]
    assert changes["change_m"].tolist() == pytest.approx([0.5, 0.5, 0.5])


@pytest.fixture(scope="module")
def pair(net):
    return net.map.pair("upper", (AUTUMN, SPRING))


@pytest.fixture(scope="module")
def worth(net):
    return net.map.data_worth("upper", SPRING, candidates=2)


class TestRounds:
    def test_one_row_a_round_with_the_plane_of_its_day(self, net):
        found = net.gradients.by_round("upper")
        rows = found.table.set_index("round")
        assert rows.index.tolist() == ["R1", "R2", "R3"]
        for code, day in (("R1", SPRING), ("R2", AUTUMN)):
            x, y = np.array(list(PLACES.values()), dtype=float).T
            plane = plane_gradient(x, y, [head(day, place) for place in PLACES.values()])
            assert rows.loc[code, "gradient"] == pytest.approx(plane.magnitude, rel=1e-3)
            assert rows.loc[code, "azimuth_degrees"] == pytest.approx(plane.azimuth_deg, abs=0.1)
            assert rows.loc[code, "date"] == day
            assert rows.loc[code, "triangles"] == "agree"
        assert rows.loc["R2", "turn"] == "reversal"

    def test_a_round_without_a_plane_says_why(self, net):
        row = net.gradients.by_round("upper").table.set_index("round").loc["R3"]
        assert not row["determined"]
        assert np.isnan(row["gradient"])
        assert "at least 3 wells" in row["note"]

    def test_named_wells_make_the_same_plane_every_time(self, net):
        rows = net.gradients.by_round("upper", wells=["A", "C", "G"]).table.set_index("round")
        assert rows.loc["R1", "levels"] == 3
        assert rows.loc["R3", "note"].startswith("C: ")
        with pytest.raises(NotFoundError, match="no such well"):
            net.gradients.by_round("upper", wells=["A", "Z", "G"])

    def test_days_instead_of_rounds_and_a_span(self, net):
        assert net.gradients.by_round("upper", dates=[AUTUMN, SPRING]).table["date"].tolist() == [SPRING, AUTUMN]
        assert net.gradients.by_round("upper", start=AUTUMN, end=AUTUMN).table["date"].tolist() == [AUTUMN]

    def test_velocity_with_what_was_put_in(self, net):
        row = net.gradients.by_round("upper", conductivity="86.4 m/d", porosity="0.2").table.iloc[0]
        assert row["velocity_m_per_day"] == pytest.approx(86.4 * row["gradient"] / 0.2)
        assert row["velocity_lowest_m_per_day"] < row["velocity_m_per_day"] < row["velocity_highest_m_per_day"]
        assert "86.4 m/d" in row["velocity_from"]
        with pytest.raises(SettingsError, match="only one was given"):
            net.gradients.by_round("upper", porosity="0.2")

    def test_local_gradients_of_a_plane_are_alike(self, net):
        rows = net.gradients.local("upper", SPRING, nearest=4)
        assert rows["well"].tolist() == sorted(PLACES)
        assert rows["gradient"].tolist() == pytest.approx(np.full(9, np.hypot(0.002, 0.0002)), rel=0.02)
        assert rows["neighbours"].str.count(",").tolist() == [3] * 9
        slope = rows.set_index("well")["surface_gradient"]
        assert slope["E"] == pytest.approx(np.hypot(0.002, 0.0002), rel=0.02)
        assert slope.drop("E").isna().all()  # at the edge of control

    def test_the_rose_tells_rounds_and_reversal(self, net):
        from ..figures.measure import beyond_page, collisions, words_of

        figure = net.gradients.by_round("upper").figure()
        text = " ".join(words_of(figure))
        assert "2 rounds with a gradient, 2 of them determined" in text
        assert "no mean is given" in text
        assert "R3: " in text
        assert "January to March" in text
        assert "October to December" not in text
        row = net.gradients.by_round("upper", start=SPRING, end=SPRING, conductivity="10 ft/d", porosity="0.2")
        fastest = row.table.iloc[0]["velocity_highest_m_per_day"] / 0.3048
        assert f"to {fastest:.2g} ft/d with" in " ".join(words_of(row.figure("ft")))
        assert collisions(figure) == []
        assert beyond_page(figure) == []


class TestVertical:
    def test_rows_of_the_pairs(self, net):
        rows = net.gradients.vertical().table
        pair = rows[rows["lower_well"] == "E2"].set_index("round")
        assert pair["screen_distance_m"].tolist() == [20.0, 20.0, 20.0]
        assert pair.loc["R1", "vertical_gradient"] == pytest.approx(0.1 / 20, abs=1e-5)
        assert pair.loc["R1", "direction"] == "upward"
        assert pair.loc["R1", "vertical_gradient_uncertainty"] == pytest.approx(
            pair.loc["R1", "head_difference_uncertainty_m"] / 20
        )
        assert pair.loc["R2", "direction"] == "not determined"

    def test_what_is_refused_says_why(self, net):
        rows = net.gradients.vertical().table
        dry = rows[(rows["lower_well"] == "E2") & (rows["round"] == "R3")].iloc[0]
        assert dry["direction"] == ""
        assert dry["note"] == "E: dry"
        unscreened = rows[rows["lower_well"] == "E3"]
        assert unscreened["note"].str.startswith("E3: no screen on record").all()

    def test_clusters_and_figure(self, net):
        from ..figures.measure import beyond_page, collisions, words_of

        with pytest.raises(NotFoundError, match="No cluster X"):
            net.gradients.vertical(["X"])
        figure = net.gradients.vertical(["K"]).figure()
        text = " ".join(words_of(figure))
        assert "K: E above E2, 20.00 m between the middles of the screens" in text
        feet = " ".join(words_of(net.gradients.vertical(["K"]).figure("ft")))
        assert "K: E above E2, 65.62 ft between the middles of the screens" in feet
        assert "not distinguishable from no gradient" in text
        assert collisions(figure) == []
        assert beyond_page(figure) == []

    def test_no_gradient_no_figure(self, net):
        with pytest.raises(AnalysisError, match="No pair has a vertical gradient"):
            net.gradients.vertical(start=DRY).figure()


class TestChange:
    def test_changes_at_wells(self, change):
        rows = change.result.wells.set_index("well")
        for name, place in PLACES.items():
            wanted = head(AUTUMN, place) - head(SPRING, place)
            assert rows.loc[name, "change_m"] == pytest.approx(wanted, abs=2e-4)
        assert rows.loc["E3", "reason"] == "no measurement on the date"
        assert not rows.loc["E2", "used"]
        assert rows.loc["E2", "reason"].startswith("one well a place")

    def test_the_survey_common_to_both_levels_falls_away(self, change, net):
        """The measuring points have ± 5 mm; the tape and its parts alone make the change uncertain."""
        levels = net.levels(wells=["A"])
        both = np.hypot(*levels["uncertainty_m"].iloc[:2])
        width = change.result.wells.set_index("well").loc["A", "uncertainty_m"]
        assert width == pytest.approx(np.sqrt(both**2 - 2 * 0.005**2))

    def test_the_volume_is_that_of_the_plane(self, change):
        """Change 0.004 (x - 500) over the hull of the wells, integrated on a fine grid."""
        sums = change.result.sums
        hull = change.result.surface_map.boundary - [500_000.0, 5_400_000.0]
        from gwnet.hydro.surfaces.hull import inside

        x, y = np.meshgrid(np.arange(0.5, 1000, 1.0), np.arange(0.5, 1021, 1.0))
        plane = np.where(inside(hull, x, y), 0.004 * (x - 500), 0.0)
        assert sums.rise_m3 == pytest.approx(plane[plane > 0].sum(), rel=3e-3)
        assert sums.fall_m3 == pytest.approx(-plane[plane < 0].sum(), rel=3e-3)

    def test_water_with_its_bounds(self, change):
        sums = change.result.sums
        middle, lowest, highest = change.result.water_m3
        assert middle == pytest.approx(sums.area_m2 * sums.mean_m * np.sqrt(0.1 * 0.2))
        assert lowest < middle < highest
        row = change.summary().iloc[0]
        assert row["storage_coefficient"] == "0.1..0.2"
        assert row["water_m3"] == pytest.approx(middle)

    @pytest.mark.slow
    def test_files(self, change, tmp_path):
        written = change.write(tmp_path / "out")
        assert [path.name for path in written] == ["change.pdf", "change.png", "change.gpkg"]
        assert {str(name) for name, _ in pyogrio.list_layers(written[2])} == {"changes", "contours", "boundary"}
        assert validated(written[2]).returncode == 0
        points = pyogrio.read_dataframe(written[2], layer="changes").set_index("well")
        assert points.loc["A", "change_m"] == pytest.approx(-2.0, abs=2e-4)
        area = pyogrio.read_dataframe(written[2], layer="boundary")
        assert area["rise_m3"].iloc[0] == pytest.approx(change.result.sums.rise_m3)
        assert area.geometry.iloc[0].area == pytest.approx(change.result.sums.area_m2)

    @pytest.mark.parametrize("unit", ["m", "ft"])
    def test_the_sheet_reads(self, net, unit):
        from ..figures.measure import beyond_page, collisions, words_of

        figure = net.map.change("upper", AUTUMN, SPRING, storage="0.15", unit=unit).figure()
        text = " ".join(words_of(figure))
        assert "+2.00" in text if unit == "m" else "+6.56" in text
        assert "rise 1.0" in text if unit == "m" else "rise 4" in text
        assert ("acre-ft" in text) == (unit == "ft")
        assert collisions(figure) == []
        assert beyond_page(figure) == []

    def test_a_boundary_bounds_the_volume(self, net, tmp_path):
        import shapely

        square = shapely.box(500_500, 5_400_200, 500_800, 5_400_600)
        file = tmp_path / "b.geojson"
        crs = {"type": "name", "properties": {"name": "urn:ogc:def:crs:EPSG::25832"}}
        feature = {"type": "Feature", "properties": {}, "geometry": json.loads(shapely.to_geojson(square))}
        file.write_text(json.dumps({"type": "FeatureCollection", "crs": crs, "features": [feature]}))
        sums = net.map.change("upper", AUTUMN, SPRING, boundary=file).result.sums
        assert sums.area_m2 == pytest.approx(300 * 400, rel=0.02)
        assert sums.mean_m == pytest.approx(0.004 * 150, rel=0.03)

    def test_refusals(self, net):
        with pytest.raises(SettingsError, match="earlier to a later"):
            net.map.change("upper", SPRING, AUTUMN)
        with pytest.raises(TooFewLevelsError):
            net.map.change("upper", DRY, SPRING)
        with pytest.raises(SettingsError, match="storage coefficient"):
            net.map.change("upper", AUTUMN, SPRING, storage="12 %")


class TestPair:
    def test_a_reversal_is_stated_and_nothing_averaged(self, pair):
        result = pair.result
        assert [one.date.isoformat() for one in result.maps] == [SPRING, AUTUMN]
        assert result.turn.verdict == "reversal"
        assert abs(result.turn.angle_deg) == pytest.approx(180 - 2 * np.degrees(np.arctan(0.1)), abs=0.2)
        assert result.maps[0].interval_m == result.maps[1].interval_m
        assert result.common == tuple(sorted(PLACES))
        assert result.reversed_share > 0.9
        rows = pair.summary()
        assert rows["turn"].tolist() == ["", "reversal"]

    @pytest.mark.slow
    def test_both_maps_stand_at_one_scale_on_one_sheet(self, pair):
        from ..figures.measure import beyond_page, collisions, words_of

        figure = pair.figure()
        panels = [axes for axes in figure.axes if axes.get_xticks().size]
        assert len(panels) == 2
        spans = [np.ptp(axes.get_xlim()) for axes in panels]
        assert spans[0] == pytest.approx(spans[1])
        assert [t.get_text() for t in panels[0].get_yticklabels()] == [
            t.get_text() for t in panels[1].get_yticklabels()
        ]
        text = " ".join(words_of(figure))
        assert "The direction of flow is reversed" in text.replace("  ", " ")
        assert collisions(figure) == []
        assert beyond_page(figure) == []

    def test_files(self, pair, tmp_path):
        names = [path.name for path in pair.write(tmp_path)]
        assert names == ["pair.pdf", "pair.png", f"map_{SPRING}.gpkg", f"map_{AUTUMN}.gpkg"]

    def test_one_day_is_no_pair(self, net):
        with pytest.raises(SettingsError, match="two days"):
            net.map.pair("upper", (SPRING, SPRING))


class TestWorth:
    def test_ranks(self, worth):
        rows = worth.table
        assert rows["rank"].tolist() == list(range(1, 10))
        assert rows["mean_change_m"].is_monotonic_increasing
        assert (rows["error_increase_percent"] > 0).all()
        lost = rows.set_index("well")["control_lost_percent"]
        assert lost["E"] == 0.0
        assert lost["I"] > 10.0

    def test_gradient_without_a_well_equals_fitting_again(self, worth, net):
        used = net.map("upper", SPRING).result.used
        rows = worth.table.set_index("well")
        kept = used[used["well"] != "C"]
        whole, plane = (
            plane_gradient(one["easting"], one["northing"], one["water_elevation_m"]) for one in (used, kept)
        )
        change = 100 * (plane.magnitude / whole.magnitude - 1)
        assert rows.loc["C", "gradient_change_percent"] == pytest.approx(change, abs=1e-6)

    def test_places_and_files(self, worth, tmp_path):
        places = worth.places()
        assert places["place"].tolist() == ["A", "B"]
        assert places["uncertainty_m"].is_monotonic_decreasing
        assert places["error_falls_percent"].is_monotonic_increasing
        written = worth.write(tmp_path)
        assert [path.name for path in written] == ["worth.pdf", "worth.png", "worth.csv", "places.csv"]
        assert pd.read_csv(tmp_path / "worth.csv")["well"].tolist() == worth.table["well"].tolist()

    def test_the_sheet_reads(self, worth):
        from ..figures.measure import beyond_page, collisions, words_of

        figure = worth.figure()
        text = " ".join(words_of(figure))
        assert "well whose removal changes the map least" in text
        assert "place where the error is largest" in text
        assert collisions(figure) == []
        assert beyond_page(figure) == []

    def test_three_wells_cannot_be_spared(self, net):
        others = [*(name for name in PLACES if name not in "ACG"), "E2"]
        with pytest.raises(AnalysisError, match="none can be spared"):
            net.map.data_worth("upper", SPRING, exclude=others)
        with pytest.raises(SettingsError, match="kriged"):
            net.map.data_worth("upper", SPRING, method="triangulation")
