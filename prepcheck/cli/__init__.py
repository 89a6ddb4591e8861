"""Command line: one short module per command."""
