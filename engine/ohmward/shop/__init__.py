"""The employer's folder: people, gear, job sheets, settings, own procedures, the store."""
