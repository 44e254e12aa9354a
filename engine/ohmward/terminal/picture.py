"""Where the probes go, drawn with plain characters; the words beside it say the same."""

from ohmward.work.screenful import View

_GAP = 2


def strip_lines(view: View, width: int) -> tuple[str, ...]:
    """The strip of terminals with the ends of each point under it; nothing when there is no picture.

    `1` stands under the first end of a point (the red probe), `2` under the second (the black one).
    """
    if not view.strip:
        return ()
    shown = [name.upper() if len(name) == 1 else name for name in view.strip]
    boxes = [f"[ {name} ]" for name in shown]
    across = sum(len(b) + _GAP for b in boxes) <= width and view.along != "top to bottom"
    ends = [_ends(view, point) for point in view.points]
    if across:
        rows = [(" " * _GAP).join(boxes)]
        rows += [_under(boxes, marks) for marks in ends if any(marks)]
        return tuple(rows)
    return tuple(
        f"{box:<{max(len(b) for b in boxes)}}  {' '.join(m[n] for m in ends if m[n])}".rstrip()
        for n, box in enumerate(boxes)
    )


def _ends(view: View, point: str) -> list[str]:
    """For each terminal of the strip `1`, `2` or nothing, as a point such as `y to c` says."""
    first, _, second = point.partition(",")[0].partition(" to ")
    return ["1" if name == first else "2" if name == second else "" for name in view.strip]


def _under(boxes: list[str], marks: list[str]) -> str:
    return (" " * _GAP).join(f"{mark:^{len(box)}}" for box, mark in zip(boxes, marks, strict=True)).rstrip()
