"""``imujump validate`` as a user runs it."""

from __future__ import annotations

import re
import shutil
from pathlib import Path

import pytest
from click.testing import CliRunner

from imujump.cli import main
from imujump.validation import protocol, words
from imujump.validation.page import page
from imujump.validation.pairing import Tally

DEMOS = Path(__file__).resolve().parents[2] / "recordings_demo"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    chosen = tmp_path / "recordings"
    chosen.mkdir()
    for name in ("one_foot.imujump", "one_foot_truth.json"):
        shutil.copy(DEMOS / name, chosen / name)
    return chosen


def test_a_folder_gives_a_table_and_a_page(folder: Path, tmp_path: Path) -> None:
    file = tmp_path / "agreement.html"
    done = CliRunner().invoke(main, ["validate", str(folder), "--page", str(file)])
    assert done.exit_code == 0, done.output
    assert "1 of 1 jumps found in 1 recordings, 0 invented." in done.output
    assert "flight time (ms)" in done.output
    text = file.read_text(encoding="utf-8")
    assert "flight time (ms)" in text
    assert "No open recording of a human run-up jump" in text
    # Nothing is loaded from elsewhere: no script, style or picture has an address.
    outside = re.findall(r"<(?:script|link|img)[^>]*(?:src|href)=", text)
    assert outside == []


def test_a_bad_truth_file_is_told_and_the_others_compared(folder: Path, tmp_path: Path) -> None:
    shutil.copy(DEMOS / "one_foot.imujump", folder / "other.imujump")
    (folder / "other_truth.json").write_text("{", encoding="utf-8")
    file = tmp_path / "agreement.html"
    done = CliRunner().invoke(main, ["validate", str(folder), "--page", str(file)])
    assert done.exit_code == 1
    assert "other_truth.json: the truth file cannot be read" in done.output
    assert "1 of 1 jumps found" in done.output
    assert "other_truth.json" in file.read_text(encoding="utf-8")


def test_a_folder_without_truth_is_told(tmp_path: Path) -> None:
    (tmp_path / "x.imujump").write_bytes(b"")
    done = CliRunner().invoke(main, ["validate", str(tmp_path)])
    assert done.exit_code == 1
    assert "no recording in it has a truth file" in done.output


def test_a_page_that_cannot_be_written_is_told(folder: Path, tmp_path: Path) -> None:
    nowhere = tmp_path / "missing" / "agreement.html"
    done = CliRunner().invoke(main, ["validate", str(folder), "--page", str(nowhere)])
    assert done.exit_code == 1
    assert "no such file or directory" in done.output


def test_without_a_folder_the_protocol_is_measured(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    few = list(protocol.recordings(2))
    monkeypatch.setattr(protocol, "recordings", lambda: iter(few))
    file = tmp_path / "agreement.html"
    done = CliRunner().invoke(main, ["validate", "--page", str(file)])
    assert done.exit_code == 0, done.output
    assert "2 of 2 jumps found in 2 recordings, 0 invented." in done.output


def test_names_in_the_page_are_escaped() -> None:
    from datetime import UTC, datetime

    text = page(Tally(), "<b>bold</b>", ["<i>bad</i>"], datetime(2026, 1, 2, tzinfo=UTC))
    assert "&lt;b&gt;bold" in text
    assert "&lt;i&gt;bad" in text
    assert words.rows(Tally()) == []
