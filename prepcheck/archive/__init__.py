"""Evidence by hash: the bytes of each photo, stored once."""

from prepcheck.archive.archive import Archive

__all__ = ["Archive"]
