"""The append-only record store: jobs, spots, passes, photos, inspections, people."""
