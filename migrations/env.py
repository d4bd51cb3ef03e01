"""Runs the revisions on the connection that the program hands over."""

from alembic import context

from gwnet.store.models.schema import METADATA

connection = context.config.attributes["connection"]
context.configure(
    connection=connection,
    target_metadata=METADATA,
    transactional_ddl=False,
    transaction_per_migration=False,
    render_as_batch=connection.dialect.name == "sqlite",
    compare_type=True,
)
context.run_migrations()
