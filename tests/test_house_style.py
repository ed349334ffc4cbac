"""Format, lint and types hold, and what is written in two places agrees."""

from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path

import pytest

from leavenbench.records.template import tables_page

ROOT = Path(__file__).parent.parent


@pytest.mark.parametrize(
    "tool", [("ruff", "format", "--check", "."), ("ruff", "check", "."), ("mypy",)], ids=lambda tool: " ".join(tool)
)
def test_tool_finds_nothing(tool):
    run = subprocess.run([sys.executable, "-m", *tool], cwd=ROOT, capture_output=True, text=True, check=False)
    assert run.returncode == 0, run.stdout + run.stderr


def test_ci_runs_the_test_command_of_the_readme():
    commands = re.findall(r"^ {4}(python3 -m venv .*)$", (ROOT / "README.md").read_text(encoding="utf-8"), re.M)
    assert len(commands) == 2
    assert commands[1] in (ROOT / ".ci" / "run").read_text(encoding="utf-8").splitlines()
    assert "pytest" in commands[1]


def test_the_page_of_the_tables_is_the_declaration():
    page = ROOT / "src" / "leavenbench" / "records" / "tables.md"
    assert page.read_text(encoding="utf-8") == tables_page()


def test_top_level_holds_only_what_it_may():
    may = {"README.md", "DEVELOPERS.md", "pyproject.toml", "notebooks", "src", "data_demo", "tests"}
    ignored = [line.rstrip("/") for line in (ROOT / ".gitignore").read_text("utf-8").split()]
    here = [path for path in ROOT.iterdir() if not path.name.startswith(".")]
    assert {path.name for path in here if not any(path.match(pattern) for pattern in ignored)} <= may
