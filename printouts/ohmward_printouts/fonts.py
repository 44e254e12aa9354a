"""The embedded fonts, and text that shows what they lack instead of losing it."""

from functools import cache
from pathlib import Path
from xml.sax.saxutils import escape

from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont

REGULAR, BOLD = "ohmward-regular", "ohmward-bold"
SUBSTITUTE = "\u25a1"  # a visible box


@cache
def register() -> frozenset[int]:
    """Registers both fonts; gives back the code points that both can draw."""
    folder = Path(__file__).parent / "fonts"
    known: list[set[int]] = []
    for name, file in ((REGULAR, "DejaVuSans.ttf"), (BOLD, "DejaVuSans-Bold.ttf")):
        font = TTFont(name, str(folder / file))
        pdfmetrics.registerFont(font)
        known.append(set(font.face.charToGlyph))
    pdfmetrics.registerFontFamily(REGULAR, normal=REGULAR, bold=BOLD, italic=REGULAR, boldItalic=BOLD)
    return frozenset(known[0] & known[1])


def drawable(text: str) -> str:
    """The text with everything invisible, re-ordering or missing from the font shown as a box."""
    known = register()
    return "".join(
        c if c == " " or (c.isprintable() and ord(c) in known and not _hidden(ord(c))) else SUBSTITUTE
        for c in text.replace("\n", " ").replace("\t", " ")
    )


def _hidden(code: int) -> bool:
    return (
        0x200B <= code <= 0x200F
        or 0x202A <= code <= 0x202E
        or 0x2060 <= code <= 0x2069
        or code in {0xFEFF, 0xAD}
    )


def markup(text: str) -> str:
    """Drawable text, escaped for a paragraph."""
    return escape(drawable(text))
