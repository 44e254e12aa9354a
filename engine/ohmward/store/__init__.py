"""Where entries are kept: append, head, fetch. Acknowledged means durable."""
