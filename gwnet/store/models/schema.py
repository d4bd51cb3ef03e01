"""All tables in one place, in an order in which they can be filled."""

from sqlalchemy import MetaData

from gwnet.store.models import (
    context,
    instruments,
    levels,
    loggers,
    mappings,
    measuring_points,
    pumping,
    reduced,
    register,
    rounds,
    sites,
    sources,
    states,
    thresholds,
    verdicts,
    wells,
)
from gwnet.store.models.base import Base, Recorded

#: Importing them is what fills the metadata.
_SUBJECTS = (
    sites,
    wells,
    measuring_points,
    instruments,
    rounds,
    levels,
    loggers,
    mappings,
    verdicts,
    thresholds,
    context,
    register,
    pumping,
    sources,
    states,
    reduced,
)

METADATA: MetaData = Base.metadata

#: Names of the tables whose rows carry the two times.
RECORDED_TABLES: tuple[str, ...] = tuple(
    sorted(str(mapper.local_table) for mapper in Base.registry.mappers if issubclass(mapper.class_, Recorded))
)
