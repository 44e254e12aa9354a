"""`python -m tests.pictures`: README's pictures, made by the tool itself from the demo."""

import io
import subprocess
import tempfile
from pathlib import Path

from PIL import Image, ImageDraw, ImageFont
from rich.console import Console

from ohmward.account.fold import fold
from ohmward.terminal.screen import show_view
from ohmward_printouts.record_pdf import render_record
from tests.facts.shopping import Bench, good, seen

TARGET = Path(__file__).parent.parent / "printouts" / "pictures"


def main() -> None:
    """Writes terminal.png and record.png."""
    TARGET.mkdir(exist_ok=True)
    with tempfile.TemporaryDirectory() as folder:
        bench = Bench(Path(folder))
        bench.play(good(until="step: bump"))
        out = io.StringIO()
        show_view(Console(file=out, width=60, no_color=True, force_terminal=False), bench.view, title=str(bench.account.table.data["title"]), rehearsal=True)
        lines = [*out.getvalue().split("\n"), "g begin > "]
        font = ImageFont.truetype(str(Path(__file__).parent / "DejaVuSansMono.ttf"), 15)
        picture = Image.new("RGB", (580, 24 + 20 * len(lines)), "white")
        draw = ImageDraw.Draw(picture)
        for number, line in enumerate(lines):
            signal = line.strip().startswith("DANGER ")
            if signal:
                draw.rectangle((14, 9 + number * 20, 14 + 9 * 8, 28 + number * 20), fill="#c8102e")
                draw.text((14, 10 + number * 20), line[:8], fill="white", font=font)
            draw.text((14, 10 + number * 20), " " * 8 + line[8:] if signal else line, fill="black", font=font)
        picture.save(TARGET / "terminal.png", optimize=True)
        bench.play(good()[len(good(until="step: bump")) :])
        pdf = Path(folder) / "r.pdf"
        pdf.write_bytes(render_record(fold(bench.account.entries), seen(bench.session)))
        subprocess.run(["pdftoppm", "-r", "70", "-png", "-f", "1", "-l", "1", "-singlefile", str(pdf), str(TARGET / "record")], check=True)


if __name__ == "__main__":
    main()
