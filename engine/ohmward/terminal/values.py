"""What is asked about values before they are an answer: whether they were typed right, and of two who read, one after the other."""

from collections.abc import Callable

from ohmward.account.judge import parse_value
from ohmward.account.state import Account
from ohmward.terminal.screen import Page, show_view
from ohmward.trade.quantity import QuantityError, with_unit
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


def typed_wrong(
    page: Page, read: Callable[[str], str], view: View, said: tuple[str, ...], outcome: str
) -> bool:
    """Before a reading leads away from the usual: what it means, and whether it was typed as the display shows it."""
    shown = "; ".join(with_unit(s, view.unit) for s in said)
    page.signal("caution", f"{shown}: {outcome}.")
    return read("Enter: the display shows exactly this · r typed wrong, read it again > ").lower() == "r"
