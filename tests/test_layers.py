"""The project's shape: who imports whom, what lies where, and that the documents are complete."""

import ast
import re
import subprocess
from pathlib import Path

import click
import pytest

from dashboard.start import main as dashboard_main
from imujump.cli import main
from imujump.model import METRIC_NAMES, Placement
from imujump.recording.column_map import read_column_map
from imujump.wording import METRICS

REPOSITORY = Path(__file__).resolve().parent.parent

FOUNDATION = {"model", "constants", "errors", "closing"}
"""Modules that everyone may import; among themselves, only in this order of dependence."""

SIDE_BY_SIDE = {"pipeline", "simulate", "recording", "sessions"}
"""Packages that never import each other."""

WORDS = {
    "contract",
    "display_units",
    "progress",
    "screen_table",
    "sheet",
    "spreadsheet",
    "table",
    "wording",
}
"""What turns results into text: above the foundation, beside the packages, below the top."""

ANSWERS = {"answers_in_words", "load_in_words", "questions_in_words", "strength_in_words"}
"""What turns the statistics of sessions into sentences."""

JOBS = {"capture_job", "sensor_check_run"}
"""What runs a capture or a sensor check from beginning to end."""

ALLOWED: dict[str, set[str]] = {
    "model": {"errors"},
    "constants": set(),
    "errors": set(),
    "closing": set(),
    "one_thread": set(),
    "launch": {"cli", "one_thread"},
    "pipeline": FOUNDATION,
    "simulate": FOUNDATION,
    "recording": FOUNDATION,
    "sessions": FOUNDATION,
    "capture": FOUNDATION | {"recording", "simulate"},
    **dict.fromkeys(WORDS, FOUNDATION | WORDS),
    **dict.fromkeys(ANSWERS, FOUNDATION | WORDS | ANSWERS | {"sessions"}),
    "engine_thread": FOUNDATION | {"pipeline"},
    "sensor_tally": FOUNDATION | {"capture", "recording"},
    "live": FOUNDATION | SIDE_BY_SIDE | WORDS | {"capture", "engine_thread", "sensor_tally"},
    "pictures": FOUNDATION | WORDS,
    "metric_course": FOUNDATION | WORDS | ANSWERS | {"pictures", "sessions"},
    "athlete_answers": FOUNDATION | WORDS | {"metric_course", "sessions"},
    **dict.fromkeys(
        ("athlete_load", "athlete_questions", "athlete_strength"),
        FOUNDATION | WORDS | ANSWERS | {"athlete_answers", "metric_course", "pictures", "sessions"},
    ),
    "report": FOUNDATION
    | WORDS
    | ANSWERS
    | {"athlete_answers", "metric_course", "pictures", "sessions"},
    "validation": FOUNDATION | SIDE_BY_SIDE | WORDS,
    "replay": FOUNDATION | {"capture", "recording"},
    "live_view": FOUNDATION | WORDS | {"capture", "live", "pipeline"},
    "capture_screen": FOUNDATION | WORDS,
    "signal_strip": FOUNDATION,
    "sensor_watch": FOUNDATION | {"capture"},
    "courtside": FOUNDATION
    | JOBS
    | {"capture", "contract", "live", "live_view", "recording", "sensor_watch", "signal_strip"},
    "pipeline_version": {"pipeline"},
    "bookkeeping": FOUNDATION
    | {"hand_marks", "pipeline", "pipeline_version", "recording", "sessions"},
    "hand_marks": FOUNDATION | {"attempt_again", "pipeline", "sessions"},
    "attempt_again": FOUNDATION | {"pipeline", "pipeline_version", "recording", "sessions"},
    "forgetting": FOUNDATION | {"bookkeeping", "recording", "sessions"},
    "demo": FOUNDATION | SIDE_BY_SIDE | {"bookkeeping", "one_thread"},
    "cli_demo": FOUNDATION | WORDS | {"cli_options", "demo", "pipeline_version"},
    "session_export": FOUNDATION | {"contract", "recording", "sessions", "spreadsheet"},
    "cli_store": FOUNDATION | WORDS | {"cli_options", "sessions"},
    "cli_athletes": FOUNDATION | WORDS | {"cli_options", "cli_store", "sessions"},
    "cli_sessions": FOUNDATION
    | WORDS
    | {"bookkeeping", "cli_options", "cli_store", "recording", "sessions"},
    "cli_stored": FOUNDATION | WORDS | {"cli_options", "cli_store", "forgetting", "session_export"},
    "cli_report": FOUNDATION | WORDS | {"cli_options", "cli_store", "report", "sessions"},
    "keyboard": set(),
    **dict.fromkeys(
        JOBS, FOUNDATION | JOBS | {"capture", "live", "live_view", "recording", "replay"}
    ),
    "session_view": FOUNDATION | WORDS | {"capture_screen"},
    "cli_options": FOUNDATION,
    "cli_sensors": FOUNDATION | WORDS | JOBS | {"capture", "cli_options"},
    "cli_capture": FOUNDATION
    | WORDS
    | JOBS
    | {"capture", "cli_options", "keyboard", "live", "session_view"},
    "cli": FOUNDATION
    | SIDE_BY_SIDE
    | WORDS
    | {"capture", "live", "report", "validation"}
    | {"cli_capture", "cli_demo", "cli_options", "cli_report", "cli_sensors"}
    | {"cli_athletes", "cli_sessions", "cli_stored"},
}
"""Which parts of the package each part may import, besides itself."""

TOP_LEVEL = {
    "README.md",
    "DEVELOPERS.md",
    "pyproject.toml",
    "imujump",
    "dashboard",
    "tests",
    "recordings_demo",
    ".ci",
    ".gitignore",
    "LICENSE",
}


def part_of(module: str) -> str | None:
    """Give the part of the package that a dotted module name belongs to."""
    names = module.split(".")
    return names[1] if names[0] == "imujump" and len(names) > 1 else None


def imported_modules(source: str, module: str, is_package: bool) -> set[str]:
    """List all modules that a file imports anywhere in it, relative names resolved."""
    found = set()
    package = module.split(".") if is_package else module.split(".")[:-1]
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            above = package[: len(package) - node.level + 1] if node.level else []
            base = ".".join([*above, *([node.module] if node.module else [])])
            found |= {f"{base}.{alias.name}" for alias in node.names}
    return found


def breaches(source: str, module: str, is_package: bool = False) -> list[str]:
    own = part_of(module)
    if own is None:
        return [name for name in imported_modules(source, module, is_package) if part_of(name)]
    used = {part_of(name) for name in imported_modules(source, module, is_package)} - {None, own}
    return sorted(f"{module} imports {part}" for part in used - ALLOWED.get(own, set()))


def package_files() -> list[Path]:
    return sorted((REPOSITORY / "imujump").rglob("*.py"))


@pytest.mark.parametrize("path", package_files(), ids=lambda p: str(p.relative_to(REPOSITORY)))
def test_imports_run_in_the_allowed_direction(path):
    parts = path.relative_to(REPOSITORY).with_suffix("").parts
    is_package = parts[-1] == "__init__"
    module = ".".join(parts[:-1] if is_package else parts)
    assert breaches(path.read_text(encoding="utf-8"), module, is_package) == []
    assert part_of(module) is None or part_of(module) in ALLOWED, "say in ALLOWED what it may use"


@pytest.mark.parametrize(
    ("module", "source"),
    [
        ("imujump.pipeline.engine", "from imujump.recording import files"),
        ("imujump.pipeline.engine", "def f():\n    import imujump.simulate.athlete"),
        ("imujump.simulate.imu", "from ..pipeline.events import find"),
        ("imujump.model", "from imujump import constants"),
        ("imujump.errors", "from .cli import main"),
        ("imujump.wording", "from imujump.pipeline import engine"),
    ],
)
def test_a_forbidden_import_is_seen(module, source):
    assert breaches(source, module)


DASHBOARD_MAY_USE = {
    "imujump.model",
    "imujump.one_thread",
    "imujump.wording",
    "imujump.courtside",
    "imujump.errors",
    "imujump.capture.viewer",
    "imujump.capture.one_capture",
    "imujump.sessions.session_log",
    "imujump.sessions.reliability",
    "imujump.answers_in_words",
    "imujump.athlete_answers",
    "imujump.athlete_load",
    "imujump.athlete_questions",
    "imujump.athlete_strength",
    "imujump.attempt_again",
    "imujump.display_units",
    "imujump.metric_course",
    "imujump.report",
    "imujump.sessions.interval",
    "imujump.sessions.path_words",
    "imujump.sessions.records",
    "imujump.sessions.store",
    "imujump.sessions.readings",
    "imujump.bookkeeping",
    "imujump.sessions.through_session",
}
"""What the pages use of the package: words, the running capture's door, the store and what is
worked out from it; nothing that measures."""


def dashboard_files() -> list[Path]:
    return sorted((REPOSITORY / "dashboard").rglob("*.py"))


@pytest.mark.parametrize("path", dashboard_files(), ids=lambda p: str(p.relative_to(REPOSITORY)))
def test_the_page_measures_nothing_itself(path):
    source = path.read_text(encoding="utf-8")
    assert ast.get_docstring(ast.parse(source)), "say what the module is for"
    names = imported_modules(source, "dashboard.x", False)
    used = {name for name in names if name.split(".")[0] == "imujump"}
    allowed = {f for f in used if any(f == m or f.startswith(m + ".") for m in DASHBOARD_MAY_USE)}
    packages = {m.rsplit(".", 1)[0] for m in DASHBOARD_MAY_USE}
    assert used - allowed <= packages, path
    roots = {name.split(".")[0] for name in names}
    assert roots.isdisjoint({"numpy", "scipy", "pandas", "pyarrow", "sqlite3", "bleak", "bumble"})


def test_dashboard_is_imported_by_nothing():
    for path in package_files():
        names = imported_modules(path.read_text(encoding="utf-8"), "imujump.x", False)
        assert not {name for name in names if name.split(".")[0] == "dashboard"}, path


def test_command_line_holds_no_signal_processing():
    source = (REPOSITORY / "imujump" / "cli.py").read_text(encoding="utf-8")
    roots = {name.split(".")[0] for name in imported_modules(source, "imujump.cli", False)}
    assert roots.isdisjoint({"numpy", "scipy", "pandas", "sqlite3", "pyarrow"})


def tracked_files() -> list[str]:
    try:
        listed = subprocess.run(
            ["git", "-c", f"safe.directory={REPOSITORY}", "ls-files", "-z"],
            cwd=REPOSITORY,
            capture_output=True,
            check=True,
        )
    except (OSError, subprocess.CalledProcessError):
        # An unpacked archive has no index; then what lies there is what counts.
        hidden = {path.name for path in REPOSITORY.iterdir() if path.name.startswith(".")}
        return [
            path.name
            for path in REPOSITORY.iterdir()
            if path.name not in hidden - TOP_LEVEL and not path.name.endswith(".egg-info")
        ]
    return [name for name in listed.stdout.decode("utf-8").split("\0") if name]


def test_top_level_holds_only_what_a_reader_expects():
    assert {name.split("/")[0] for name in tracked_files()} <= TOP_LEVEL


def test_no_file_is_named_for_nothing():
    vague = {"utils", "helpers", "common", "misc", "base"}
    assert not [path for path in package_files() if path.stem.strip("_") in vague]


def test_every_module_states_its_purpose():
    for path in package_files():
        assert ast.get_docstring(ast.parse(path.read_text(encoding="utf-8"))), path


@pytest.fixture(scope="module")
def readme() -> str:
    return (REPOSITORY / "README.md").read_text(encoding="utf-8")


def table_rows(text: str) -> dict[str, list[str]]:
    """Read the rows of all Markdown tables, by their first cell without code marks."""
    rows = [line.strip().strip("|").split("|") for line in text.splitlines() if line[:1] == "|"]
    return {cells[0].strip(" `"): [cell.strip() for cell in cells[1:]] for cells in rows}


@pytest.mark.parametrize("name", METRIC_NAMES)
def test_every_metric_is_described_in_readme_as_in_the_program(readme, name):
    label, unit, meaning = table_rows(readme)[name]
    assert label == METRICS[name].label
    assert unit == METRICS[name].unit.symbol
    assert meaning == METRICS[name].meaning


def commands() -> list[tuple[str, click.Command]]:
    found: list[tuple[str, click.Command]] = [("imujump", main)]
    for name, command in main.commands.items():
        found.append((f"imujump {name}", command))
    found.append(("imujump-dashboard", dashboard_main))
    return found


@pytest.mark.parametrize(("name", "command"), commands(), ids=lambda v: v if type(v) is str else "")
def test_every_option_has_a_help_text_and_stands_in_readme(readme, name, command):
    assert command.help
    assert name in readme
    for parameter in command.params:
        if isinstance(parameter, click.Option):
            assert parameter.help, parameter.name
            long = max(parameter.opts, key=len)
            assert re.search(rf"`{long}[ `]", readme), f"{name} {long} is not in README"


def test_readme_names_only_options_that_exist(readme):
    known = {"--help"} | {opt for _, c in commands() for p in c.params for opt in p.opts}
    told = set(re.findall(r"`(--[a-z-]+)", readme))
    assert told <= known


def test_the_column_map_in_readme_is_one_that_the_reader_accepts(readme, tmp_path):
    (example,) = re.findall(r"```toml\n(.*?)```", readme, re.DOTALL)
    path = tmp_path / "map.toml"
    path.write_text(example, encoding="utf-8")
    told = read_column_map(path)
    assert [sensor.placement for sensor in told.sensors] == [Placement.LEFT_SHANK, Placement.PELVIS]
    assert told.time_column == "Timestamp"
