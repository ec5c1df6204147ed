"""Command that analyses a fixed set of jumps under every condition and prints what it came to.

Usage, from the repository's root: ``python -m tests.campaign.matrix --help``.
"""

from __future__ import annotations

import math
import time
from collections.abc import Iterable

import click
from rich import box
from rich.console import Console
from rich.progress import track
from rich.table import Table

from imujump.pipeline.engine import analyse

from .conditions import NOT_SIMULATED, Condition, conditions
from .scores import MAIN, Score, bias_rmse
from .subjects import FIGURE_JUMPS, RUNS, Movement, Subject, figure, runner
from .wearing import record

WIDTH = 176
SEED = 300

BARS = {
    "strike": (5.0, 9.0),
    "take_off_contact_s": (5.0, 10.0),
    "flight_s": (8.0, 15.0),
    "plant_speed_mps": (3.0, 5.0),
    "last_step_m": (math.inf, 8.0),
    "lowering_m": (math.inf, 1.5),
}
"""Bias and root mean square error, in the unit shown, beyond which a cell is marked. They are
the project's own aims for whole recordings."""

LEAST_COVERAGE = 0.90


def subjects(condition: Condition, with_runner: bool) -> list[Subject]:
    """Jumps that a condition can be shown with.

    The runner moves in its own way only, and in a plane: nothing in it tells left from right.
    """
    found = [figure(name, condition.movement) for name in FIGURE_JUMPS]
    plain = condition.movement is Movement.PLAIN and not condition.wearing.swapped
    if with_runner and plain:
        found += [runner(name) for name in RUNS]
    return found


def score(condition: Condition, with_runner: bool = True) -> Score:
    """Record and analyse all jumps under one condition."""
    result = Score(condition)
    for number, subject in enumerate(subjects(condition, with_runner)):
        recording = record(subject, condition.wearing, SEED + number)
        try:
            analysis = analyse(recording)
        except Exception as error:  # a crash is a finding, and the next jump goes on
            result.crash(subject, error)
        else:
            result.add(subject, analysis)
    return result


def table(scores: Iterable[Score]) -> Table:
    """One line a condition; what lies beyond its bar is marked with !."""
    sheet = Table(
        title="Bias/root mean square error. ! marks what lies beyond the aim",
        box=box.SIMPLE,
        padding=(0, 1, 0, 0),
    )
    sheet.add_column("condition", no_wrap=True)
    for heading in (
        "found",
        "false",
        "warn",
        "strike ms",
        "miss+false",
        *(f"{label} {unit}" for label, _, unit in MAIN.values()),
        "given %",
        "cover %",
    ):
        sheet.add_column(heading, justify="right", no_wrap=True)
    group = ""
    for s in scores:
        if s.condition.group != group:
            group = s.condition.group
            sheet.add_section()
            sheet.add_row(f"[bold]{group}[/bold]")
        cells = [
            _marked(f"{s.found}/{s.jumps}", s.found < s.jumps),
            _marked(str(s.invented), s.invented > 0),
            _marked(f"{s.warned}/{s.jumps}", s.warned < s.jumps) if s.condition.warning else "",
            _errors([1e3 * e for e in s.strike_errors_s], "strike"),
            _marked(
                f"{s.strikes_missed}+{s.strikes_invented}/{s.strikes_asked}",
                s.strikes_missed + s.strikes_invented > 0.02 * s.strikes_asked,
            ),
        ]
        for name, (_, factor, _) in MAIN.items():
            cells.append(_errors([factor * e for e in s.errors[name]], name))
        cells.append("–" if math.isnan(s.given_share) else f"{100 * s.given_share:.0f}")
        cells.append(
            "–"
            if math.isnan(s.coverage)
            else _marked(f"{100 * s.coverage:.0f}", s.coverage < LEAST_COVERAGE)
        )
        sheet.add_row(f"  {s.condition.name}", *cells)
    return sheet


def _errors(values: list[float], name: str) -> str:
    if not values:
        return "–"
    bias, rmse = bias_rmse(values)
    most_bias, most_rmse = BARS[name]
    return _marked(f"{bias:+.1f}/{rmse:.1f}", abs(bias) > most_bias or rmse > most_rmse)


def _marked(text: str, beyond: bool) -> str:
    return f"[red]{text}![/red]" if beyond else text


@click.command()
@click.option("--only", default="", help="Conditions whose group or name contains this.")
@click.option("--runner/--no-runner", "with_runner", default=True, help="Also the rigid runner.")
def main(only: str, with_runner: bool) -> None:
    """Analyse a fixed set of jumps under every condition and print the errors."""
    console = Console()
    if not console.is_terminal or console.width < WIDTH:
        console = Console(width=WIDTH)
    chosen = [c for c in conditions() if only in f"{c.group}, {c.name}"]
    if not chosen:
        raise click.UsageError(f"no condition contains '{only}'")
    started = time.perf_counter()
    scores = [
        score(condition, with_runner)
        for condition in track(chosen, "analysing", console=Console(stderr=True), transient=True)
    ]
    console.print(table(scores))
    console.print(
        "\nWhat went wrong, jump by jump (values beyond 3 sigma, empty values, warnings):"
    )
    for s in scores:
        if s.failures:
            console.print(f"{s.condition.group}, {s.condition.name}", style="bold")
            for line in s.failures:
                console.print(f"  {line}", markup=False, highlight=False)
    console.print("\nNot simulated:")
    for what, why in NOT_SIMULATED.items():
        console.print(f"  {what}: {why}.", highlight=False)
    console.print(
        f"\n{len(scores)} conditions, {sum(s.jumps for s in scores)} recordings, "
        f"{time.perf_counter() - started:.0f} s; seed {SEED}"
    )


if __name__ == "__main__":
    main()
