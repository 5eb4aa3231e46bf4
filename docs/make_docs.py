"""What in docs/ is made from the code: ``python docs/make_docs.py`` writes plan.md and the schema of plan.toml.

``--pictures`` draws the pictures of guide.md as well, from the sample plans; the pages need a Chromium.
"""

from __future__ import annotations

import sys
from pathlib import Path

from fieldmap.plan.keys import Key, plan_keys, section_descriptions
from fieldmap.plan.schema import schema_text

DOCS = Path(__file__).parent
SCHEMA = DOCS.parent / "fieldmap" / "assets" / "plan.schema.json"
PLAN = DOCS / "plan.md"
HEAD = """# The keys of plan.toml

Made from the plan's schema by `make docs`; not to be changed by hand. `fieldmap tables keys` prints the same list.

A plan is a folder: `plan.toml`, and beside it the files it names. Every quantity is text with its unit, such as
`"150 lb/ac"`, `"18 m"`, `"4 s"`; a bare number is refused where a unit is due, and the message says which would do.
Rates and lengths are taken in metric and in US units alike, whatever `units` says. Dates are written without quotes.
A section in double brackets may stand several times. Required means: in its section, where the section is there.

An editor that reads JSON Schema completes these keys and checks them: the schema is
`fieldmap/assets/plan.schema.json`, and the first line of the sample plans shows where it is.
"""


def plan_page() -> str:
    """docs/plan.md."""
    sections: dict[str, list[Key]] = {}
    for key in plan_keys():
        sections.setdefault(key.section, []).append(key)
    told = section_descriptions()
    parts = [HEAD]
    for section, keys in sections.items():
        parts.append(f"\n## {_heading(keys[0])}\n")
        if told[section]:
            parts.append(f"{_sentence(told[section])}\n")
        if keys[0].section_optional:
            parts.append("Optional as a whole.\n")
        parts.append("\n| key | takes | needed | meaning |\n|---|---|---|---|\n")
        parts += [
            f"| `{key.key}` | {_cell(key.takes)} | {_cell(key.needed)} | {_cell(key.description)} |\n"
            for key in keys
        ]
    return "".join(parts)


def _heading(key: Key) -> str:
    if not key.section:
        return "At the top"
    return f"[[{key.section}]]" if key.several else f"[{key.section}]"


def _sentence(text: str) -> str:
    """A section's description without its name, as a sentence."""
    first = text.split("\n\n")[0].replace("\n", " ")
    rest = first.partition(": ")[2] or first
    return rest[0].upper() + rest[1:]


def _cell(text: str) -> str:
    return text.replace("|", "\\|")


def main() -> None:
    """Write what is asked for."""
    SCHEMA.write_text(schema_text(), encoding="utf-8")
    PLAN.write_text(plan_page(), encoding="utf-8")
    if "--pictures" in sys.argv[1:]:
        from make_pictures import draw_pictures

        draw_pictures(DOCS / "pictures")


if __name__ == "__main__":
    main()
