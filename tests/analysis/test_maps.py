"""Potentiometric maps; constructed fields, and measured levels of an open aquifer."""

import csv
import datetime as dt
import itertools
import math
import re

import numpy as np
import pandas as pd
import pytest

from gwnet.analysis.maps.potentiometric import gradient_of, make_map
from gwnet.analysis.maps.same_day import same_day_set
from gwnet.analysis.maps.site_maps import impossible_text
from gwnet.analysis.maps.texts import length_text
from gwnet.errors import AnalysisError, NotFoundError, SettingsError, TooFewLevelsError
from gwnet.hydro.surfaces.hull import inside
from gwnet.hydro.surfaces.variogram import Covariance

from .frames import field, levels, stages, wells

DAY = dt.date(2026, 3, 17)


def control_of(wells_frame, levels_frame, **options):
    return same_day_set(
        levels_frame, wells_frame, aquifer="upper", date=DAY, time_zone="UTC+01:00", **{"window_days": 0, **options}
    )


def mapped(wells_frame, levels_frame, **options):
    return make_map(control_of(wells_frame, levels_frame), aquifer="upper", date=DAY, **options)


@pytest.fixture(scope="module")
def plain():
    return mapped(*field(), crs="EPSG:25832", vertical_datum="DHHN2016")


def test_what_a_map_holds(plain):
    assert (plain.aquifer, plain.date, plain.method, plain.unit) == ("upper", DAY, "kriging", "m")
    assert (plain.crs, plain.vertical_datum) == ("EPSG:25832", "DHHN2016")
    assert len(plain.used) == 14
    assert plain.left_out.empty
    assert plain.findings == ()
    assert plain.honour_failures == ()
    assert plain.gradient_sound is None
    assert plain.contours
    assert plain.arrows
    assert plain.span.days == 1
    assert plain.interval_m == pytest.approx(0.2)
    assert plain.cross_validation.n == 14
    assert 0.0 < plain.cross_validation.rmse_m < 0.5
    assert plain.cross_validation.rmse_sound_m == plain.cross_validation.rmse_m
    assert "licensed professional" in plain.cautions[-1]


def test_method_and_parameters_are_stated(plain):
    assert plain.method_text.startswith("Universal kriging with a linear drift, the mean over ")
    assert "each with the share that 14 levels give it" in plain.method_text
    names = [name for name, _ in plain.parameters]
    assert names[:5] == ["drift", "covariance", "partial sill", "range", "nugget"]
    shown = dict(plain.parameters)
    assert shown["degrees of freedom of the scale"] == "11"
    assert re.fullmatch(r"0\.\d\d m", shown["half-width of the surface (95 %, median over the control)"])
    assert shown["leave-one-out error (rms)"] == f"{plain.cross_validation.rmse_m:.2f} m at 14 levels"


def test_nothing_is_drawn_beyond_control(plain):
    grown = plain.boundary.mean(axis=0) + (plain.boundary - plain.boundary.mean(axis=0)) * (1 + 1e-9)
    for line in plain.contours:
        assert inside(grown, line.x, line.y).all()
    for arrow in plain.arrows:
        assert inside(plain.boundary, *np.transpose(arrow.ends)).all()
    held = inside(plain.boundary, plain.grid.x[None, :], plain.grid.y[:, None])
    assert np.isnan(plain.grid.water_elevation_m[~held]).all()
    assert np.isfinite(plain.grid.water_elevation_m[held]).all()


def test_contours_are_multiples_of_the_interval(plain):
    steps = plain.levels_m / plain.interval_m
    assert steps == pytest.approx(np.round(steps), abs=1e-9)
    assert {line.level_m for line in plain.contours} <= set(plain.levels_m.tolist())


def test_flow_follows_the_field(plain):
    """The field falls by 0.001 eastward and rises by 0.0005 northward: flow towards 116.6°."""
    towards = math.degrees(math.atan2(0.001, -0.0005))
    assert plain.gradient.determined
    assert plain.gradient.azimuth_deg == pytest.approx(towards, abs=8)
    assert np.median([arrow.azimuth_deg for arrow in plain.arrows]) == pytest.approx(towards, abs=12)


def rough(seed, count=40):
    """A surface so rough beside the uncertainty of its levels that filtered heads miss some of them."""
    random = np.random.default_rng(seed)
    x, y = random.uniform(0, 2000, (2, count))
    z = 40 - 0.001 * x + random.normal(0, 0.3, count)
    names = [f"W{number}" for number in range(count)]
    at = "2026-03-17T10:00"
    return (
        wells(*[(name, a, b, {}) for name, a, b in zip(names, x, y, strict=True)]),
        levels(*[(name, at, float(head), {"uncertainty_m": 0.2}) for name, head in zip(names, z, strict=True)]),
    )


def missed_at_wells(made):
    """Return the wells on the wrong side of a contour where they stand; wells that the surface jumps to stand right."""
    return [failure.well for failure in made.honour_failures if "jumps to its level" not in failure.text]


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize("method", ["kriging", "triangulation"])
def test_contours_honour_every_level(seed, method):
    made = mapped(*rough(seed), method=method, interval_m=0.2)
    assert missed_at_wells(made) == []
    drawn = made.grid.at(made.used["easting"], made.used["northing"])
    posted = made.used["water_elevation_m"].to_numpy()
    assert np.floor(drawn / 0.2).tolist() == np.floor(posted / 0.2).tolist()


@pytest.mark.slow
def test_levels_met_exactly_are_counted():
    exact = [dict(mapped(*rough(seed), interval_m=0.2).parameters)["levels met exactly"] for seed in range(6)]
    assert any(int(number) > 0 for number in exact)


def test_many_wells_honour_their_levels():
    """Beyond 200 wells the grid does not run through all of them to begin with."""
    made = mapped(*rough(1, 260), interval_m=0.5)
    assert missed_at_wells(made) == []


def test_one_gross_error_is_a_finding_and_stays_in_the_map():
    site, taken = field()
    taken.loc[taken["well"] == "MW-07", "water_elevation_m"] -= 143.2
    made = mapped(site, taken)
    (finding,) = made.findings
    assert finding.well == "MW-07"
    assert finding.residual_m == pytest.approx(-143.2, abs=0.5)
    assert finding.text.startswith(f"MW-07 is {abs(finding.residual_m):.1f} m below what its neighbours suggest")
    assert "check its surveyed elevation" in finding.text
    assert "MW-07" in made.used["well"].tolist()
    assert made.gradient_sound is not None
    assert made.gradient_sound.magnitude == pytest.approx(math.hypot(0.001, 0.0005), rel=0.2)
    assert any("Gradient with MW-07:" in text and "Without:" in text for text in made.cautions)
    assert made.cross_validation.rmse_sound_m < made.cross_validation.rmse_m
    # at the rim of the hull no contour closes around it; the surface reaches its level and goes no lower
    posted = float(made.used.loc[made.used["well"] == "MW-07", "water_elevation_m"].iloc[0])
    assert np.nanmin(made.grid.water_elevation_m) == pytest.approx(posted, abs=1.0)


def test_leaving_the_well_out_removes_the_finding():
    site, taken = field()
    taken.loc[taken["well"] == "MW-07", "water_elevation_m"] -= 143.2
    made = mapped(site, taken, exclude=["MW-07"])
    assert made.findings == ()
    assert made.left_out[["well", "reason"]].to_numpy().tolist() == [["MW-07", "left out by request"]]
    assert len(made.used) == 13
    with pytest.raises(NotFoundError, match="MW-99"):
        mapped(site, taken, exclude=["MW-99"])


def test_feet():
    metres, feet = mapped(*field()), mapped(*field(), unit="ft")
    assert feet.interval_m == pytest.approx(0.3048)
    assert feet.levels_m / 0.3048 == pytest.approx(np.round(feet.levels_m / 0.3048), abs=1e-6)
    assert feet.gradient.magnitude == metres.gradient.magnitude
    assert dict(feet.parameters)["range"].endswith(" ft")
    with pytest.raises(SettingsError, match="labelled in m or ft, not in 'cm'"):
        mapped(*field(), unit="cm")


def test_coordinates_in_feet():
    site, taken = field()
    metres = mapped(site, taken)
    in_feet = site.assign(easting=site["easting"] / 0.3048, northing=site["northing"] / 0.3048)
    feet = mapped(in_feet, taken, coordinate_unit_m=0.3048)
    assert feet.gradient.magnitude == pytest.approx(metres.gradient.magnitude, rel=1e-9)
    assert feet.gradient.azimuth_deg == pytest.approx(metres.gradient.azimuth_deg, abs=1e-6)
    assert dict(feet.parameters)["range"] == dict(metres.parameters)["range"]
    assert [arrow.gradient for arrow in feet.arrows] == pytest.approx([a.gradient for a in metres.arrows], rel=1e-5)


def test_too_few_wells():
    site, taken = field(2)
    with pytest.raises(TooFewLevelsError, match=r"at least 3 wells; 2 can be used: MW-01, MW-02\."):
        mapped(site, taken)


def test_too_few_usable_wells():
    site, taken = field(5)
    taken.loc[2:, ["usable", "unusable_reason"]] = [False, "dry"]
    with pytest.raises(TooFewLevelsError, match="2 can be used"):
        mapped(site, taken)


@pytest.mark.parametrize("count", [3, 4])
def test_below_five_wells_there_is_a_caution(count):
    made = mapped(*field(count, seed=2))
    text = f"Only {count} levels: contours are inferred throughout, and the limits of the surface are very wide."
    assert text in made.cautions
    width = dict(made.parameters)["half-width of the surface (95 %, median over the control)"]
    assert width.endswith(f" (very wide: {count} levels)")
    assert all(line.inferred for line in made.contours)
    assert any("6 are needed" in text for text in made.cautions)


def test_three_wells_give_the_plane_through_them():
    site, taken = field(3, seed=2)
    made = mapped(site, taken)
    assert made.gradient.method == "three points"
    assert made.cross_validation.n == 0
    assert dict(made.parameters)["leave-one-out error (rms)"].startswith("none")
    x, y = made.used["easting"].mean(), made.used["northing"].mean()
    assert float(made.surface.predict(x, y)) == pytest.approx(made.used["water_elevation_m"].mean(), abs=1e-6)


def test_wells_on_one_line_are_refused():
    site = wells(("A", 0, 0, {}), ("B", 100, 100, {}), ("C", 250, 250, {}), ("D", 300, 300, {}))
    taken = levels(*[(well, "2026-03-17T10:00", 1.0, {}) for well in "ABCD"])
    with pytest.raises(AnalysisError, match=r"on one line.*A, B, C, D"):
        mapped(site, taken)


def test_flat_water():
    """All heads equal: no contour, no arrow, no gradient, no fault."""
    site, taken = field()
    made = mapped(site, taken.assign(water_elevation_m=40.05))
    assert made.contours == ()
    assert made.arrows == ()
    assert not made.gradient.determined
    assert made.findings == ()


def test_a_given_interval_and_covariance():
    made = mapped(*field(), interval_m=1.0, covariance=Covariance("exponential", 0.1, 900.0), drift="none")
    assert made.interval_m == 1.0
    assert made.method_text.startswith("Ordinary kriging and exponential covariance, as given")
    assert dict(made.parameters)["range"] == "900 m"
    with pytest.raises(SettingsError, match="greater than 0"):
        mapped(*field(), interval_m=0.0)


def test_the_interval_is_not_finer_than_the_levels():
    site, taken = field()
    assert mapped(site, taken.assign(uncertainty_m=0.4)).interval_m == pytest.approx(1.0)


def test_triangulation():
    made = mapped(*field(), method="triangulation")
    assert made.method_text.startswith("Linear interpolation")
    assert made.against_triangulation_m == 0.0
    assert made.cross_validation.n == 14 - len(made.boundary)
    assert made.honour_failures == ()
    with pytest.raises(SettingsError, match="Unknown method"):
        mapped(*field(), method="splines")


def test_kriging_is_checked_against_triangulation(plain):
    assert 0.0 < plain.against_triangulation_m < plain.interval_m


def test_stages_without_uncertainty():
    site, taken = field()
    river = stages(("G1", "2026-03-17T09:00Z", 39.0, 451_000.0, 5_401_000.0, "upper"))
    made = make_map(control_of(site, taken, stages=river), aquifer="upper", date=DAY)
    assert len(made.used) == 15
    assert "No uncertainty is on record for 1 of 15 levels; ± 0.03 m was taken." in made.cautions


def test_a_set_of_several_days_says_so():
    site, taken = field()
    days = pd.Timedelta(days=2)
    taken.loc[0, "measured_at_utc"] += days
    taken.loc[0, "measured_at"] = "2026-03-19T09:00+01:00"
    made = make_map(control_of(site, taken, window_days=3), aquifer="upper", date=DAY)
    assert any("not taken on one day but over 3 days" in text for text in made.cautions)


def test_screens_of_very_different_length_are_a_caution():
    site, taken = field()
    assert not any("screens" in text for text in mapped(site, taken).cautions)
    site.loc[3, "screen_bottom_m"] = 35.0
    assert any(text.startswith("The screens are 4.0 m to 25.0 m long") for text in mapped(site, taken).cautions)


def test_a_well_open_at_its_bottom_alone_has_no_screen_to_compare():
    site, taken = field()
    site.loc[3, "screen_bottom_m"] = site.loc[3, "screen_top_m"]
    assert not any("screens" in text for text in mapped(site, taken).cautions)


def test_the_same_again_is_the_same():
    first, second = mapped(*field()), mapped(*field())
    assert first.parameters == second.parameters
    assert first.cautions == second.cautions
    assert np.array_equal(first.grid.extended_m, second.grid.extended_m)
    for one, other in itertools.zip_longest(first.contours, second.contours):
        assert np.array_equal(one.x, other.x)
        assert np.array_equal(one.y, other.y)


def test_gradient_of_a_set_equals_the_map_s(plain):
    assert gradient_of(plain.control).magnitude == plain.gradient.magnitude


def test_length_text():
    assert length_text(1.0, "ft") == "3.28 ft"


# Measured levels: eastern Snake River Plain aquifer, U.S. Geological Survey, public domain.


@pytest.fixture(scope="module")
def plain_aquifer(open_data):
    """Return wells in UTM 12N and the levels of the days asked for, static or without a remark on status."""
    from pyproj import Transformer

    with (open_data / "esrp" / "wells.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    to_site = Transformer.from_crs("EPSG:4269", "EPSG:26912", always_xy=True)
    names = {row["site_id"]: row["local_name"] for row in rows}
    accuracy = {row["site_id"]: float(row["elev_accuracy_ft"]) * 0.3048 for row in rows}
    placed = [
        (row["local_name"], *to_site.transform(float(row["longitude_deg"]), float(row["latitude_deg"])), {})
        for row in rows
    ]
    days = {"1953-09-30", "1971-07-30", "2007-01-09", "2010-10-05", "2012-01-05"}
    with (open_data / "esrp" / "levels.csv").open(encoding="utf-8", newline="") as file:
        taken = [row for row in csv.DictReader(file) if row["local_date"] in days and row["status_code"] in {"1", ""}]
    frame = levels(
        *[
            (
                names[row["site_id"]],
                row["local_date"],
                float(row["water_elev_ft_navd88"]) * 0.3048,
                {"uncertainty_m": accuracy[row["site_id"]]},
            )
            for row in taken
        ]
    )
    return wells(*placed), frame


def aquifer_map(plain_aquifer, day, **options):
    site, taken = plain_aquifer
    date = dt.date.fromisoformat(day)
    control = same_day_set(taken, site, aquifer="upper", date=date, time_zone="UTC+01:00")
    return make_map(control, aquifer="upper", date=date, **options)


FAULTS = ("TRA A 13", "TRA A 77", "USGS 42", "USGS 74")


@pytest.mark.shared
@pytest.mark.parametrize(
    ("day", "count", "magnitude", "towards", "misfit"),
    [
        ("1971-07-30", 34, 8.161562325, 168.2008891, 41.04457483),
        ("2007-01-09", 32, 0.5948065899, 209.9020846, 12.2428189),
        ("2010-10-05", 33, 0.8564415318, 191.0851357, 2.987502773),
        ("2012-01-05", 32, 0.8141425042, 191.6422435, 7.196837863),
    ],
)
def test_planes_of_measured_days(plain_aquifer, day, count, magnitude, towards, misfit):
    """U.S. Geological Survey levels; planes computed independently with numpy [m/km, degrees, m].

    The figures agree as far as the coordinates do, which the table of wells gives to a millionth of a degree.
    """
    made = aquifer_map(plain_aquifer, day)
    assert len(made.used) == count
    assert made.gradient.magnitude * 1000 == pytest.approx(magnitude, rel=2e-4)
    assert made.gradient.azimuth_deg == pytest.approx(towards, abs=0.002)
    assert made.gradient.residual_sd_m == pytest.approx(misfit, rel=2e-5)
    assert missed_at_wells(made) == []


@pytest.mark.shared
def test_known_faults_of_measured_levels_are_found(plain_aquifer):
    """One surface elevation is about 470 ft too low and three wells are perched 280 to 430 ft above the rest.

    All four come to light although they stand together; with them the plane falls by 8.2 m/km, without by 0.613 m/km
    towards 204.7° (computed independently with numpy).
    """
    made = aquifer_map(plain_aquifer, "1971-07-30", unit="ft")
    found = {finding.well: finding.residual_m / 0.3048 for finding in made.findings}
    assert sorted(found) == sorted(FAULTS)
    assert found["USGS 42"] == pytest.approx(-470, abs=5)
    assert all(270 < found[well] < 440 for well in FAULTS if well != "USGS 42")
    assert not made.gradient.determined
    assert made.gradient_sound.magnitude * 1000 == pytest.approx(0.613002892, rel=2e-4)
    assert made.gradient_sound.azimuth_deg == pytest.approx(204.6732459, abs=0.002)
    assert made.gradient_sound.residual_sd_m == pytest.approx(0.5062687436, rel=2e-5)


@pytest.mark.shared
def test_without_the_faults_the_measured_levels_are_sound(plain_aquifer):
    made = aquifer_map(plain_aquifer, "1971-07-30", exclude=FAULTS)
    assert made.findings == ()
    assert len(made.used) == 30
    assert made.gradient.determined
    assert made.gradient.magnitude * 1000 == pytest.approx(0.613002892, rel=2e-4)


@pytest.mark.shared
def test_each_fault_alone_is_found(plain_aquifer):
    for fault in FAULTS:
        made = aquifer_map(plain_aquifer, "1971-07-30", exclude=set(FAULTS) - {fault})
        assert [finding.well for finding in made.findings] == [fault]


@pytest.mark.shared
def test_a_good_day_of_measured_levels_has_no_finding(plain_aquifer):
    assert aquifer_map(plain_aquifer, "2010-10-05").findings == ()


@pytest.mark.parametrize(
    ("sign", "status", "bound_m", "words"),
    [
        ("<=", "dry", 37.0, "; the surface is drawn "),
        (">=", "flowing", 42.0, "; the surface is drawn "),
        ("<=", "dry", 42.0, ""),
        (">=", "flowing", 37.0, ""),
    ],
)
def test_a_bound_that_the_surface_contradicts_is_said_on_the_map(sign, status, bound_m, words):
    """Heads lie between 38 and 41 m: a well dry at 37 m, or flowing above 42 m, cannot be among them."""
    site, taken = field()
    site = pd.concat([site, wells(("W5", 450_900.0, 5_400_900.0, {}))], ignore_index=True)
    bare = {"status": status, "bound": sign, "unusable_reason": status}
    extra = levels(("W5", "2026-03-17T12:00", bound_m, bare)).assign(event_id=99)
    made = mapped(site, pd.concat([taken, extra], ignore_index=True))
    assert "W5" not in made.used["well"].tolist()
    (reason,) = made.left_out.loc[made.left_out["well"] == "W5", "reason"]
    told = [
        text for text in made.cautions if text.startswith("The surface contradicts wells that are no control: W5 (")
    ]
    assert (words in reason, len(told)) == ((True, 1) if words else (True, 0))
    assert ("the surface is drawn" in reason) == bool(words)
    if words:
        head = float(made.surface.predict(450_900.0, 5_400_900.0))
        assert f"W5 ({sign} {bound_m:.2f} m, drawn {head:.2f} m)" in told[0]
        assert reason.endswith(f"drawn {abs(head - bound_m):.2f} m {'above' if sign == '<=' else 'below'}")


def test_an_approved_level_out_of_the_bounds_of_its_well_is_named():
    _, taken = field()
    control = control_of(*field())
    found = taken.assign(finding="")
    found.loc[found["well"] == "MW-03", "finding"] = "below the bottom of the well; repeats disagree"
    text = impossible_text(found, control)
    assert text.endswith("out of the bounds of the well: MW-03 (below the bottom of the well).")
    left_out = control.assign(used=control["used"] & (control["well"] != "MW-03"))
    assert impossible_text(found, left_out) == ""


def test_a_scattered_few_are_said_with_how_far_apart_they_are(plain):
    assert not any("scattered few" in caution for caution in plain.cautions)
    site, taken = field()
    some = set(site["well"].iloc[:7])
    few = mapped(site[site["well"].isin(some)], taken[taken["well"].isin(some)])
    (said,) = [caution for caution in few.cautions if "scattered few" in caution]
    assert said.startswith(f"A scattered few: {len(few.used)} levels, one in a square of ")


def test_a_surface_that_jumps_to_each_well_is_found():
    """Nine tenths of the sill are nugget, so the surface is flat but for needles at the wells."""
    site, taken = field()
    rough = taken.assign(water_elevation_m=taken["water_elevation_m"] + 0.3 * (-1.0) ** np.arange(len(taken)))
    made = mapped(site, rough, interval_m=0.2, covariance=Covariance("spherical", 0.1, 1500.0, 0.9))
    assert len(made.honour_failures) >= 3
    assert all("the surface jumps to its level" in failure.text for failure in made.honour_failures)
