"""`new`."""

import argparse
from datetime import UTC, datetime
from pathlib import Path

from ohmward.errors import DONE
from ohmward.shop.folder import make_shop
from ohmward.terminal.screen import CAUTION, say


def new(options: argparse.Namespace) -> int:
    """Makes a shop with the bakery example."""
    directory = Path(options.directory)
    for path in make_shop(directory, datetime.now(UTC).date()):
        print(f"wrote {path}")
    print(
        f"Next: ohmward work run-motor-directly --rehearse --shop {directory} --job {directory / 'job-proving-fan.yaml'}"
    )
    say(CAUTION)
    return DONE
