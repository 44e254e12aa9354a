"""Entries, their canonical bytes and chain, bundles, verification of integrity. Knows no procedure."""
