"""What a record means: its entries folded over their table."""
