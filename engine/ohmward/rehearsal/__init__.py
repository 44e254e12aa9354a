"""Runs that never count: scripted answers on a simulated machine, and the clock that goes with them."""
