"""A procedure compiled with its gates into one table of moves; everything else reads that table."""
