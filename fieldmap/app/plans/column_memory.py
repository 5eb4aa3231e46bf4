"""How the columns of a sample file were read: said beside the table, and remembered for the next file like it."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

from fieldmap.app.plans.plan_file import write_atomically

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence
    from pathlib import Path
    from typing import Any


READ_FILE = (
    ".columns-read.json"  # of a plan: its file's headers, what was said of them, and where each is now
)
MEMORY_FILE = (
    ".columns.json"  # of a workspace: what persons said of the columns of files with the same headers
)


def note_columns(folder: Path, headers: Sequence[str], now: dict[str, str], said: Iterable[str]) -> None:
    """Keep how the columns of a file that has just come were read; `now` names the column of each header."""
    _write(folder / READ_FILE, {"headers": [*headers], "now": now, "said": [*said]})


def columns_said(folder: Path) -> list[str]:
    """What was taken for what, sentence by sentence; empty where nothing had to be found out."""
    return [str(text) for text in _read(folder / READ_FILE).get("said", [])]


def forget_columns(folder: Path) -> None:
    """Another table has come, which nothing had to be found out of."""
    (folder / READ_FILE).unlink(missing_ok=True)


def remember(folder: Path, old: str, new: str) -> None:
    """A person says that the column now called `old` is `new`: so it is in the next file with the same headers."""
    noted = _read(folder / READ_FILE)
    header = next((header for header, column in noted.get("now", {}).items() if column == old), None)
    if header is None:  # typed in the app, or a plan from elsewhere
        return
    noted["now"][header] = new
    noted["said"] = [text for text in noted["said"] if f'"{header}"' not in text]
    noted["said"].append(f'column "{header}" is {new}, as you said')
    _write(folder / READ_FILE, noted)
    memory = _read(folder.parent / MEMORY_FILE)
    memory.setdefault(_key(noted["headers"]), {})[header] = new
    _write(folder.parent / MEMORY_FILE, memory)


def remembered(folder: Path, headers: Sequence[str]) -> dict[str, str]:
    """What a person said of the columns of a file with these headers, by header."""
    return {
        str(header): str(new)
        for header, new in _read(folder.parent / MEMORY_FILE).get(_key(headers), {}).items()
    }


def _key(headers: Sequence[str]) -> str:
    return "\n".join(sorted(headers))


def _read(file: Path) -> dict[str, Any]:
    found = json.loads(file.read_text("utf-8")) if file.is_file() else {}
    return found if isinstance(found, dict) else {}


def _write(file: Path, held: dict[str, Any]) -> None:
    write_atomically(file, json.dumps(held, ensure_ascii=False).encode())
