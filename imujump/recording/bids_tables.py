"""Small tables and descriptions as the BIDS standard wants them."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path


def write_tsv(path: Path, header: Sequence[str], rows: Iterable[Sequence[object]]) -> None:
    """Write a table; cells must not hold tabs or line ends."""
    lines = ["\t".join(map(str, row)) for row in (header, *rows)]
    path.write_text("\n".join(lines) + "\n", encoding="utf-8", newline="\n")


def write_json(path: Path, content: Mapping[str, object]) -> None:
    """Write a description."""
    text = json.dumps(content, indent=2, ensure_ascii=False)
    path.write_text(text + "\n", encoding="utf-8", newline="\n")
