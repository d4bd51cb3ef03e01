"""Temperature and pull of tapes, and what a tape lengthens by.

Revision ID: 0009
Revises: 0008

This file is a frozen copy: it imports nothing of the program, so that it still makes the same tables when the
program has moved on.
"""

import sqlalchemy as sa
from alembic import op

revision = "0009"
down_revision = "0008"
branch_labels = None
depends_on = None

COLUMNS = {
    "instrument_record": (
        "standard_temperature_degc",
        "thermal_expansion_ppm_degc",
        "standard_tension_n",
        "axial_stiffness_kn",
        "mass_per_length_g_m",
    ),
    "level_record": ("tape_temperature_degc", "tape_tension_n"),
}


def upgrade():
    """Add the columns, empty in what is on record."""
    for table, names in COLUMNS.items():
        for name in names:
            op.add_column(table, sa.Column(name, sa.Double()))
