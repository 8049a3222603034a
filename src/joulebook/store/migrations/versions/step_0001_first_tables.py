"""The first tables: sections, their changes and files, codes, audits, settings."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None


def upgrade() -> None:
    """Make the tables."""
    op.create_table(
        "sections",
        sa.Column("id", sa.String(20), nullable=False),
        sa.Column("made_at", sa.String(30), nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_sections"),
    )
    op.create_table(
        "changes",
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer, "sqlite"), autoincrement=True, nullable=False),
        sa.Column("section", sa.String(20), nullable=False),
        sa.Column("seq", sa.Integer, nullable=False),
        sa.Column("at", sa.String(30), nullable=False),
        sa.Column("kind", sa.String(40), nullable=False),
        sa.Column("actor", sa.String(20), nullable=False),
        sa.Column("bench", sa.Integer, nullable=True),
        sa.Column("body", sa.JSON, nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_changes"),
        sa.ForeignKeyConstraint(["section"], ["sections.id"], name="fk_changes_section_sections", ondelete="CASCADE"),
        sa.UniqueConstraint("section", "seq", name="uq_changes_section"),
    )
    op.create_table(
        "files",
        sa.Column("section", sa.String(20), nullable=False),
        sa.Column("sha256", sa.String(64), nullable=False),
        sa.Column("content", sa.LargeBinary, nullable=False),
        sa.PrimaryKeyConstraint("section", "sha256", name="pk_files"),
        sa.ForeignKeyConstraint(["section"], ["sections.id"], name="fk_files_section_sections", ondelete="CASCADE"),
    )
    op.create_table(
        "codes",
        sa.Column("code", sa.String(12), nullable=False),
        sa.Column("section", sa.String(20), nullable=False),
        sa.Column("bench", sa.Integer, nullable=False),
        sa.PrimaryKeyConstraint("code", name="pk_codes"),
        sa.ForeignKeyConstraint(["section"], ["sections.id"], name="fk_codes_section_sections", ondelete="CASCADE"),
    )
    op.create_index("ix_codes_place", "codes", ["section", "bench"], unique=True)
    op.create_table(
        "audits",
        sa.Column("section", sa.String(20), nullable=False),
        sa.Column("bench", sa.Integer, nullable=False),
        sa.Column("key", sa.String(64), nullable=False),
        sa.Column("audit", sa.JSON(none_as_null=True), nullable=True),
        sa.PrimaryKeyConstraint("section", "bench", name="pk_audits"),
        sa.ForeignKeyConstraint(["section"], ["sections.id"], name="fk_audits_section_sections", ondelete="CASCADE"),
    )
    op.create_table(
        "settings",
        sa.Column("name", sa.String(60), nullable=False),
        sa.Column("value", sa.Text, nullable=False),
        sa.PrimaryKeyConstraint("name", name="pk_settings"),
    )
