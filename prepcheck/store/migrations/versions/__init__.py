"""One module per migration, named like its revision."""
