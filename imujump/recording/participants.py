"""The table of participants of a Motion-BIDS data set, with what is measured on the body."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from imujump.recording.bids_tables import write_json, write_tsv
from imujump.recording.export_tables import unwritable

COLUMNS: Mapping[str, Mapping[str, object]] = {
    "age": {"Description": "Age in the year of the first recording", "Units": "year"},
    "height": {"Description": "Stature", "Units": "m"},
    "weight": {"Description": "Body mass nearest to the first recording", "Units": "kg"},
    "leg_length": {"Description": "Leg length, greater trochanter to floor", "Units": "m"},
    "take_off_side": {
        "Description": "Preferred take-off foot",
        "Levels": {"left": "left foot", "right": "right foot"},
    },
}
"""The columns beside the label, as the side file describes them."""


@dataclass(frozen=True, slots=True)
class Participant:
    """A person without a name; ``label`` consists of letters and digits."""

    label: str
    age_years: int | None = None
    stature_m: float | None = None
    mass_kg: float | None = None
    leg_length_m: float | None = None
    take_off_side: str | None = None


def write_participants(root: Path, people: Sequence[Participant]) -> None:
    """Write the table and its description; those of other people in it stay as they are.

    Raises
    ------
    RecordingError
        If it cannot be written.
    """
    path = root / "participants.tsv"
    header = ("participant_id", *COLUMNS)
    try:
        known = _read(path)
        for person in people:
            cells = (
                person.age_years,
                person.stature_m,
                person.mass_kg,
                person.leg_length_m,
                person.take_off_side,
            )
            told = ["n/a" if cell is None else str(cell) for cell in cells]
            known[f"sub-{person.label}"] = dict(zip(COLUMNS, told, strict=True))
        rows = [
            (label, *(cells.get(name) or "n/a" for name in COLUMNS))
            for label, cells in known.items()
        ]
        write_tsv(path, header, rows)
        write_json(path.with_suffix(".json"), COLUMNS)
    except OSError as error:
        raise unwritable(path, error) from error


def _read(path: Path) -> dict[str, dict[str, str]]:
    if not path.exists():
        return {}
    head, *lines = path.read_text(encoding="utf-8").splitlines() or [""]
    names = head.split("\t")
    rows = [dict(zip(names, line.split("\t"), strict=False)) for line in lines if line]
    return {row[names[0]]: row for row in rows}
