"""What a supervisor asks of many records: which need a look, why, and on what evidence."""
