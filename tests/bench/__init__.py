"""Ratios, side by side in one run; never an absolute time, never a test that can fail."""
