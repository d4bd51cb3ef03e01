"""Gradients round by round and about each well, on a record made of frames; planes worked out with numpy."""

import datetime as dt
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest
import shapely

from gwnet.analysis.maps.round_gradients import (
    RoundGradient,
    days_of_rounds,
    gradients_by_round,
    gradients_by_well,
    surface_by_well,
)
from gwnet.analysis.maps.same_day import same_day_set
from gwnet.analysis.maps.site_maps import SetRule
from gwnet.errors import AnalysisError, NotFoundError, TooFewLevelsError
from gwnet.hydro.gradients.local import surface_slopes
from gwnet.hydro.surfaces import kriging

from .frames import FrameRecord, levels, stages, wells

NO_LOGGERS = SetRule(loggers=False)
FOOT = 0.3048


def plane(azimuth=90.0, half=5.0, size=0.5, width=0.0625, *, determined=True):
    return SimpleNamespace(
        determined=determined,
        azimuth_deg=azimuth,
        azimuth_half_width_deg=half,
        magnitude=size,
        magnitude_half_width=width,
    )


def of_round(gradient=None, *, sound=None, suspects=(), triangles=None, used=None):
    return RoundGradient("R", dt.date(2026, 3, 17), used, gradient, sound, suspects, triangles, None, "")


@pytest.mark.parametrize(
    ("gradient", "triangles", "agreement"),
    [
        (plane(), (4, 100.0, 0.625), "agree"),  # 10 degrees and a quarter of the size off, and no more
        (plane(), (4, 100.5, 0.5), "differ"),
        (plane(), (4, 90.0, 0.6328125), "differ"),
        (plane(), (4, 79.5, 0.5), "differ"),
        (plane(), (4, 90.0, 0.3671875), "differ"),
        (plane(half=15.0), (4, 105.0, 0.5), "agree"),
        (plane(half=15.0), (4, 105.5, 0.5), "differ"),
        (plane(width=0.25), (4, 90.0, 0.75), "agree"),
        (plane(width=0.25), (4, 90.0, 0.7578125), "differ"),
        (plane(azimuth=355.0), (1, 3.0, 0.5), "agree"),
        (plane(), (0, 90.0, 0.5), ""),
        (plane(), None, ""),
        (plane(determined=False), (4, 90.0, 0.5), ""),
        (None, (4, 90.0, 0.5), ""),
    ],
)
def test_plane_and_triangles_agree_within_their_limits(gradient, triangles, agreement):
    names = ("n", "azimuth_deg", "magnitude")
    given = None if triangles is None else SimpleNamespace(**dict(zip(names, triangles, strict=True)))
    found = of_round(gradient, triangles=given)
    assert found.agreement == agreement
    assert found.is_determined == (gradient is not None and gradient.determined)


def test_levels_of_a_round_are_counted_by_source_and_without_those_that_do_not_fit():
    used = pd.DataFrame({"well": ["A", "B", "C"], "source": ["manual", "logger", "manual"]})
    found = of_round(plane(), sound=plane(size=0.25), suspects=("B",), used=used)
    assert (found.count(), found.count("manual"), found.count("stage")) == (3, 2, 0)
    sound = found.without_findings()
    assert (sound.gradient.magnitude, sound.used["well"].tolist()) == (0.25, ["A", "C"])
    plain = of_round(plane(), used=used)
    assert plain.without_findings() is plain


# Nine wells on a slightly wavy plane, one of which may be off; a well of another aquifer.

_X = np.array([0.0, 400.0, 30.0, 420.0, 210.0, 110.0, 330.0, 250.0, 170.0])
_Y = np.array([0.0, 30.0, 300.0, 310.0, 170.0, 90.0, 220.0, 40.0, 270.0])
NAMES = list("ABCDEFGHI")
SITE = wells(
    *[(name, 500_000.0 + x, 5_400_000.0 + y, {}) for name, x, y in zip(NAMES, _X, _Y, strict=True)],
    ("L", 500_100.0, 5_400_100.0, {"aquifer": "lower"}),
)


def heads(east=-0.002, north=0.0005):
    wave = 0.002 * np.sin(np.arange(9) * 2.0)
    return dict(zip(NAMES, 40.0 + east * _X + north * _Y + wave, strict=True))


def day_of(day, names=NAMES, given=None, **more):
    given = heads() if given is None else given
    rows = [(name, f"{day}T10:0{k}", given.get(name, 35.0), more) for k, name in enumerate(names)]
    return [
        (name, when, float(head), {"aquifer": "lower" if name == "L" else "upper", **each})
        for name, when, head, each in rows
    ]


def record_of(*days, site=SITE, **more):
    return FrameRecord(levels(*[row for rows in days for row in rows]), site, **more)


def round_of(code, first, last, **more):
    return {"round": code, "starts_on": dt.date.fromisoformat(first), "ends_on": dt.date.fromisoformat(last), **more}


def test_the_day_of_a_round_is_the_one_with_most_levels_of_the_aquifer_that_can_be_used():
    rounds = [
        round_of("R1", "2026-01-05", "2026-01-09"),
        round_of("R2", "2026-02-01", "2026-02-03"),
        round_of("R3", "2026-03-01", "2026-03-03"),
    ]
    record = record_of(
        day_of("2026-01-05", "AB", round="R1"),
        day_of("2026-01-06", "CDE", round="R1"),
        day_of("2026-01-07", "FGH", round="R1"),
        day_of("2026-01-08", "ABCDE", round="R1", unusable_reason="pumping"),
        day_of("2026-01-09", "LLLLL", round="R1"),
        day_of("2026-02-03", "L", round="R2"),
        day_of("2026-03-02", "A", round="R3"),
        day_of("2026-04-02", "ABCDEFG", round=""),
        rounds=rounds,
    )
    assert days_of_rounds(record, "upper") == [
        ("R1", dt.date(2026, 1, 6)),
        ("R2", dt.date(2026, 2, 1)),
        ("R3", dt.date(2026, 3, 2)),
    ]


@pytest.mark.parametrize(("reason", "day"), [("", "2026-01-05"), ("pumping", "2026-01-06"), (None, "2026-01-06")])
def test_a_day_that_stands_for_a_round_is_its_own_day_where_one_level_can_be_used(reason, day):
    """On the day itself one well was read, whose level can be used or not, or none; more wells on the next day."""
    more = {"unusable_reason": reason} if reason else {}
    own = [] if reason is None else day_of("2026-01-05", "A", round="2026-01-05", **more)
    purpose = "day named for the report (1 well)"
    rounds = [round_of("2026-01-05", "2026-01-04", "2026-01-06", purpose=purpose)]
    record = record_of(own, day_of("2026-01-06", "BCD", round="2026-01-05"), rounds=rounds)
    assert days_of_rounds(record, "upper") == [("2026-01-05", dt.date.fromisoformat(day))]


FIRST, SECOND, THIRD, FOURTH = (dt.date(2026, month, 10) for month in (1, 2, 3, 4))


@pytest.fixture(scope="module")
def four_days():
    """Flow eastward; three wells alone; nothing that can be used; flow westward with well E 3 m too high."""
    west = heads(east=0.002)
    off = {**west, "E": west["E"] + 3.0}
    river = stages(("A", "2026-01-10T09:00Z", 39.05, 500_500.0, 5_400_100.0, "upper"))
    return record_of(day_of(FIRST), day_of(SECOND, "ABC"), day_of(THIRD, "AB"), day_of(FOURTH, given=off), stages=river)


def fitted(names, given):
    """Return size and azimuth of the plane through heads by least squares, worked out with numpy."""
    rows = [NAMES.index(name) for name in names]
    design = np.column_stack([np.ones(len(rows)), _X[rows], _Y[rows]])
    _, east, north = np.linalg.lstsq(design, np.array([given[name] for name in names]), rcond=None)[0]
    return np.hypot(east, north), np.degrees(np.arctan2(-east, -north)) % 360.0


def test_each_day_has_its_plane_its_turn_and_its_reason(four_days):
    days = [FOURTH, FIRST, SECOND, THIRD, FIRST]
    rule = SetRule(loggers=False, wells=tuple(NAMES))
    first, second, third, fourth = gradients_by_round(four_days, "upper", dates=days, rule=rule)
    assert [found.date for found in (first, second, third, fourth)] == [FIRST, SECOND, THIRD, FOURTH]
    assert {found.round for found in (first, second, third, fourth)} == {""}
    # the gauge is control as well
    assert (first.count(), first.count("manual"), first.count("stage"), second.count()) == (10, 9, 1, 3)
    assert list(first.used.columns) == ["well", "kind", "source", "used"]
    assert (first.turn, first.reason, first.gradient is not None) == (None, "", True)
    # three wells take their scale from the day with most levels
    assert second.gradient.basis == "borrowed"
    assert "taken from" in second.gradient.note
    assert (third.gradient, third.sound, third.suspects, third.triangles, third.turn) == (None, None, (), None, None)
    assert "at least 3 wells; 2 can be used: A, B" in third.reason
    assert (fourth.suspects, fourth.sound.n, fourth.gradient.n) == (("E",), 8, 9)
    size, towards = fitted("ABCDFGHI", heads(east=0.002))
    assert (fourth.sound.magnitude, fourth.sound.azimuth_deg) == pytest.approx((size, towards), rel=1e-9)
    assert (first.sound, first.suspects) == (None, ())
    assert fourth.without_findings().count() == 8


def test_named_wells_make_a_plane_of_their_own_or_say_what_is_missing(four_days):
    found = gradients_by_round(four_days, "upper", wells=["A", "C", "D"], dates=[FIRST, SECOND], rule=NO_LOGGERS)
    size, towards = fitted("ACD", heads())
    assert (found[0].gradient.magnitude, found[0].gradient.azimuth_deg) == pytest.approx((size, towards), rel=1e-9)
    assert (found[0].count(), found[0].gradient.basis) == (3, "borrowed")
    assert "taken from the 10 levels of 2026-01-10" in found[0].gradient.note
    assert (found[1].gradient, found[1].reason) == (None, "D: no measurement on the date")
    with pytest.raises(NotFoundError, match="L: no such well of aquifer 'upper'"):
        gradients_by_round(four_days, "upper", wells=["A", "L"], dates=[FIRST], rule=NO_LOGGERS)


@pytest.mark.parametrize(
    ("span", "days"),
    [
        ({"start": SECOND}, [SECOND, THIRD]),
        ({"end": SECOND}, [FIRST, SECOND]),
        ({"start": SECOND, "end": SECOND}, [SECOND]),
    ],
)
def test_first_and_last_day_belong_to_the_span(four_days, span, days):
    found = gradients_by_round(four_days, "upper", dates=[FIRST, SECOND, THIRD], rule=NO_LOGGERS, **span)
    assert [each.date for each in found] == days


def test_a_turn_is_from_the_last_round_whose_direction_is_known():
    """Eastward, then flat, then northward and back: from the first round to the third, and from the third on."""
    flat, north = heads(east=0.0, north=0.0), heads(east=0.0, north=-0.002)
    record = record_of(day_of(FIRST), day_of(SECOND, given=flat), day_of(THIRD, given=north), day_of(FOURTH))
    found = gradients_by_round(record, "upper", dates=[FIRST, SECOND, THIRD, FOURTH], rule=NO_LOGGERS)
    assert [each.is_determined for each in found] == [True, False, True, True]
    towards = [fitted(NAMES, each)[1] for each in (heads(), north)]
    turn = (towards[1] - towards[0] + 180.0) % 360.0 - 180.0
    assert [found[2].turn.angle_deg, found[3].turn.angle_deg] == pytest.approx([turn, -turn], abs=1e-6)
    assert found[1].turn.verdict == "not determined"


def test_without_rounds_and_days_there_is_nothing_to_tell():
    with pytest.raises(NotFoundError, match="Neither a gauging round nor a day on which wells were read"):
        gradients_by_round(record_of(), "upper", rule=NO_LOGGERS)


def test_gradients_in_a_system_in_feet_are_those_in_metres():
    """One US survey foot is 1200/3937 m (EPSG dataset, unit 9003)."""
    foot = 1200.0 / 3937.0
    in_feet = SITE.assign(easting=[*_X, 0.0], northing=[*_Y, 0.0])
    in_feet[["easting", "northing"]] /= foot
    record = record_of(day_of(FIRST), site=in_feet, crs="EPSG:2263")
    (found,) = gradients_by_round(record, "upper", dates=[FIRST], rule=NO_LOGGERS)
    (plain,) = gradients_by_round(record_of(day_of(FIRST)), "upper", dates=[FIRST], rule=NO_LOGGERS)
    assert found.gradient.magnitude == pytest.approx(fitted(NAMES, heads())[0], rel=1e-9)
    assert found.triangles.magnitude == pytest.approx(plain.triangles.magnitude, rel=1e-6)
    assert found.triangles.azimuth_deg == pytest.approx(plain.triangles.azimuth_deg, rel=1e-6)
    assert found.agreement == plain.agreement == "agree"


def test_two_wells_that_fit_make_no_plane_beside_the_three_of_a_round(monkeypatch):
    from gwnet.analysis.maps import round_gradients

    def off(*rows):
        flags = np.isin(np.arange(5), rows)
        monkeypatch.setattr(round_gradients, "neighbour_test", lambda *_: SimpleNamespace(outlier=flags))
        (found,) = gradients_by_round(record_of(day_of(FIRST, "ABCDE")), "upper", dates=[FIRST], rule=NO_LOGGERS)
        return found.suspects, found.sound and found.sound.n

    assert off(0, 1, 2) == (("A", "B", "C"), None)
    assert off(0, 1) == (("A", "B"), 3)
    assert off() == ((), None)


def control_at(x, y, z, unit=1.0, **more):
    names = [f"W{k:02d}" for k in range(len(x))]
    site = wells(*[(name, a / unit, b / unit, {}) for name, a, b in zip(names, x, y, strict=True)])
    taken = levels(*[(name, "2026-01-10T10:00", float(head), more) for name, head in zip(names, z, strict=True)])
    return same_day_set(taken, site, aquifer="upper", date=FIRST, time_zone="UTC+01:00")


#: A field of 4 by 3 m: its corners, wells near each edge, and some in the middle.
PLACES = np.array(
    [
        *[(0.0, 0.0), (4.0, 0.0), (4.0, 3.0), (0.0, 3.0), (3.7, 1.2), (0.3, 1.6), (1.8, 2.8)],
        *[(2.2, 0.2), (1.9, 1.4), (2.0, 2.3), (3.3, 1.6), (1.1, 0.7), (0.7, 1.1), (3.5, 2.2)],
    ]
)
FALLING = 10.0 - 0.02 * PLACES[:, 0] + 0.01 * PLACES[:, 1] + 0.001 * np.sin(np.arange(len(PLACES)))


def test_slopes_of_the_surface_are_given_where_control_reaches_to_both_sides():
    """Heads are differenced over the mean spacing, the root of 12 m² over 14 wells, half of it to each side."""
    control = control_at(*PLACES.T, FALLING)
    rows = surface_by_well(control)
    over = np.sqrt(12.0 / 14.0)
    half, hull = over / 2.0, shapely.box(0.0, 0.0, 4.0, 3.0)
    around = [[(x + half, y), (x - half, y), (x, y + half), (x, y - half)] for x, y in PLACES]
    held = np.array([all(hull.covers(shapely.Point(*place)) for place in places) for places in around])
    assert held.sum() == 6
    surface = kriging.fit(*PLACES.T, FALLING, measurement_variance_m2=(0.02 / 1.959963984540054) ** 2)
    slopes = surface_slopes(surface, *PLACES.T, over_m=over)
    assert rows["well"].tolist() == control["well"].tolist()
    for column, values in (
        ("surface_gradient", slopes.magnitude),
        ("surface_gradient_uncertainty", slopes.magnitude_half_width),
        ("surface_azimuth_degrees", np.where(slopes.determined, slopes.azimuth_deg, np.nan)),
        ("surface_over_m", np.full(14, over)),
    ):
        kept = np.where(held, values, np.nan) if column != "surface_over_m" else values
        assert rows[column].tolist() == pytest.approx(kept.tolist(), rel=1e-6, nan_ok=True)
    wide = surface_by_well(control_at(*PLACES.T, FALLING, uncertainty_m=2.0))
    assert wide["surface_azimuth_degrees"].isna().all()
    assert (wide["surface_gradient"].notna() == held).all()
    sure = surface_by_well(control_at(*PLACES.T, FALLING, uncertainty_m=1e-4))
    assert (sure["surface_azimuth_degrees"].notna() == held).all()


def test_slopes_and_planes_about_wells_in_feet_are_those_in_metres():
    metres, feet = control_at(*PLACES.T, FALLING), control_at(*PLACES.T, FALLING, FOOT)
    by_surface = [surface_by_well(metres), surface_by_well(feet, coordinate_unit_m=FOOT)]
    for name in ("surface_gradient", "surface_azimuth_degrees", "surface_over_m"):
        one, other = (table[name].to_numpy() for table in by_surface)
        assert one == pytest.approx(other, rel=1e-5, nan_ok=True)
    by_well = gradients_by_well(metres, nearest=4), gradients_by_well(feet, nearest=4, coordinate_unit_m=FOOT)
    for (name, others, local), (same, same_others, in_feet) in zip(*by_well, strict=True):
        assert (name, others) == (same, same_others)
        assert len(others) == 4
        rows = [int(well[1:]) for well in (name, *others)]
        design = np.column_stack([np.ones(5), PLACES[rows]])
        _, east, north = np.linalg.lstsq(design, FALLING[rows], rcond=None)[0]
        assert local.plane.magnitude == pytest.approx(np.hypot(east, north), rel=1e-8)
        assert in_feet.plane.magnitude == pytest.approx(local.plane.magnitude, rel=1e-8)
        assert in_feet.reach == pytest.approx(local.reach, rel=1e-9)


def test_levels_without_an_uncertainty_count_as_surveyed_to_three_centimetres():
    bare = surface_by_well(control_at(*PLACES.T, FALLING, uncertainty_m=np.nan))
    pd.testing.assert_frame_equal(bare, surface_by_well(control_at(*PLACES.T, FALLING, uncertainty_m=0.03)))


def test_too_few_wells_have_no_gradient_about_them():
    two = control_at([0.0, 4.0], [0.0, 1.0], [1.0, 2.0])
    with pytest.raises(TooFewLevelsError):
        gradients_by_well(two, nearest=3)
    line = control_at([0.0, 4.0, 8.0], [0.0, 1.0, 2.0], [1.0, 2.0, 4.0])
    with pytest.raises(AnalysisError):
        surface_by_well(line)
