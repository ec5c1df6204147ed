"""What is true of the demo club, as a file beside its store."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import asdict
from datetime import date
from pathlib import Path
from typing import Any

from imujump.demo.club import CLUB
from imujump.demo.place import TRUTH_NAME
from imujump.demo.plan import AthletePlan
from imujump.demo.season import Training, season

Seasons = Sequence[tuple[AthletePlan, Sequence[Training]]]


def seasons(plans: Sequence[AthletePlan], ends_on: date, seed: int) -> Seasons:
    """Draw the sessions of every athlete."""
    return [(plan, season(plan, row, ends_on, seed)) for row, plan in enumerate(plans)]


def as_document(
    club: Seasons, ends_on: date, seed: int, version: str, complete: bool
) -> dict[str, Any]:
    """Give the truth as plain data."""
    document = {
        "club": CLUB,
        "about": "The people and every number are invented. Heights are those of flight times, "
        "approach speeds those meant at the end of the run-up; lengths are metres.",
        "imujump": version,
        "seed": seed,
        "ends_on": ends_on.isoformat(),
        "complete": complete,
        "athletes": [
            {**asdict(plan), "trainings": [asdict(training) for training in trainings]}
            for plan, trainings in club
        ],
    }
    plain: dict[str, Any] = json.loads(json.dumps(document, default=str))
    return plain


def write_truth(folder: Path, document: dict[str, Any]) -> None:
    """Write the file; it is whole or not there."""
    text = json.dumps(document, indent=1, ensure_ascii=False) + "\n"
    new = folder / f"{TRUTH_NAME}.new"
    new.write_text(text, encoding="utf-8", newline="\n")
    new.replace(folder / TRUTH_NAME)
