"""Records on paper."""
