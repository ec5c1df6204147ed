"""Command that analyses hours of everything but approach jumps and counts what it finds.

Usage, from the repository's root: ``python -m tests.campaign.no_jumps [HOURS]``. There must be no
attempt; exit status 1 tells that there was one.
"""

from __future__ import annotations

import sys
import time
from collections import Counter

import click
from rich.console import Console
from rich.progress import BarColumn, Progress, TextColumn, TimeRemainingColumn

from imujump.pipeline.engine import analyse

from .idle import KINDS, IdleSession

SEED = 411

TOLD_EVERY_S = 1800.0
"""Simulated time between two lines of progress where there is no terminal for a bar."""


def peak_mib() -> float | None:
    """Peak resident memory of this process; ``None`` on Windows."""
    if sys.platform == "win32":
        return None
    import resource

    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    return peak / 1024 / (1024 if sys.platform == "darwin" else 1)


@click.command()
@click.argument("hours", type=click.FloatRange(min=0.0, min_open=True), default=1.0)
@click.option("--seed", default=SEED, show_default=True, help="Seed of sensors and movements.")
@click.option(
    "--kind", "kinds", multiple=True, type=click.Choice(KINDS), help="Only this; may be repeated."
)
def main(hours: float, seed: int, kinds: tuple[str, ...]) -> None:
    """Simulate HOURS without a jump, analyse them as one recording, and count attempts."""
    console = Console(width=None if sys.stdout.isatty() else 120)
    console.print(f"{hours:g} h, seed {seed}: {', '.join(kinds or KINDS)}", highlight=False)
    errors, told_n = Console(stderr=True), [0]
    started = time.perf_counter()
    columns = (
        TextColumn("{task.description:16}"),
        BarColumn(),
        TextColumn("{task.percentage:.0f} %"),
    )
    with Progress(*columns, TimeRemainingColumn(), console=errors) as bar:
        task = bar.add_task("", total=3600.0 * hours)

        def told(made_s: float, kind: str) -> None:
            bar.update(task, completed=made_s, description=kind)
            if not errors.is_terminal and made_s >= TOLD_EVERY_S * (told_n[0] + 1):
                told_n[0] += 1
                errors.print(f"{made_s / 3600.0:.1f} h made and taken in", highlight=False)

        session = IdleSession(seed, 3600.0 * hours, kinds or KINDS, progress=told)
        analysis = analyse(session)
        bar.update(task, completed=3600.0 * hours)
    took_s = time.perf_counter() - started
    done = Counter(kind for _, kind in session.segments)
    console.print(
        "segments: " + ", ".join(f"{kind} {done[kind]}" for kind in KINDS if done[kind]),
        highlight=False,
    )
    for attempt in analysis.attempts:
        console.print(
            f"attempt at {attempt.toe_off_s:.1f} s, flight "
            f"{attempt.landing_s - attempt.toe_off_s:.2f} s, {attempt.take_off_style}: "
            f"{session.kind_at(attempt.toe_off_s)}",
            highlight=False,
        )
    found = Counter(session.kind_at(a.toe_off_s).split(",")[0] for a in analysis.attempts)
    if found:
        told_of = ", ".join(f"{kind} {n}" for kind, n in found.most_common())
        console.print(f"attempts by kind: {told_of}", highlight=False)
    for warning in analysis.warnings[:20]:
        console.print(f"warns: {warning}", markup=False, highlight=False)
    if len(analysis.warnings) > 20:
        console.print(f"… {len(analysis.warnings)} warnings in all")
    memory = peak_mib()
    console.print(
        f"{len(analysis.attempts)} attempts in {analysis.duration_s / 3600.0:.2f} h; made and "
        f"analysed in {took_s:.0f} s"
        + ("" if memory is None else f"; memory at its peak {memory:.0f} MiB"),
        highlight=False,
    )
    sys.exit(1 if analysis.attempts else 0)


if __name__ == "__main__":
    main()
