"""A constructed site for rounds and field sheets: wells on a line, some years of quarterly levels, two tapes."""

from __future__ import annotations

import datetime as dt

from gwnet.network import Network, init

#: When the record was loaded.
LOADED = dt.datetime(2026, 4, 1, 8, 0, tzinfo=dt.UTC)

#: Wells: easting, hazards, access notes; depths are about 3 m, or 10 ft.
WELLS = {
    "A1": (500000, "", ""),
    "A2": (500100, "Dog on the loose", "Key at the mill"),
    "A3": (500200, "Contaminated: gloves", ""),
    "A4": (500300, "", "Through the gate, =left"),
    "A5": (500400, "", ""),
    "OLD": (500050, "", ""),
    "NEW": (500450, "", ""),
}

TABLES = {
    "aquifers": "aquifer\nupper\n",
    "instruments": "instrument,kind,length_below_sensing_point [m]\nT1,electric tape,0.10\nT2,electric tape,0.10\n"
    "REF,steel tape,\nL1,vented pressure logger,\n",
    "tape_checks": "instrument,checked_on,tape_reading [m],reference_reading [m]\nT1,2025-06-01,5,5\nT2,2024-11-01,5,5\n",
    "deployments": "site,well,instrument,installed_at\nF,A5,L1,2025-12-01T10:00\n",
}

#: Depths to water by year, every quarter [m].
YEARS = range(2019, 2026)


def tables(unit="m"):
    """Return the tables of the site, with its lengths in a unit."""
    factor = 1.0 if unit == "m" else 1 / 0.3048
    made = dict(TABLES)
    made["sites"] = (
        "site,name,crs,vertical_datum,length_unit,time_zone\n"
        f"F,Mill field (constructed),EPSG:25832,local,{unit},Europe/Vienna\n"
    )
    rows = ["site,well,easting,northing,aquifer,role,ground_elevation,total_depth,drilled_on,decommissioned_on,"]
    rows[0] += "access_notes,hazards"
    points = ["site,well,access,valid_from,elevation,height_above_ground,description,surveyed_on"]
    parts = ["site,well,part,top_depth,bottom_depth"]
    for well, (easting, hazards, access) in WELLS.items():
        ends = "2024-01-01" if well == "OLD" else ""
        drilled = "2026-03-15" if well == "NEW" else "2018-01-01"
        role = "upgradient" if well == "A5" else ""
        rows.append(
            f"F,{well},{easting},5300000,upper,{role},{100 * factor:.4f},{12 * factor:.4f},{drilled},{ends},"
            f'"{access}","{hazards}"'
        )
        parts.append(f"F,{well},screen,{4 * factor:.4f},{11 * factor:.4f}")
        points.append(f"F,{well},main,2018-06-01,{100.8 * factor:.4f},{0.8 * factor:.4f},Notch,2018-06-01")
    points.append(f"F,A2,dip tube,2018-06-01,{100.5 * factor:.4f},{0.5 * factor:.4f},Dip tube,2022-06-01")
    made["wells"], made["construction"] = "\n".join(rows) + "\n", "\n".join(parts) + "\n"
    made["measuring_points"] = "\n".join(points) + "\n"
    made["level_events"] = _levels(factor)
    return made


def _levels(factor):
    lines = ["site,well,date,time,status,depth_to_water,depth_to_product,sounded_depth,instrument,access"]
    for year in YEARS:
        for quarter, month in enumerate((2, 5, 8, 11)):
            for number, well in enumerate(("A1", "A2", "A3", "A4")):
                depth = 3.0 + 0.2 * quarter + 0.01 * (year - 2019) + 0.5 * number
                sounded = f"{12.4 * factor:.3f}" if (month == 8 and well == "A1") else ""
                product = f"{(depth - 0.2) * factor:.3f}" if (well == "A4" and year == 2023) else ""
                tape = "T1" if year >= 2025 else "T2"
                lines.append(
                    f"F,{well},{year}-{month:02d}-12,09:{10 + number},static,{depth * factor:.3f},{product},{sounded},"
                    f"{tape},main"
                )
    lines.append(f"F,A5,2025-11-12,12:00,dry,,,{11.6 * factor:.3f},T1,main")
    lines.append(f"F,OLD,2023-11-12,12:00,static,{3 * factor:.3f},,,T1,main")
    return "\n".join(lines) + "\n"


def field_network(folder, unit="m", address=None, **changed):
    """Make the record of the site in a folder and return it open; tables may be replaced by name."""
    source = folder / f"tables-{unit}"
    source.mkdir()
    for name, text in {**tables(unit), **changed}.items():
        (source / f"{name}.csv").write_text(text, encoding="utf-8")
    path = address or folder / f"field-{unit}.sqlite"
    init(path)
    net = Network(path)
    net.load([source], by="Keeper", now_utc=LOADED)
    return net
