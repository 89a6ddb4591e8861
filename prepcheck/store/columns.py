"""Types of columns that mean the same on SQLite and on PostgreSQL. Importing this loads SQLAlchemy."""

from __future__ import annotations

import sqlalchemy as sa

KEY = sa.Integer().with_variant(sa.BigInteger(), "postgresql")
"""Number of a row: 64 bits, as SQLite's are."""
TEXT = sa.Text().with_variant(sa.Text(collation="C"), "postgresql")
"""Text that is ordered and compared byte by byte, as SQLite does it, whatever language the server speaks."""
HASH = sa.String(64).with_variant(sa.String(64, collation="C"), "postgresql")
"""SHA-256 as 64 hex digits."""
