"""Counts in bands, week by week."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from imujump.pictures.paper import TOP, Sheet


@dataclass(frozen=True, slots=True)
class Stack:
    """Counts from the lowest band up, and those of no known band."""

    label: str
    counts: tuple[int, ...]
    unknown: int = 0
    told: str = ""


def stacks_picture(
    stacks: Sequence[Stack], bands: Sequence[str], name: str, *, size: tuple[int, int] = (480, 230)
) -> str:
    """Draw stacks of bars side by side.

    Parameters
    ----------
    stacks : sequence of Stack
        In order of time.
    bands : sequence of str
        Names of the bands, lowest first.
    name : str
        What a screen reader says.
    size : (int, int)
        Width and height.
    """
    most = max((sum(s.counts) + s.unknown for s in stacks), default=0)
    if not most:
        return ""
    sheet = Sheet(*size, 40, (0.0, float(len(stacks))), (0.0, 1.1 * most))
    sheet.upright_axis("", 1.0, 4)
    wide = sheet.at_x(1.0) - sheet.at_x(0.0)
    every = max(1, -(-len(stacks) // max(1, int((size[0] - 54) / 52))))
    for k, stack in enumerate(stacks):
        below = 0
        for band, count in enumerate(stack.counts):
            # The highest band always has the full colour.
            kind = f"bar b{band + 4 - len(stack.counts)}"
            below = _bar(sheet, k, below, count, kind, f"{stack.told}: {count} {bands[band]}")
        _bar(sheet, k, below, stack.unknown, "bar unknown", f"{stack.told}: height unknown")
        if k % every == 0:
            at = round(sheet.at_x(float(k)) + wide / 2.0, 1)
            sheet.text(stack.label, at, size[1] - 10, "middle", "soft")
    sheet.line("zero", sheet.left, sheet.floor, size[0] - sheet.right, sheet.floor)
    sheet.text("jumps", 2, TOP - 9, "start", "soft")
    return sheet.svg(name)


def _bar(sheet: Sheet, place: int, below: int, count: int, kind: str, told: str) -> int:
    if count:
        left, right = sheet.at_x(place + 0.12), sheet.at_x(place + 0.88)
        top, bottom = sheet.at_y(below + count), sheet.at_y(below)
        sheet.box(kind, left, top, right - left, bottom - top, told)
    return below + count
