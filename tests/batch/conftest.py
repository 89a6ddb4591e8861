from __future__ import annotations

from tests.batch.small import palette_workers

__all__ = ["palette_workers"]
