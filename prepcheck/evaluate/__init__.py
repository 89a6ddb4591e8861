"""Measures of section 4 of the design on labelled folders, and what can be reached at all."""
