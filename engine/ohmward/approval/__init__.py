"""Verdicts kept by the digest of exactly one table: proof writes them, work asks for them."""
