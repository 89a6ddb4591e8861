"""Marking residue by eye before the tool answers, and the difference; pure."""
