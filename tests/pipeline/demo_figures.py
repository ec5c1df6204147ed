"""Figures of the demo recordings as the present revision gives them, kept beside this file.

    python -m tests.pipeline.demo_figures

writes them anew. If they moved, FIGURES_REVISION in imujump/pipeline/figures_revision.py must have
been raised before.
"""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import Any

from imujump.pipeline.engine import analyse
from imujump.pipeline.figures_revision import FIGURES_REVISION
from imujump.recording.reader import RecordingReader

DEMO = Path(__file__).resolve().parents[2] / "recordings_demo"
KEPT = Path(__file__).with_name("demo_figures.json")

SHARE_OF_SIGMA = 0.05
"""A figure has moved by more than this share of its sigma (own choice: rounding on other computers
moves far less, and a coach would not see it)."""

Figures = dict[str, Any]


def present() -> Figures:
    """Measure the demo recordings."""
    found: Figures = {}
    for path in sorted(DEMO.glob("*.imujump")):
        with RecordingReader(path) as source:
            attempts = analyse(source).attempts
        found[path.name] = [
            {n: [_short(e.value), _short(e.sigma)] for n, e in attempt.metrics.items()}
            for attempt in attempts
        ]
    return found


def kept() -> tuple[int, Figures]:
    """Read the revision and the figures that were written last."""
    told = json.loads(KEPT.read_text(encoding="utf-8"))
    return told["revision"], told["figures"]


def moved(old: Figures, new: Figures) -> list[str]:
    """Name the figures that differ."""
    told = []
    for recording in sorted(old.keys() | new.keys()):
        before, after = old.get(recording, []), new.get(recording, [])
        if len(before) != len(after):
            told.append(f"{recording}: {len(before)} attempts were found, now {len(after)}")
            continue
        for number, (one, other) in enumerate(zip(before, after, strict=True), 1):
            for name in sorted(one.keys() | other.keys()):
                was, is_now = one.get(name), other.get(name)
                if not _alike(was, is_now):
                    told.append(f"{recording}, attempt {number}, {name}: {was}, now {is_now}")
    return told


def write(figures: Figures, revision: int) -> None:
    """Keep the figures."""
    lines = json.dumps({"revision": revision, "figures": figures}, separators=(",", ":"))
    KEPT.write_text(lines.replace("},{", "},\n{").replace('],"', '],\n"') + "\n", encoding="utf-8")


def _alike(one: list[float | None] | None, other: list[float | None] | None) -> bool:
    if one is None or other is None:
        return one is other
    for was, now in zip(one, other, strict=True):
        if was is None or now is None:
            if was is not now:
                return False
        elif abs(now - was) > SHARE_OF_SIGMA * (one[1] or abs(was)):
            return False
    return True


def _short(number: float | None) -> float | None:
    return None if number is None else float(f"{number:.6g}")


def main() -> int:
    """Write the figures anew, if the revision allows it; 1 if not."""
    new = present()
    if KEPT.exists():
        revision, old = kept()
        differing = moved(old, new)
        if differing and revision == FIGURES_REVISION:
            sys.stderr.write("\n".join(differing))
            sys.stderr.write("\nFigures moved: raise FIGURES_REVISION by one first.\n")
            return 1
    write(new, FIGURES_REVISION)
    return 0


if __name__ == "__main__":
    sys.exit(main())
