"""The tables of the store. Their history is in `migrations`; a test compares the two."""

from __future__ import annotations

from sqlalchemy import JSON, BigInteger, ForeignKey, Index, Integer, LargeBinary, MetaData, String, Text, UniqueConstraint
from sqlalchemy.orm import DeclarativeBase, Mapped, mapped_column

__all__ = ["AuditRow", "Base", "ChangeRow", "CodeRow", "FileRow", "SectionRow", "SettingRow"]


class Base(DeclarativeBase):
    """What every table derives from; constraints are named, so that a migration can speak of them."""

    metadata = MetaData(
        naming_convention={
            "ix": "ix_%(column_0_label)s",
            "uq": "uq_%(table_name)s_%(column_0_name)s",
            "fk": "fk_%(table_name)s_%(column_0_name)s_%(referred_table_name)s",
            "pk": "pk_%(table_name)s",
        }
    )


class SectionRow(Base):
    """A section. Everything else about it is in its changes; the row is also the lock that writers of the section take."""

    __tablename__ = "sections"
    id: Mapped[str] = mapped_column(String(20), primary_key=True)
    made_at: Mapped[str] = mapped_column(String(30))


class ChangeRow(Base):
    """A change, as in classroom.changes. seq: from 1 without gaps in its section."""

    __tablename__ = "changes"
    __table_args__ = (UniqueConstraint("section", "seq"),)
    id: Mapped[int] = mapped_column(BigInteger().with_variant(Integer, "sqlite"), primary_key=True, autoincrement=True)
    section: Mapped[str] = mapped_column(ForeignKey("sections.id", ondelete="CASCADE"))
    seq: Mapped[int] = mapped_column(Integer)
    at: Mapped[str] = mapped_column(String(30))
    kind: Mapped[str] = mapped_column(String(40))
    actor: Mapped[str] = mapped_column(String(20))
    bench: Mapped[int | None] = mapped_column(Integer)
    body: Mapped[dict[str, object]] = mapped_column(JSON)


class FileRow(Base):
    """The bytes of a record, once for each section that holds them, so that a deleted section takes its own with it."""

    __tablename__ = "files"
    section: Mapped[str] = mapped_column(ForeignKey("sections.id", ondelete="CASCADE"), primary_key=True)
    sha256: Mapped[str] = mapped_column(String(64), primary_key=True)
    content: Mapped[bytes] = mapped_column(LargeBinary)


class CodeRow(Base):
    """The code on a bench's card."""

    __tablename__ = "codes"
    __table_args__ = (Index("ix_codes_place", "section", "bench", unique=True),)
    code: Mapped[str] = mapped_column(String(12), primary_key=True)
    section: Mapped[str] = mapped_column(ForeignKey("sections.id", ondelete="CASCADE"))
    bench: Mapped[int] = mapped_column(Integer)


class AuditRow(Base):
    """The last audit of a bench as JSON, null when there was none. key: of the judgement that it came from."""

    __tablename__ = "audits"
    section: Mapped[str] = mapped_column(ForeignKey("sections.id", ondelete="CASCADE"), primary_key=True)
    bench: Mapped[int] = mapped_column(Integer, primary_key=True)
    key: Mapped[str] = mapped_column(String(64))
    audit: Mapped[dict[str, object] | None] = mapped_column(JSON(none_as_null=True))


class SettingRow(Base):
    """A setting of the store: the passphrase's hash, the secret that signs cookies."""

    __tablename__ = "settings"
    name: Mapped[str] = mapped_column(String(60), primary_key=True)
    value: Mapped[str] = mapped_column(Text)
