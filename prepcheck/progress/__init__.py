"""People's work over time, told from the log: counts of spots, never grades.

`log` reads, all else is pure. Counts are `Tally`s here; whoever tells them puts an interval beside (`prepcheck.report`).
"""
