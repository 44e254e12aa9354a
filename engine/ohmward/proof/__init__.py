"""Rules checked over every position that a table can reach, and the shortest way to break one as a story."""
