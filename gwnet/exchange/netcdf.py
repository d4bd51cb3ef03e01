"""CF-1.11 netCDF: levels and heads as discrete sampling geometries, time series in a contiguous ragged array.

The file is netCDF of the 64-bit offset form, which needs no further library and which every reader of netCDF knows.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from gwnet.exchange.extract import Extract
from gwnet.exchange.level_series import DEPTH, LevelSeries, iterate_series
from gwnet.exchange.registry import register_format
from gwnet.exchange.xml_text import places_of
from gwnet.store.columns import QUALITIES
from gwnet.version import PROGRAM

_BOUNDS: Final = ("", "<=", ">=")
_MISSING: Final = -9999.0
_EPOCH: Final = np.datetime64("1970-01-01T00:00:00", "us")
_ON_OBSERVATIONS: Final = {"coordinates": "time latitude longitude timeseries_id", "grid_mapping": "crs"}


@register_format(
    "netcdf",
    "levels and heads of loggers as time series of CF-1.11 (contiguous ragged array), with uncertainty, bounds and "
    "quality; for bulk",
    ending=".nc",
)
def write_netcdf(extract: Extract, path: Path) -> None:
    """Write the levels of an extract as CF-1.11 netCDF.

    Parameters as `gwnet.exchange`.

    Notes
    -----
    Series as of `gwnet.exchange.level_series`: depths by measuring point, elevations, heads of loggers. For a depth
    below a measuring point and for a head there is no standard name, so they have long names.
    """
    from scipy.io import netcdf_file

    series = list(iterate_series(extract))
    # 64-bit offsets: the first form ends at 2 GiB, which a large network of loggers exceeds.
    with netcdf_file(path, "w", version=2) as file:
        _write_globals(file, extract)
        file.createDimension("timeseries", len(series))
        file.createDimension("obs", sum(len(one) for one in series))
        _write_series(file, extract, series)
        _write_observations(file, series)


def _write_globals(file: Any, extract: Extract) -> None:
    when = extract.recorded_at_utc.strftime("%Y-%m-%dT%H:%M:%SZ")
    about = {
        "Conventions": "CF-1.11",
        "featureType": "timeSeries",
        "title": "Groundwater levels",
        "institution": "; ".join(dict.fromkeys(extract.record.sites["operator"].astype(str))) or "not stated",
        "source": "manual measurements and loggers of a groundwater monitoring network",
        "history": f"{when} {PROGRAM}: export of the record as known on {extract.state_text}",
        "references": "not stated",
        "comment": "Depths are positive downward below the measuring point, elevations positive upward above the "
        "vertical datum of the site.",
        "standard_name_vocabulary": "CF Standard Name Table v93",
    }
    for name, text in about.items():
        # As bytes: the library takes texts in ASCII alone, and names of sites have other letters.
        setattr(file, name, text.encode())
    crs = file.createVariable("crs", "i", ())
    crs[...] = 0
    _describe(
        crs,
        {
            "grid_mapping_name": "latitude_longitude",
            "semi_major_axis": np.float64(6378137.0),
            "inverse_flattening": np.float64(298.257223563),
            "reference_ellipsoid_name": "WGS 84",
            "prime_meridian_name": "Greenwich",
            "horizontal_datum_name": "World Geodetic System 1984",
        },
    )


def _describe(variable: Any, attributes: Mapping[str, Any]) -> None:
    for name, value in attributes.items():
        setattr(variable, name, value.encode() if isinstance(value, str) else value)


def _write_series(file: Any, extract: Extract, series: Sequence[LevelSeries]) -> None:
    places, sites = places_of(extract), extract.record.sites.set_index("site")
    points = extract.record.measuring_points.set_index("measuring_point_id")["elevation_m"]
    located = [places[one.site, one.well] or (_MISSING, _MISSING) for one in series]
    texts = {
        "timeseries_id": ([_name(one) for one in series], {"cf_role": "timeseries_id", "long_name": "series"}),
        "site": ([one.site for one in series], {"long_name": "site"}),
        "well": ([one.well for one in series], {"long_name": "well"}),
        "access": ([one.access for one in series], {"long_name": "access to the well"}),
        "instrument": ([one.instrument for one in series], {"long_name": "logger; empty for manual readings"}),
        "vertical_datum": (
            [str(sites.loc[one.site, "vertical_datum"]) for one in series],
            {"long_name": "vertical datum of elevations"},
        ),
    }
    for name, (values, attributes) in texts.items():
        _write_texts(file, name, values, attributes)
    numbers = {
        "latitude": (
            [place[0] for place in located],
            {"standard_name": "latitude", "long_name": "latitude of the well", "units": "degrees_north"},
        ),
        "longitude": (
            [place[1] for place in located],
            {"standard_name": "longitude", "long_name": "longitude of the well", "units": "degrees_east"},
        ),
        "measuring_point_elevation": (
            [_MISSING if one.measuring_point is None else points[one.measuring_point] for one in series],
            {"long_name": "elevation of the measuring point of depths", "units": "m"},
        ),
    }
    for name, (sizes_of, attributes) in numbers.items():
        variable = file.createVariable(name, "d", ("timeseries",))
        filled = np.array(sizes_of, dtype=np.float64)
        variable[:] = np.where(np.isnan(filled), _MISSING, filled)
        # Places are coordinates of the observations, which are declared to be complete; a well without one keeps the
        # number, undeclared.
        missing = {} if name in ("latitude", "longitude") else {"_FillValue": np.float64(_MISSING)}
        _describe(variable, {**attributes, **missing})
    sizes = file.createVariable("row_size", "i", ("timeseries",))
    sizes[:] = np.array([len(one) for one in series], dtype=np.int32)
    _describe(sizes, {"long_name": "number of observations of the series", "sample_dimension": "obs"})


def _write_texts(file: Any, name: str, values: Sequence[str], attributes: Mapping[str, Any]) -> None:
    """Write texts as rows of characters, in UTF-8."""
    coded = [value.encode() for value in values]
    # netCDF-3 has no texts, only rows of characters, and a dimension of length 0 is the unlimited one.
    width = max((len(text) for text in coded), default=1) or 1
    file.createDimension(f"{name}_length", width)
    variable = file.createVariable(name, "c", ("timeseries", f"{name}_length"))
    rows = np.array([list(text.ljust(width, b"\0")) for text in coded], dtype=np.uint8).reshape(len(coded), width)
    variable[:] = rows.view("S1")
    _describe(variable, {**attributes, "_Encoding": "utf-8"})


def _name(one: LevelSeries) -> str:
    point = "" if one.measuring_point is None else f":{one.measuring_point}"
    # A logger that was installed twice in one well has two series, which its first time tells apart.
    first = np.datetime_as_string(one.time_utc[0], unit="s")
    return f"{one.site}:{one.well}:{one.access}:{one.instrument or 'manual'}:{one.quantity}{point}:{first}Z:{one.part}"


def _write_observations(file: Any, series: Sequence[LevelSeries]) -> None:
    empty = np.empty(0)
    time = file.createVariable("time", "d", ("obs",))
    time[:] = np.concatenate([(one.time_utc - _EPOCH) / np.timedelta64(1, "s") for one in series] or [empty])
    _describe(
        time,
        {
            "standard_name": "time",
            "long_name": "time of the measurement",
            "units": "seconds since 1970-01-01T00:00:00Z",
            "calendar": "standard",
            # CF-1.11 recommends to say it: clocks of loggers and field books do not tell.
            "units_metadata": "leap_seconds: unknown",
        },
    )
    columns = {
        "depth_to_water": ("depth to water below the measuring point", [_of(one, depth=True) for one in series]),
        "groundwater_elevation": ("elevation of the water in the well", [_of(one, depth=False) for one in series]),
        "elevation_uncertainty": ("95 % half-width of the elevation", [one.uncertainty_m for one in series]),
        "level_limit": ("bound of the depth or elevation", [one.limit_m for one in series]),
    }
    for name, (title, parts) in columns.items():
        variable = file.createVariable(name, "d", ("obs",))
        values = np.concatenate(parts or [empty])
        variable[:] = np.where(np.isnan(values), _MISSING, values)
        described = {"long_name": title, "units": "m", "_FillValue": np.float64(_MISSING), **_ON_OBSERVATIONS}
        # The flags are about the level; its uncertainty and its limit have no quality of their own.
        if name in ("depth_to_water", "groundwater_elevation"):
            described |= {"ancillary_variables": "level_qc level_bound level_usable", "cell_methods": "time: point"}
        _describe(variable, described)
    flags = {
        "level_qc": (
            "quality of the measurement",
            "quality_flag",
            QUALITIES,
            [_codes(one.quality, QUALITIES, QUALITIES.index("unchecked")) for one in series],
        ),
        "level_bound": (
            "whether the water is at the value, or at or below or above level_limit",
            "status_flag",
            ("value", "at_or_below_limit", "at_or_above_limit"),
            [_codes(one.bound, _BOUNDS, 0) for one in series],
        ),
        "level_usable": (
            "whether the level serves for statistics and maps",
            "status_flag",
            ("not_usable", "usable"),
            [(one.unusable == "").astype(np.int8) for one in series],
        ),
    }
    for name, (title, standard, meanings, codes) in flags.items():
        variable = file.createVariable(name, "b", ("obs",))
        variable[:] = np.concatenate(codes or [empty]).astype(np.int8)
        _describe(
            variable,
            {
                "long_name": title,
                "standard_name": standard,
                "flag_values": np.arange(len(meanings), dtype=np.int8),
                "flag_meanings": " ".join(meanings),
                "coordinates": _ON_OBSERVATIONS["coordinates"],
            },
        )


def _of(one: LevelSeries, *, depth: bool) -> NDArray[np.float64]:
    """Return the values of a series where it is of that quantity and no bound; else none."""
    if (one.quantity == DEPTH) != depth:
        return np.full(len(one), np.nan)
    return np.where(one.bound == "", one.value_m, np.nan)


def _codes(texts: NDArray[np.object_], words: Sequence[str], other: int) -> NDArray[np.int8]:
    place = {word: number for number, word in enumerate(words)}
    return np.array([place.get(text, other) for text in texts.tolist()], dtype=np.int8)
