"""Named migrations of the log, each in one transaction. They ship with the package and are never edited afterwards."""
