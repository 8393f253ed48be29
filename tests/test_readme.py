"""What the README and DEVELOPERS.md tell people to type, typed."""

from __future__ import annotations

import re
import shlex
import subprocess
import sys
from pathlib import Path

import pytest
from typer.main import get_command

from trialkit.cli import app
from trialkit.shipped import copy_demo

ROOT = Path(__file__).parents[1]
README = (ROOT / "README.md").read_text()
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text()


def blocks(text: str, language: str) -> list[str]:
    return re.findall(rf"```{language}\n(.*?)```", text, re.S)


def test_there_are_exactly_two_set_up_commands():
    # `.ci/run` types both of them.
    demo, tests = blocks(README, "sh")
    assert demo.endswith("trialkit report my-demo\n")
    assert "pytest" in tests
    assert all(command.startswith("python3 -m venv .venv &&") for command in (demo, tests))


def test_the_table_of_commands_is_complete():
    named = re.findall(r"^\| `trialkit (\w+)", README, re.M)
    assert sorted(named) == sorted(get_command(app).commands)


def test_the_notebook_example_runs(tmp_path):
    (example,) = blocks(README, "python")
    assert len(example.splitlines()) == 10
    copy_demo(tmp_path / "my-demo")
    run = subprocess.run(
        [sys.executable, "-c", example], cwd=tmp_path, capture_output=True, text=True, check=False
    )
    assert run.stderr == ""
    assert run.stdout.startswith("paid 0.2")
    assert (tmp_path / "my-demo" / "results" / "result.json").exists()


@pytest.mark.parametrize("target", re.findall(r"\]\(([^)#:]+)\)", README + DEVELOPERS))
def test_every_link_leads_somewhere(target):
    assert (ROOT / target).exists()


def test_every_command_for_developers_names_things_that_are_there():
    _, single_parts = blocks(DEVELOPERS, "sh")
    for line in single_parts.splitlines():
        for word in shlex.split(line):
            if "/" in word and not word.startswith(".venv/"):
                assert (ROOT / word).exists(), word


@pytest.mark.parametrize(
    "path", sorted(set(re.findall(r"`((?:trialkit|tests)/[\w/.]+)`", DEVELOPERS)))
)
def test_every_path_in_the_map_exists(path):
    assert (ROOT / path).exists()
