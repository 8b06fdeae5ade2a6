"""One school's term report worked out a second time, plainly, from the CSV files."""
