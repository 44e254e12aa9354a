"""Published motor tables, row by row. The text of each row is the publication's; nothing is filled in.

Source of all: NEC tables as adopted in the California Electrical Code 2022.
"""

from decimal import Decimal
from fractions import Fraction

Row = tuple[Decimal | None, ...]


def _rows(text: str) -> dict[Fraction, Row]:
    """`1 1/2: 20 11.5 11.0 10`; `-` where the publication has no value."""
    made: dict[Fraction, Row] = {}
    for line in text.strip().splitlines():
        power, _, values = line.partition(":")
        key = sum((Fraction(part) for part in power.split()), Fraction(0))
        made[key] = tuple(None if v == "-" else Decimal(v) for v in values.split())
    return made


# Table 430.248: full-load current of single-phase AC motors, A, by rated voltage.
SINGLE_VOLTS = (115, 200, 208, 230)
SINGLE_PHASE = _rows("""
1/6: 4.4 2.5 2.4 2.2
1/4: 5.8 3.3 3.2 2.9
1/3: 7.2 4.1 4.0 3.6
1/2: 9.8 5.6 5.4 4.9
3/4: 13.8 7.9 7.6 6.9
1: 16 9.2 8.8 8.0
1 1/2: 20 11.5 11.0 10
2: 24 13.8 13.2 12
3: 34 19.6 18.7 17
5: 56 32.2 30.8 28
7 1/2: 80 46.0 44.0 40
10: 100 57.5 55.0 50
""")

# Table 430.250: full-load current of three-phase induction motors, A, by rated voltage.
THREE_VOLTS = (115, 200, 208, 230, 460, 575)
THREE_PHASE = _rows("""
1/2: 4.4 2.5 2.4 2.2 1.1 0.9
3/4: 6.4 3.7 3.5 3.2 1.6 1.3
1: 8.4 4.8 4.6 4.2 2.1 1.7
1 1/2: 12.0 6.9 6.6 6.0 3.0 2.4
2: 13.6 7.8 7.5 6.8 3.4 2.7
3: - 11.0 10.6 9.6 4.8 3.9
5: - 17.5 16.7 15.2 7.6 6.1
7 1/2: - 25.3 24.2 22 11 9
10: - 32.2 30.8 28 14 11
15: - 48.3 46.2 42 21 17
20: - 62.1 59.4 54 27 22
25: - 78.2 74.8 68 34 27
30: - 92 88 80 40 32
40: - 120 114 104 52 41
50: - 150 143 130 65 52
""")

# Table 430.251(A): locked-rotor current of single-phase motors, A. The 115 V cell of 10 hp is left out: the copy that
# was read prints 1000 there and could not be checked.
LOCKED_VOLTS = (115, 208, 230)
LOCKED_ROTOR = _rows("""
1/2: 58.8 32.5 29.4
3/4: 82.8 45.8 41.4
1: 96 53 48
1 1/2: 120 66 60
2: 144 80 72
3: 204 113 102
5: 336 186 168
7 1/2: 480 265 240
10: - 332 300
""")

# Table 430.7(B): locked-rotor kVA for each horsepower, from - up to, by code letter; V has no upper end.
CODE_LETTERS: dict[str, tuple[Decimal, Decimal | None]] = {
    letter: (Decimal(low), Decimal(high) if high else None)
    for letter, low, high in (
        ("A", "0", "3.14"), ("B", "3.15", "3.54"), ("C", "3.55", "3.99"), ("D", "4.0", "4.49"), ("E", "4.5", "4.99"),
        ("F", "5.0", "5.59"), ("G", "5.6", "6.29"), ("H", "6.3", "7.09"), ("J", "7.1", "7.99"), ("K", "8.0", "8.99"),
        ("L", "9.0", "9.99"), ("M", "10.0", "11.19"), ("N", "11.2", "12.49"), ("P", "12.5", "13.99"),
        ("R", "14.0", "15.99"), ("S", "16.0", "17.99"), ("T", "18.0", "19.99"), ("U", "20.0", "22.39"), ("V", "22.4", ""),
    )
}  # fmt: skip
