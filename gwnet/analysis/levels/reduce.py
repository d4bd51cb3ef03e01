"""The reduction of gathered level events: every step at once, kept for the explanation."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from gwnet.analysis.levels.default_accuracy import day_of, reading_defaults, survey_defaults
from gwnet.analysis.levels.inputs import Floats, LevelInputs, gather
from gwnet.analysis.levels.tape_lengths import StretchCorrection, correct_stretch
from gwnet.clock import to_instants
from gwnet.constants import BOTTOM_TOLERANCE_M
from gwnet.hydro.reduction import elevation as reduction
from gwnet.hydro.reduction import uncertainty
from gwnet.hydro.reduction.intervals import InForce, in_force
from gwnet.hydro.reduction.tape import TapeCorrection, tape_correction
from gwnet.hydro.reduction.uncertainty import UncertaintyParts
from gwnet.records import Selection
from gwnet.store.fetch.frames import number_groups
from gwnet.store.snapshot import Snapshot

#: What the reduction can notice, and what it means (the phrases in column ``finding``).
FINDINGS = {
    "repeats disagree": "The repeats differ by more than the site's tolerance and nobody has chosen one.",
    "no measuring point in force": "No measuring point of that access was in force at that time.",
    "two measuring points in force": "More than one measuring point of that access was in force at that time.",
    "measuring point in another datum": "The measuring point's vertical datum is not the site's; no shift is made.",
    "beyond the tape check": "The reading lies beyond the depths of the last tape check; its end value was used.",
    "product without density": "Product floats on the water and its relative density is not on record.",
    "water below the screen": "Water is below the bottom of the screen, in closed pipe: the aquifer's head is at or "
    "below that bottom.",
    "below the bottom of the well": "The level lies below the bottom of the well; one of the two is wrong.",
    "above the measuring point, not flowing": "The level lies above the measuring point of a well that is not said to "
    "flow.",
    "dry without a depth": "The well was dry, and neither screen, sounding nor depth as built is on record.",
}


#: Kinds of instrument that are checked against a reference tape.
TAPES: Final = ("electric tape", "steel tape", "interface probe")


@dataclass(frozen=True)
class Reduction:
    """Every step of the reduction of n level events, as arrays of shape (n,).

    Attributes
    ----------
    repeats : gwnet.hydro.reduction.elevation.Repeats
        Depth as read, its spread and agreement.
    tape : gwnet.hydro.reduction.tape.TapeCorrection
        Correction of that depth from tape checks.
    stretch : gwnet.analysis.levels.tape_lengths.StretchCorrection
        Its corrections for temperature and tension of the tape.
    point : gwnet.hydro.reduction.intervals.InForce
        Measuring point in force, as a position in ``LevelInputs.measuring_points``.
    point_elevation_m, height_above_ground_m, ground_elevation_m : numpy.ndarray
        Of that measuring point; ground also from the well where the point does not give it [m].
    depth_to_water_m, depth_below_ground_m : numpy.ndarray
        Corrected depths, positive downward; NaN where the well was dry or overflowed [m].
    uncorrected_elevation_m, water_elevation_m : numpy.ndarray
        Water elevation before and after the correction for floating product; of a well that was dry or overflowed the
        bound [m].
    bound_elevation_m : numpy.ndarray
        Elevation at or below which, or at or above which, the head of the aquifer is; NaN where there is no bound [m].
    product_thickness_m, sounded_depth_m : numpy.ndarray
        Thickness of product; depth of the bottom below ground [m].
    bound : numpy.ndarray of str
        ``<=`` for a dry well and for water below the screen, ``>=`` for a flowing well without a number, else empty.
    parts : gwnet.hydro.reduction.uncertainty.UncertaintyParts
        Parts of the uncertainty.
    uncertainty_m : numpy.ndarray
        95 % half-width of the water elevation [m].
    accuracy_from : numpy.ndarray of str
        Where the accuracies of survey and reading come from; empty without a half-width.
    findings : dict of str to numpy.ndarray of bool
        What was noticed, by the phrases of `FINDINGS`.
    """

    repeats: reduction.Repeats
    tape: TapeCorrection
    stretch: StretchCorrection
    point: InForce
    point_elevation_m: Floats
    height_above_ground_m: Floats
    ground_elevation_m: Floats
    depth_to_water_m: Floats
    depth_below_ground_m: Floats
    uncorrected_elevation_m: Floats
    water_elevation_m: Floats
    bound_elevation_m: Floats
    product_thickness_m: Floats
    sounded_depth_m: Floats
    bound: NDArray[np.object_]
    parts: UncertaintyParts
    uncertainty_m: Floats
    accuracy_from: NDArray[np.object_]
    findings: dict[str, NDArray[np.bool_]]


def reduction_of(record: Snapshot, selection: Selection | None = None) -> tuple[LevelInputs, Reduction]:
    """Return level events of a record with their reduction, made once for a selection: levels and checks share it.

    Parameters as `gwnet.analysis.levels`.
    """
    record, selection = record.of_only_site(), Selection.restricting(selection)
    inputs = gather(record, selection)
    return inputs, record.once(("reduction", selection), lambda: reduce_levels(inputs))


def reduce_levels(inputs: LevelInputs) -> Reduction:
    """Reduce gathered level events, all at once.

    Parameters as `gwnet.analysis.levels`.

    Returns
    -------
    Reduction
        Every step.
    """
    records = inputs.records
    # 0 stands for no choice; ordinals begin at 1.
    chosen = records["chosen_reading"].fillna(0).to_numpy(dtype=np.int64)
    repeats = reduction.combine_repeats(inputs.depth_to_water_m, inputs.tolerance_m, chosen=chosen)
    tape = _tape(inputs, repeats.depth_m)
    stretch = correct_stretch(inputs, repeats.depth_m, tape.checked)
    correction = tape.correction_m + stretch.total_m()
    point, elevation, height = _measuring_point(inputs)
    # The ground that the point in force was surveyed from; the well's own where that is not known.
    ground = np.where(np.isnan(height), inputs.of_well("ground_elevation_m"), elevation - height)
    height = np.where(np.isnan(height), elevation - ground, height)
    depth, below_ground, head = _heads(inputs, repeats.depth_m + correction, elevation, height, ground)
    thickness, corrected, undensified = _product(inputs, correction, repeats.depth_m, head)
    sounded = reduction.depth_below_ground(
        reduction.sounded_depth(
            inputs.sounded_m,
            # A sounding without a stated length of the probe was read at its end.
            np.nan_to_num(inputs.of_instrument("length_below_sensing_point_m")),
            tape_correction_m=_all_corrections(inputs, inputs.sounded_m),
        ),
        height,
    )
    bounds = _bounds(inputs, below_ground, sounded, ground, elevation)
    status = records["status"].to_numpy(dtype=object)
    # Dry or overflowing: nothing was read, so no depth must appear beside the bound.
    is_unread = (bounds.bound != "") & ~bounds.below_screen
    by_tape = repeats.count > 0
    # Before the depths of bounds are blanked, since the parts of the tape depend on what was read.
    parts, accuracy_from = _parts(inputs, repeats, tape, stretch, point, depth, thickness)
    depth = np.where(is_unread, np.nan, depth)
    below_ground = np.where(is_unread, np.nan, below_ground)
    head = np.where(is_unread, bounds.elevation_m, head)
    corrected = np.where(is_unread, bounds.elevation_m, corrected)
    half_width = np.where(np.isnan(corrected), np.nan, parts.combined_m())
    findings = {
        "repeats disagree": repeats.disagree,
        # A level that was read as an elevation needs no measuring point.
        "no measuring point in force": by_tape & (point.count == 0),
        "two measuring points in force": by_tape & (point.count > 1),
        "measuring point in another datum": _other_datum(inputs, point) & np.isnan(inputs.water_elevation_m),
        "beyond the tape check": tape.beyond & by_tape,
        "product without density": undensified,
        "water below the screen": bounds.below_screen,
        "below the bottom of the well": _below_bottom(inputs, below_ground, sounded),
        # Within the half-width the water may stand at the point itself.
        "above the measuring point, not flowing": (status == "static") & (depth < -half_width),
        "dry without a depth": (status == "dry") & np.isnan(bounds.elevation_m),
    }
    return Reduction(
        repeats=repeats,
        tape=tape,
        stretch=stretch,
        point=point,
        point_elevation_m=elevation,
        height_above_ground_m=height,
        ground_elevation_m=ground,
        depth_to_water_m=depth,
        depth_below_ground_m=below_ground,
        uncorrected_elevation_m=head,
        water_elevation_m=corrected,
        bound_elevation_m=np.where(bounds.bound != "", bounds.elevation_m, np.nan),
        product_thickness_m=thickness,
        sounded_depth_m=sounded,
        bound=bounds.bound,
        parts=parts,
        uncertainty_m=half_width,
        accuracy_from=np.where(np.isnan(half_width), "", accuracy_from).astype(object),
        findings=findings,
    )


def _tape(inputs: LevelInputs, reading_m: Floats) -> TapeCorrection:
    checks = inputs.tape_checks
    return tape_correction(
        reading_m,
        # The database has no instrument for many old readings; a negative number never matches a check.
        inputs.records["instrument_id"].fillna(-1).to_numpy(dtype=np.int64),
        inputs.local_time.astype("datetime64[D]"),
        check_instrument=checks["instrument_id"].to_numpy(dtype=np.int64),
        check_day=np.array(checks["checked_on"].tolist(), dtype="datetime64[D]"),
        check_tape_m=checks["tape_reading_m"].to_numpy(dtype=np.float64),
        check_reference_m=checks["reference_reading_m"].to_numpy(dtype=np.float64),
    )


def _all_corrections(inputs: LevelInputs, reading_m: Floats) -> Floats:
    """Return what to add to a reading of the tape: from its check, for temperature and for tension."""
    tape = _tape(inputs, reading_m)
    return tape.correction_m + correct_stretch(inputs, reading_m, tape.checked).total_m()


def _measuring_point(inputs: LevelInputs) -> tuple[InForce, Floats, Floats]:
    """Return the measuring point in force at each event, its elevation and its height above ground."""
    points, records = inputs.measuring_points, inputs.records
    of_point, of_event = number_groups(points, records, ("well_id", "access"))
    starts, ends = (to_instants(points[name]) for name in ("valid_from_utc", "valid_until_utc"))
    in_use = in_force(of_point, starts, ends, of_event, to_instants(records["measured_at_utc"]))
    return (
        in_use,
        take_values(points["elevation_m"].to_numpy(dtype=np.float64), in_use.index),
        take_values(points["height_above_ground_m"].to_numpy(dtype=np.float64), in_use.index),
    )


def _other_datum(inputs: LevelInputs, point: InForce) -> NDArray[np.bool_]:
    """Return where the measuring point in force names another vertical datum than the site."""
    # Case and spaces are how people write one datum in several ways; they are no other datum.
    named = [str(datum).strip().casefold() for datum in inputs.measuring_points["vertical_datum"]]
    # The last entry is for events without a point, whose index is -1.
    of_point = np.array([*named, ""], dtype=object)[point.index]
    sites = {
        site: str(datum).strip().casefold()
        for site, datum in inputs.sites[["site", "vertical_datum"]].itertuples(index=False)
    }
    of_site = np.array([sites.get(site, "") for site in inputs.records["site"]], dtype=object)
    # A datum that is not stated is taken for the site's.
    return np.asarray((of_point != "") & (of_site != "") & (of_point != of_site), dtype=bool)


def take_values(values: Floats, index: NDArray[np.int64]) -> Floats:
    """Return the values at positions, NaN where the position is -1.

    Parameters
    ----------
    values : numpy.ndarray, shape (m,)
        Values.
    index : numpy.ndarray of int64, shape (n,)
        Positions; -1 for none.

    Returns
    -------
    numpy.ndarray, shape (n,)
        Values at the positions.
    """
    padded = np.append(values, np.nan)
    return padded[index]


def _heads(
    inputs: LevelInputs, corrected_depth: Floats, elevation: Floats, height: Floats, ground: Floats
) -> tuple[Floats, Floats, Floats]:
    """Return depth to water, depth below ground and water elevation from whichever of them was read."""
    by_ground = ~np.isnan(inputs.depth_below_ground_m)
    by_elevation = ~np.isnan(inputs.water_elevation_m)
    head = reduction.water_elevation(corrected_depth, elevation)
    # What was read wins over what follows from it: first depths below ground, last elevations.
    head = np.where(by_ground, ground - inputs.depth_below_ground_m, head)
    head = np.where(by_elevation, inputs.water_elevation_m, head)
    depth = np.where(by_ground, inputs.depth_below_ground_m + height, corrected_depth)
    depth = np.where(by_elevation, elevation - inputs.water_elevation_m, depth)
    below = reduction.depth_below_ground(depth, height)
    below = np.where(by_ground, inputs.depth_below_ground_m, below)
    below = np.where(by_elevation, ground - inputs.water_elevation_m, below)
    return depth, below, head


def _product(
    inputs: LevelInputs, correction: Floats, depth_read: Floats, head: Floats
) -> tuple[Floats, Floats, NDArray[np.bool_]]:
    """Return the thickness of product, the corrected elevation, and where the density is missing."""
    product = inputs.depth_to_product_m
    # The probe stopped at the top of the product, at another depth of the tape than the water.
    top_correction = np.where(np.isnan(product), np.nan, _all_corrections(inputs, product))
    thickness = (depth_read + correction) - (product + top_correction)
    density = inputs.records["product_relative_density"].to_numpy(dtype=np.float64)
    # Product below the water is a mistake of reading, no floating layer.
    floats = ~np.isnan(thickness) & (thickness > 0)
    corrected = np.where(floats, reduction.product_corrected_elevation(head, thickness, density), head)
    undensified = floats & np.isnan(density)
    # Without a density the uncorrected elevation is shown, and the finding bars it from maps.
    return np.where(floats, thickness, np.nan), np.where(undensified, head, corrected), undensified


@dataclass(frozen=True)
class _Bounds:
    bound: NDArray[np.object_]
    elevation_m: Floats
    below_screen: NDArray[np.bool_]


def _bounds(inputs: LevelInputs, below_ground: Floats, sounded: Floats, ground: Floats, elevation: Floats) -> _Bounds:
    """Return where a level is only a bound, and that bound as an elevation."""
    status = inputs.records["status"].to_numpy(dtype=object)
    screen_limit = inputs.of_well("screen_limit_m")
    # Static levels only: no other status says that the water read was that of the aquifer at rest.
    below_screen = (status == "static") & (below_ground > screen_limit)
    dry = (status == "dry") | below_screen
    # a dry well has no head above its screen, whether or not it is open below
    depth = reduction.dry_bound_depth(
        # A sounding of another visit than the dry one says nothing of where the tape stopped.
        inputs.of_well("screen_bottom_m"),
        np.where(status == "dry", sounded, np.nan),
        inputs.of_well("total_depth_m"),
    )
    lower = np.where(dry, ground - depth, np.nan)
    overflowing = (status == "flowing") & np.isnan(below_ground)
    bound = np.full(len(inputs), "", dtype=object)
    bound[dry & ~np.isnan(lower)] = "<="
    bound[overflowing & ~np.isnan(elevation)] = ">="
    return _Bounds(bound, np.where(overflowing, elevation, lower), below_screen)


def _below_bottom(inputs: LevelInputs, below_ground: Floats, sounded: Floats) -> NDArray[np.bool_]:
    """Return where water was read below the bottom of the well, as sounded on the same visit, or else as built."""
    bottom = np.where(np.isnan(sounded), inputs.of_well("total_depth_m"), sounded)
    return np.asarray(below_ground > bottom + BOTTOM_TOLERANCE_M, dtype=bool)


def _parts(
    inputs: LevelInputs,
    repeats: reduction.Repeats,
    tape: TapeCorrection,
    stretch: StretchCorrection,
    point: InForce,
    depth: Floats,
    thickness: Floats,
) -> tuple[UncertaintyParts, NDArray[np.object_]]:
    """Return the parts of the uncertainty, and where survey and reading have their accuracy from."""
    survey, of_survey = _survey_accuracy(inputs, point)
    reading, of_reading = _reading_accuracy(inputs)
    is_elevation = ~np.isnan(inputs.water_elevation_m) & ~np.isnan(inputs.accuracy_m)
    parts = uncertainty.uncertainty_parts(
        depth_m=depth,
        by_tape=repeats.count > 0,
        # An elevation that was stated with an accuracy has the survey in it.
        survey_accuracy_m=np.where(is_elevation, 0.0, survey),
        instrument_accuracy_m=reading,
        tape_checked=tape.checked,
        beyond_check_m=_beyond(inputs, repeats.depth_m, tape),
        spread_m=repeats.spread_m,
        repeat_count=repeats.count,
        repeat_tolerance_m=inputs.tolerance_m,
        product_thickness_m=thickness,
        reading_accuracy_m=inputs.accuracy_m,
        never_checked=~tape.checked & is_never_checked(inputs),
        stretch_half_width_m=stretch.half_width_m,
    )
    of_survey = np.where(is_elevation, "not needed", of_survey)
    return parts, "survey: " + of_survey + "; reading: " + of_reading


def is_never_checked(inputs: LevelInputs) -> NDArray[np.bool_]:
    """Return which levels were read with a tape that was never checked, though other tapes of the record are.

    Parameters
    ----------
    inputs : LevelInputs
        Records of the events and what they rest on.

    Returns
    -------
    numpy.ndarray of bool, shape (n,)
        Whether the instrument is a tape without a check on any day; of a record without any tape check nothing, since
        nobody kept them.
    """
    checked = set(inputs.tape_checks["instrument_id"])
    tapes = inputs.instruments.loc[inputs.instruments["kind"].isin(TAPES), "instrument_id"]
    # In a record without tape checks, "never checked" would hold for all and widen every level.
    never = set(tapes) - checked if checked else set()
    return np.asarray(inputs.records["instrument_id"].isin(never), dtype=bool)


def _survey_accuracy(inputs: LevelInputs, point: InForce) -> tuple[Floats, NDArray[np.object_]]:
    """Return the accuracy of the survey that each level rests on, and where it comes from."""
    points = inputs.measuring_points
    accuracy = take_values(points["accuracy_m"].to_numpy(dtype=np.float64), point.index)
    height = take_values(points["height_above_ground_m"].to_numpy(dtype=np.float64), point.index)
    # A depth below ground without a height of the point rests on the survey of the ground.
    from_well = ~np.isnan(inputs.depth_below_ground_m) & np.isnan(height)
    stated = np.where(from_well, inputs.of_well("ground_accuracy_m"), accuracy)
    # A point without a date of survey counts from the day on which it came into force.
    surveyed = day_of(points["surveyed_on"].where(points["surveyed_on"].notna(), points["valid_from_utc"]))
    methods = np.append(points["survey_method"].fillna("").to_numpy(dtype=object), "")
    taken, origin = survey_defaults(
        np.where(from_well, "", methods[point.index]),
        np.append(surveyed, np.datetime64("NaT", "D"))[point.index],
        inputs.local_time.astype("datetime64[D]"),
    )
    is_stated = ~np.isnan(stated)
    return np.where(is_stated, stated, taken), np.where(is_stated, "stated", origin)


def _reading_accuracy(inputs: LevelInputs) -> tuple[Floats, NDArray[np.object_]]:
    """Return the accuracy of instrument or method of each reading, and where that of the reading comes from."""
    records, of_instrument = inputs.records, inputs.of_instrument("accuracy_m")
    kinds = records["instrument_id"].map(inputs.instruments.set_index("instrument_id")["kind"])
    method = records["method"].fillna("").astype(str)
    # The method written with the reading, or else the kind of its instrument.
    method = method.where(method != "", kinds.astype(object).fillna("").astype(str))
    taken, origin = reading_defaults(method.to_numpy(dtype=object), inputs.local_time.astype("datetime64[D]"))
    origin = np.where(np.isnan(of_instrument), origin, "of the instrument")
    # Last: what the source states of the reading comes before the instrument.
    origin = np.where(np.isnan(inputs.accuracy_m), origin, "stated")
    return np.where(np.isnan(of_instrument), taken, of_instrument), origin


def _beyond(inputs: LevelInputs, reading: Floats, tape: TapeCorrection) -> Floats:
    """Return how far each reading lies beyond the depths of its tape check."""
    distance = np.zeros(reading.shape)
    checks = inputs.tape_checks
    days = np.array(checks["checked_on"].tolist(), dtype="datetime64[D]")
    for number in np.unique(tape.check[tape.beyond]):
        rows = (checks["instrument_id"].to_numpy() == tape.check_instrument[number]) & (days == tape.check_day[number])
        depths = checks["tape_reading_m"].to_numpy(dtype=np.float64)[rows]
        here = tape.beyond & (tape.check == number)
        distance[here] = np.maximum(depths.min() - reading[here], reading[here] - depths.max())
    return distance
