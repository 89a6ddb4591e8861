"""The report of a whole job: content as plain data, laid out as PDF and as one page; tables as CSV, all as JSON."""
