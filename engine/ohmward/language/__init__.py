"""The procedure language: YAML with positions, models, limits, names. Every fault of a file at once."""
