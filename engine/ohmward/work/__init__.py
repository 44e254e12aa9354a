"""A run: begin and answer, gates, lapses, stop, reconcile, resume."""
