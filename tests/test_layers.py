"""Imports point one way, and only `read` and `export` open files."""

import ast
from pathlib import Path

import pytest

PACKAGE = Path(__file__).parents[1] / "fieldmap"
# A module may import those that stand before it, and none after it.
ORDER = (
    "errors",
    "units",
    "tables",
    "plan",
    "read",
    "field",
    "samples",
    "nitrogen",
    "tiles",
    "covariance",
    "neighbours",
    "kriging",
    "drift",
    "likelihood",
    "covariate",
    "surface",
    "diagnostics",
    "interpolate",
    "credit",
    "trend",
    "soil",
    "release",
    "uptake",
    "other_credits",
    "sidedress",
    "need",
    "course",
    "season",
    "stages",
    "response",
    "loss",
    "patches",
    "coverage",
    "zones",
    "applications",
    "pan_test",
    "spreader",
    "passes",
    "width",
    "drawing",
    "strips",
    "thin_ground",
    "rates",
    "limits",
    "flat",
    "outcomes",
    "nutrients",
    "delivery",
    "offer",
    "strip_findings",
    "verdict",
    "cautions",
    "advice",
    "stand",
    "budget",
    "spread",
    "pipeline",
    "check",
    "keys",
    "summary",
    "findings",
    "overlays",
    "map_features",
    "driving_layers",
    "maps",
    "pictures",
    "report",
    "together",
    "export",
    "batch",
    "terminal",
    "sample_farm",
    "workspace",
    "intake",
    "draft",
    "form",
    "sketch",
    "session",
    "pages",
    "app",
    "cli",
)
APP = ("session", "pages", "app")  # may know Streamlit
MODULES = sorted(PACKAGE.rglob("*.py"))


def _layer(path: Path) -> str:
    return path.relative_to(PACKAGE).parts[0].removesuffix(".py")


def _imported(path: Path) -> set[str]:
    found = set()
    for node in ast.walk(ast.parse(path.read_text())):
        if isinstance(node, ast.ImportFrom) and (node.module or "").split(".")[0] == "fieldmap":
            parts = (node.module or "").split(".")
            found |= {parts[1]} if len(parts) > 1 else {alias.name for alias in node.names}
        elif isinstance(node, ast.Import):
            found |= {alias.name.split(".")[1] for alias in node.names if alias.name.startswith("fieldmap.")}
    return found


@pytest.mark.parametrize("path", MODULES, ids=lambda path: str(path.relative_to(PACKAGE)))
def test_imports_point_one_way(path):
    layer = _layer(path)
    if layer == "__init__":
        return
    assert layer in ORDER, f"{layer} has no place in the order of modules yet"
    above = set(ORDER[: ORDER.index(layer) + 1])
    assert _imported(path) <= above


@pytest.mark.parametrize("path", MODULES, ids=lambda path: str(path.relative_to(PACKAGE)))
def test_the_core_opens_no_file_and_knows_no_web_page(path):
    tree = ast.parse(path.read_text())
    names = {
        alias.name.split(".")[0]
        for node in ast.walk(tree)
        if isinstance(node, ast.Import)
        for alias in node.names
    }
    names |= {
        (node.module or "").split(".")[0] for node in ast.walk(tree) if isinstance(node, ast.ImportFrom)
    }
    assert _layer(path) in APP or not {"streamlit", "streamlit_folium"} & names
    if _layer(path) in ("read", "export", "tables", "maps", "workspace", "intake", "sketch", *APP):
        return
    calls = {
        getattr(node.func, "attr", getattr(node.func, "id", ""))
        for node in ast.walk(tree)
        if isinstance(node, ast.Call)
    }
    assert not calls & {"open", "read_text", "read_bytes", "write_text", "write_bytes", "read_csv", "to_csv"}


def test_every_layer_named_exists():
    present = {_layer(path) for path in MODULES}
    assert set(ORDER) <= present
