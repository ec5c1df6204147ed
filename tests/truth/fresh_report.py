"""What the fresh recordings of a test run said, as text."""

from __future__ import annotations

from . import fresh_draws
from .agreement_with_truth import table


def fresh_report() -> str:
    """Tell the seed and the errors of each kind; empty when nothing was drawn."""
    drawn = fresh_draws.drawn_in_this_run()
    if not drawn:
        return ""
    head = f"{fresh_draws.VARIABLE}={fresh_draws.fresh_seed()} repeats these draws"
    parts = [f"{kind}: {table(outcomes)}" for kind, outcomes in drawn.items()]
    return "\n\n".join((head, *parts))
