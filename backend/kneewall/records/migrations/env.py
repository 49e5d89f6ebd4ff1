"""Run by Alembic on the connection that `Store.open` hands over."""

from alembic import context

from kneewall.records.schema import metadata

context.configure(
    connection=context.config.attributes["connection"],
    target_metadata=metadata,
    render_as_batch=True,
)
context.run_migrations()
