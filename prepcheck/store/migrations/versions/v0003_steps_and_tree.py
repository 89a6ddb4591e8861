"""Events of people, roles and PINs, and a tree of leaves over everything in the log; what may be erased for a lawful reason."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

from prepcheck.store.columns import HASH, KEY, TEXT
from prepcheck.store.leaves import put_leaf
from prepcheck.store.migrations.append_only import allow_changes, forbid_changes, forbid_changes_but, on_server

revision = "v0003_steps_and_tree"
down_revision = "v0002_moved_light_and_passes"


def upgrade() -> None:
    """Make the tables, and give every row so far its leaf: people, jobs, inspections, disagreements, each in order."""
    _events_and_people()
    _leaves()
    _erasable()
    connection = op.get_bind()
    for kind, table in (
        ("person", "people"),
        ("job", "jobs"),
        ("inspection", "inspections"),
        ("disagreement", "disagreements"),
    ):
        for row in connection.scalars(sa.text(f"SELECT id FROM {table} ORDER BY id")).all():
            put_leaf(connection, kind, row)


def _key() -> sa.Column[int]:
    return sa.Column("id", KEY, primary_key=True, autoincrement=False)


def _to(name: str, target: str, *, needed: bool = True) -> sa.Column[int]:
    return sa.Column(name, KEY, sa.ForeignKey(f"{target}.id"), nullable=not needed)


def _texts(*names: str) -> list[sa.Column[str]]:
    return [sa.Column(name, TEXT, nullable=False) for name in names]


def _events_and_people() -> None:
    op.create_table(
        "events",
        _key(),
        _to("job_id", "jobs", needed=False),
        _to("person_id", "people"),
        *_texts("role", "kind", "at"),
        sa.Column("body", TEXT),
    )
    op.create_index("events_by_job", "events", ["job_id"])
    op.create_table(
        "credentials", _key(), _to("person_id", "people"), *_texts("role", "pin", "at"), _to("set_by", "people")
    )
    op.create_index("credentials_by_person", "credentials", ["person_id"])
    right = sa.Column("right", sa.Integer, nullable=False)
    op.create_table("pin_attempts", _key(), _to("person_id", "people"), *_texts("at"), right)
    op.create_index("pin_attempts_by_person", "pin_attempts", ["person_id"])
    forbid_changes("pin_attempts")


def _leaves() -> None:
    op.create_table(
        "leaves",
        _key(),
        _to("job_id", "jobs", needed=False),
        sa.Column("nth", sa.Integer, nullable=False),
        *_texts("kind"),
        sa.Column("row", KEY, nullable=False),
        *_texts("salt"),
        sa.Column("text", TEXT),
        sa.Column("hash", HASH, nullable=False),
        *_texts("erased"),
        sa.UniqueConstraint("kind", "row"),
    )
    op.create_index("leaves_by_job", "leaves", ["job_id", "nth"])


def _erasable() -> None:
    """Forbid every change but the one that erases: it takes text away, once, and says why where there is room for it."""
    for table in ("people", "jobs"):
        allow_changes(table)
    newline = "chr(10)" if on_server() else "char(10)"
    forbid_changes_but(
        "people",
        same=("id",),
        erased=f"NEW.name = 'erased person ' || OLD.id AND NEW.folded = {newline} || OLD.id AND OLD.folded <> NEW.folded",
    )
    forbid_changes_but(
        "jobs",
        same=("id", "number", "alloy", "wall_mm", "previous_contents", "opened_at", "opened_by"),
        erased="NEW.title = 'erased' AND NEW.part = '' AND NEW.customer_reference = '' AND "
        "(OLD.title <> 'erased' OR OLD.part <> '' OR OLD.customer_reference <> '')",
    )
    forbid_changes_but(
        "events",
        same=("id", "job_id", "person_id", "role", "kind", "at"),
        erased="OLD.body IS NOT NULL AND NEW.body IS NULL AND OLD.kind NOT IN ('work_chosen', 'step_done', 'step_released', "
        "'step_reopened', 'sealed', 'erased')",
    )
    forbid_changes_but(
        "credentials",
        same=("id", "person_id", "role", "at", "set_by"),
        erased="OLD.pin <> '' AND NEW.pin = ''",
    )
    forbid_changes_but(
        "leaves",
        same=("id", "job_id", "nth", "kind", "row", "hash"),
        erased="OLD.text IS NOT NULL AND NEW.text IS NULL AND NEW.salt = '' AND NEW.erased <> ''",
    )
