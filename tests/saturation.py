"""`python -m tests.saturation`: writes the shipped saturation table anew, from an open library of fluid properties.

Bubble and dew pressure of each refrigerant at whole temperatures, to 1 Pa. The facts hold the file that ships against
this, and against printed points.
"""

import importlib.metadata
from pathlib import Path

from CoolProp.CoolProp import PropsSI

OUT = Path(__file__).parent.parent / "engine" / "ohmward" / "trade" / "saturation_table.py"
FLUIDS = {"R-22": "R22", "R-32": "R32", "R-134a": "R134a", "R-407C": "R407C", "R-410A": "R410A", "R-454B": "R454B.mix"}
CELSIUS = range(-40, 67, 2)


def pressure(fluid: str, celsius: int, quality: int) -> int:
    """Pa; where the library's solver finds nothing, the geometric mean of the rows 2 K below and above (0.01 K off)."""
    try:
        return round(PropsSI("P", "T", celsius + 273.15, "Q", quality, FLUIDS[fluid]))
    except ValueError:
        below, above = (PropsSI("P", "T", celsius + 273.15 + step, "Q", quality, FLUIDS[fluid]) for step in (-2, 2))
        return round((below * above) ** 0.5)


def text() -> str:
    version = importlib.metadata.version("CoolProp")
    head = f'''"""Saturation pressures of refrigerants, Pa absolute: written by `python -m tests.saturation`, not by hand.

Source: CoolProp {version} (an open library of fluid properties), P(T, Q), quality 0 for bubble and 1 for dew; status: computed.
"""

# fmt: off
COLUMNS = {tuple(FLUIDS)!r}
# temperature in degC: (bubble, dew) for each column
ROWS: tuple[tuple[int, tuple[tuple[int, int], ...]], ...] = (
'''.replace("'", '"')
    rows = []
    for celsius in CELSIUS:
        cells = ", ".join(f"({pressure(f, celsius, 0)}, {pressure(f, celsius, 1)})" for f in FLUIDS)
        rows.append(f"    ({celsius}, ({cells})),\n")
    return head + "".join(rows) + ")\n"


if __name__ == "__main__":
    OUT.write_text(text())
    print(f"written: {OUT.name}, {len(CELSIUS)} temperatures, {len(FLUIDS)} refrigerants")
