"""Where the document stands from which a second verifier can be written."""

from pathlib import Path

FORMAT_DOCUMENT = Path(__file__).with_name("FORMAT.md")
