"""Evidence by hash: the bytes of each photo, stored once."""
