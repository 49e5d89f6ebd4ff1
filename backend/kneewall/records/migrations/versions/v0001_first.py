"""The first tables."""

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "alarm",
        sa.Column(
            "id",
            sa.BigInteger().with_variant(sa.Integer(), "sqlite"),
            autoincrement=True,
            nullable=False,
        ),
        sa.Column("raised", sa.String(length=40), nullable=False),
        sa.Column("device", sa.String(length=36), nullable=False),
        sa.Column("kind", sa.String(length=20), nullable=False),
        sa.Column("about", sa.String(length=200), nullable=False),
        sa.Column("detail", sa.Text(), nullable=False),
        sa.Column("seen", sa.String(length=40), nullable=True),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("device", "kind", "about"),
        sqlite_autoincrement=True,
    )
    op.create_table(
        "device",
        sa.Column("id", sa.String(length=36), nullable=False),
        sa.Column("sort", sa.String(length=10), nullable=False),
        sa.Column("name", sa.String(length=200), nullable=False),
        sa.Column("token_hash", sa.String(length=64), nullable=True),
        sa.Column("enrolled", sa.String(length=40), nullable=False),
        sa.Column("revoked", sa.String(length=40), nullable=True),
        sa.Column("last_contact", sa.String(length=40), nullable=True),
        sa.Column("report", sa.Text(), nullable=True),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("token_hash"),
    )
    op.create_table(
        "enrolment",
        sa.Column("selector", sa.String(length=3), nullable=False),
        sa.Column("code_hash", sa.String(length=64), nullable=False),
        sa.Column("made_by", sa.String(length=200), nullable=False),
        sa.Column("expires", sa.String(length=40), nullable=False),
        sa.Column("tries", sa.Integer(), nullable=False),
        sa.Column("used_by", sa.String(length=36), nullable=True),
        sa.PrimaryKeyConstraint("selector"),
    )
    op.create_table(
        "line",
        sa.Column(
            "pos",
            sa.BigInteger().with_variant(sa.Integer(), "sqlite"),
            autoincrement=True,
            nullable=False,
        ),
        sa.Column("hash", sa.String(length=64), nullable=False),
        sa.Column("raw", sa.LargeBinary(), nullable=False),
        sa.Column("delivered_by", sa.String(length=36), nullable=False),
        sa.Column("received", sa.String(length=40), nullable=False),
        sa.Column("state", sa.String(length=12), nullable=False),
        sa.Column("code", sa.String(length=20), nullable=True),
        sa.Column("reason", sa.Text(), nullable=True),
        sa.Column("record", sa.String(length=36), nullable=True),
        sa.Column("device", sa.String(length=36), nullable=True),
        sa.Column("epoch", sa.String(length=36), nullable=True),
        sa.Column("seq", sa.BigInteger(), nullable=True),
        sa.Column("prev", sa.String(length=64), nullable=True),
        sa.Column("kind", sa.String(length=40), nullable=True),
        sa.Column("site", sa.String(length=36), nullable=True),
        sa.Column("system", sa.String(length=36), nullable=True),
        sa.Column("visit", sa.String(length=36), nullable=True),
        sa.Column("photo", sa.String(length=64), nullable=True),
        sa.PrimaryKeyConstraint("pos"),
        sa.UniqueConstraint("hash"),
        sqlite_autoincrement=True,
    )
    op.create_index("line_kind", "line", ["kind"], unique=False)
    op.create_index("line_photo", "line", ["photo"], unique=False)
    op.create_index(
        "line_record_once",
        "line",
        ["record"],
        unique=True,
        sqlite_where=sa.text("state = 'stored'"),
        postgresql_where=sa.text("state = 'stored'"),
    )
    op.create_index("line_sequence", "line", ["device", "epoch", "seq"], unique=False)
    op.create_index("line_site", "line", ["site"], unique=False)
    op.create_index("line_state", "line", ["state"], unique=False)
    op.create_index("line_system", "line", ["system"], unique=False)
    op.create_index("line_visit", "line", ["visit"], unique=False)
    op.create_table(
        "meta",
        sa.Column("key", sa.String(length=40), nullable=False),
        sa.Column("value", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("key"),
    )
    op.create_table(
        "person",
        sa.Column("name", sa.String(length=200), nullable=False),
        sa.Column("password_hash", sa.String(length=200), nullable=False),
        sa.Column("added", sa.String(length=40), nullable=False),
        sa.Column("barred", sa.Boolean(), nullable=False),
        sa.PrimaryKeyConstraint("name"),
    )
    op.create_table(
        "photo",
        sa.Column("hash", sa.String(length=64), nullable=False),
        sa.Column("size", sa.Integer(), nullable=False),
        sa.Column("mime", sa.String(length=40), nullable=False),
        sa.Column("device", sa.String(length=36), nullable=False),
        sa.Column("received", sa.String(length=40), nullable=False),
        sa.PrimaryKeyConstraint("hash"),
    )
    op.create_table(
        "publication",
        sa.Column("number", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("hash", sa.String(length=64), nullable=False),
        sa.Column("size", sa.Integer(), nullable=False),
        sa.Column("format", sa.Integer(), nullable=False),
        sa.Column("date", sa.String(length=40), nullable=False),
        sa.Column("author", sa.String(length=200), nullable=False),
        sa.Column("note", sa.Text(), nullable=False),
        sa.Column("least_app", sa.String(length=40), nullable=False),
        sa.PrimaryKeyConstraint("number"),
    )
    op.create_table(
        "concern",
        sa.Column("device", sa.String(length=36), nullable=False),
        sa.Column("system", sa.String(length=36), nullable=False),
        sa.ForeignKeyConstraint(
            ["device"],
            ["device.id"],
        ),
        sa.PrimaryKeyConstraint("device", "system"),
    )
    op.create_table(
        "event",
        sa.Column("id", sa.String(length=36), nullable=False),
        sa.Column("device", sa.String(length=36), nullable=False),
        sa.Column("received", sa.String(length=40), nullable=False),
        sa.Column("kind", sa.String(length=40), nullable=False),
        sa.Column("wall", sa.String(length=60), nullable=False),
        sa.Column("text", sa.Text(), nullable=False),
        sa.Column("edition", sa.String(length=64), nullable=True),
        sa.Column("seen", sa.String(length=40), nullable=True),
        sa.ForeignKeyConstraint(
            ["device"],
            ["device.id"],
        ),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_table(
        "feed",
        sa.Column(
            "pos",
            sa.BigInteger().with_variant(sa.Integer(), "sqlite"),
            autoincrement=True,
            nullable=False,
        ),
        sa.Column("device", sa.String(length=36), nullable=False),
        sa.Column("line", sa.BigInteger(), nullable=False),
        sa.ForeignKeyConstraint(
            ["device"],
            ["device.id"],
        ),
        sa.ForeignKeyConstraint(
            ["line"],
            ["line.pos"],
        ),
        sa.PrimaryKeyConstraint("pos"),
        sa.UniqueConstraint("device", "line"),
        sqlite_autoincrement=True,
    )
    op.create_index("feed_device", "feed", ["device", "pos"], unique=False)
    op.create_table(
        "head",
        sa.Column("device", sa.String(length=36), nullable=False),
        sa.Column("epoch", sa.String(length=36), nullable=False),
        sa.Column("seq", sa.BigInteger(), nullable=False),
        sa.Column("kept", sa.BigInteger(), nullable=False),
        sa.Column("hash", sa.String(length=64), nullable=True),
        sa.Column("told", sa.String(length=40), nullable=False),
        sa.ForeignKeyConstraint(
            ["device"],
            ["device.id"],
        ),
        sa.PrimaryKeyConstraint("device", "epoch"),
    )
    op.create_table(
        "sitting",
        sa.Column("token_hash", sa.String(length=64), nullable=False),
        sa.Column("person", sa.String(length=200), nullable=False),
        sa.Column("form_token", sa.String(length=64), nullable=False),
        sa.Column("began", sa.String(length=40), nullable=False),
        sa.Column("last_used", sa.String(length=40), nullable=False),
        sa.ForeignKeyConstraint(
            ["person"],
            ["person.name"],
        ),
        sa.PrimaryKeyConstraint("token_hash"),
    )
