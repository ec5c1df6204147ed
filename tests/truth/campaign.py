"""Many fresh recordings at once: ``python -m tests.truth.campaign [N]`` prints the whole table.

N runner variants (40 unless told), as many jumps of the package's own figure and every
run-up clip of people whose data set is at hand. Forty take about ten minutes on one core,
most of it for two-foot runners with a shorter last step, which one attempt in 30 has.
"""

from __future__ import annotations

from collections.abc import Iterator

import click

from .agreement_with_truth import Outcome, table
from .fresh_draws import VARIABLE, figures, fresh_seed, people, runner_campaign
from .write import SHARED


@click.command(help=__doc__)
@click.argument("count", default=40)
def main(count: int) -> None:
    seed = fresh_seed()
    click.echo(f"{VARIABLE}={seed}")
    kinds: dict[str, Iterator[Outcome]] = {
        "figure": figures(seed, count),
        "runner": runner_campaign(seed, count),
    }
    if (SHARED / "data" / "mocap_runup_jumps").is_dir():
        kinds["people"] = people(SHARED / "data", seed, count)
    every: list[Outcome] = []
    for name, draws in kinds.items():
        outcomes = []
        for outcome in draws:
            outcomes.append(outcome)
            if outcome.oddity:
                click.echo(f"  {outcome.name}: {outcome.oddity}")
        click.echo(f"\n{name}: {table(outcomes)}")
        every += outcomes
    click.echo(f"\nall: {table(every)}")


if __name__ == "__main__":
    main()
