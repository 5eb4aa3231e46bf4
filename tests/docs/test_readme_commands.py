"""The commands of README.md and DEVELOPERS.md are ones that the command line and the Makefile know."""

import re
import shlex
from pathlib import Path

import pytest

from fieldmap.cli import main as cli

ROOT = Path(__file__).parents[2]
PAGES = ("README.md", "DEVELOPERS.md", "docs/batch.md")
TEXT = "".join((ROOT / page).read_text() for page in PAGES)
BLOCKS = re.findall(r"^```\n(.*?)^```", TEXT, re.MULTILINE | re.DOTALL)
LINES = [line.partition("#")[0].strip() for block in BLOCKS for line in block.splitlines()]
FIELDMAP = sorted({found[1] for line in LINES if (found := re.match(r"(?:\S*[/\\])?fieldmap (.*)", line))})
MAKE = sorted({line.split()[1] for line in LINES if line.startswith("make ")})


@pytest.mark.parametrize("command", FIELDMAP)
def test_the_command_line_takes_it(command):
    told = cli._parser().parse_args(shlex.split(command))
    assert told.command.__name__ == f"_{command.split()[0]}"  # what it starts


@pytest.mark.parametrize("target", MAKE)
def test_the_makefile_has_it(target):
    assert re.search(rf"^{target}:", (ROOT / "Makefile").read_text(), re.MULTILINE)


def test_there_are_commands_to_check():
    assert {"run", "check", "batch", "season", "demo", "app", "tables"} <= {
        line.split()[0] for line in FIELDMAP
    }
    assert {"demo", "test"} <= set(MAKE)
