"""The hand-over between two people who read the same points: nothing of the first reading is left on the screen."""

from collections.abc import Callable

from ohmward.account.judge import parse_value
from ohmward.account.state import Account
from ohmward.terminal.screen import Page, show_view
from ohmward.trade.quantity import QuantityError
from ohmward.work.screenful import View


def is_value(text: str, unit: str) -> bool:
    """What one of two typed wrong is asked again before the other reads: a refusal would tell it."""
    try:
        parse_value(text, unit)
    except QuantityError:
        return False
    return True


def hand_over(page: Page, read: Callable[[str], str], view: View, account: Account) -> None:
    """Wipes the screen, waits for the second person, and shows them the question as it was first shown."""
    page.wipe()
    page.signal(
        "notice",
        f"Now {view.second} reads the same points, with probes of their own hand. What was read is not shown, and not told.",
    )
    read(f"hand the device over; {view.second} presses Enter > ")
    show_view(page.console, view, title=str(account.table.data["title"]), rehearsal=account.rehearsal)
    page.line()
