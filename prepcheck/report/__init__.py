"""Pictures and tables from records; never computes a score."""
