"""Closed lists of words that need no model to be read."""

SLOTS = (
    "voltmeter",
    "clamp",
    "insulation-tester",
    "known-source",
    "gloves",
    "test-lead",
    "lock",
    "thermometer",
    "gauges",
)
ROLES = ("apprentice", "qualified-person", "supervisor", "safety-officer")
MEANS = ("breaker", "disconnect", "plug")  # what can hold off
RESERVED = frozenset(
    {"fact", "gear", "here", "it", "machine", "person", "value", *SLOTS, *ROLES, *MEANS}
)  # no source's id
TRIPPING = frozenset({"breaker", "fuse", "protector"})
