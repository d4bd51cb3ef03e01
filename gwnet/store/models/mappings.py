"""Mappings of other people's tables, and the files that were imported by each."""

from sqlalchemy import ForeignKey, Index, Integer
from sqlalchemy.orm import Mapped, mapped_column

from gwnet.store.models.base import Base, Recorded, live_index


class ImportMapping(Recorded, Base):
    """One mapping as it was used (TOML); a changed one of the same name retires it."""

    __tablename__ = "import_mapping"
    __table_args__ = (*Recorded.recorded_constraints(), live_index("uq_import_mapping_live", "name"))

    name: Mapped[str]
    sha256: Mapped[str]
    content: Mapped[str]


class MappedSource(Base):
    """A file whose rows came onto record by a mapping."""

    __tablename__ = "mapped_source"
    __table_args__ = (Index("uq_mapped_source_file_mapping", "source_file_id", "import_mapping_id", unique=True),)

    id: Mapped[int] = mapped_column(Integer, primary_key=True)
    source_file_id: Mapped[int] = mapped_column(ForeignKey("source_file.id"))
    import_mapping_id: Mapped[int] = mapped_column(ForeignKey("import_mapping.id"))
