"""Quantities, and the trade's own arithmetic with its published sources. Pure; no third-party import."""
