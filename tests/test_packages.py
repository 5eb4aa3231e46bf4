"""Packages import one way and by each other's face; only readers and writers open files; only the app knows its web
framework."""

import ast
from functools import cache
from pathlib import Path

import pytest

PACKAGE = Path(__file__).parents[1] / "fieldmap"
# The way of the data. A package may import those that stand before it, and none after it.
ORDER = (
    "errors", "units", "agronomy", "plan", "geostatistics", "field", "read", "stand", "credit", "season", "spreader",
    "budget", "zones", "verdict", "actions", "advice", "pipeline", "report", "webmap", "export", "batch", "interface",
    "demo", "app", "cli",
)  # fmt: skip
APP_ORDER = ("plans", "session", "sketch", "parts", "pages", "main")  # as ORDER, inside the app
NEVER = {"geostatistics": {"agronomy", "plan"}}  # the engine knows neither farm nor user
OPENS_FILES = ("read", "export", "agronomy", "webmap", "batch", "app", "demo", "interface")
MODULES = sorted(PACKAGE.rglob("*.py"))
FACES = sorted(path for path in PACKAGE.glob("*/__init__.py") if path.parent.name not in ("app", "cli"))
PUBLIC_NAMES = (5, 18)
STARTS = {"app.main", "cli.main"}  # programs to start, not names to use


@cache
def tree_of(path):
    return ast.parse(path.read_text())


def package_of(path):
    return path.relative_to(PACKAGE).parts[0].removesuffix(".py")


@cache
def imports_of(path):
    """(package, module below it or "", name) of every import of ours."""
    return list(_imports_of(path))


def _imports_of(path):
    for node in ast.walk(tree_of(path)):
        if isinstance(node, ast.ImportFrom) and (node.module or "").split(".")[0] == "fieldmap":
            parts = node.module.split(".")
            for alias in node.names:
                if len(parts) == 1:
                    yield alias.name, "", ""
                else:
                    yield parts[1], ".".join(parts[2:]), alias.name
        elif isinstance(node, ast.Import):
            for alias in node.names:
                assert not alias.name.startswith("fieldmap."), f"{path}: name what is imported"


def public_names(face):
    for node in ast.parse(face.read_text()).body:
        if isinstance(node, ast.Assign) and node.targets[0].id == "__all__":
            return ast.literal_eval(node.value)
    return []


@pytest.mark.parametrize("path", MODULES, ids=lambda path: str(path.relative_to(PACKAGE)))
def test_packages_import_one_way_and_by_their_faces(path):
    package = package_of(path)
    if package == "__init__":
        return
    below = {*ORDER[: ORDER.index(package) + 1]} - NEVER.get(package, set())
    for other, module, name in imports_of(path):
        assert other in below, f"{other} stands after {package}, or is none of its business"
        if other != package and name and f"{other}.{module}" not in STARTS:
            assert module == "", f"from fieldmap.{other} import {name}: the package itself is to be named"
            face = PACKAGE / other / "__init__.py"
            assert not face.exists() or name in public_names(face), f"{name} is no public name of {other}"


@pytest.mark.parametrize("path", sorted((PACKAGE / "app").rglob("*.py")), ids=lambda path: path.stem)
def test_the_rooms_of_the_app_import_one_way(path):
    room = path.relative_to(PACKAGE / "app").parts[0].removesuffix(".py")
    if room == "__init__":
        return
    for other, module, _ in imports_of(path):
        if other == "app":
            assert module.split(".")[0] in APP_ORDER[: APP_ORDER.index(room) + 1], f"{room} imports {module}"


@pytest.mark.parametrize("face", FACES, ids=lambda face: face.parent.name)
def test_a_face_says_what_station_it_is_and_names_what_others_use(face):
    tree = ast.parse(face.read_text())
    assert ast.get_docstring(tree).endswith(".")
    names = public_names(face)
    assert PUBLIC_NAMES[0] <= len(names) <= PUBLIC_NAMES[1], len(names)
    used = {name for path in MODULES for other, _, name in imports_of(path) if other == face.parent.name}
    assert not [name for name in names if name.startswith("_")]
    assert used


@pytest.mark.parametrize("path", MODULES, ids=lambda path: str(path.relative_to(PACKAGE)))
def test_the_core_opens_no_file_and_knows_no_web_page(path):
    tree = tree_of(path)
    names = {a.name.split(".")[0] for n in ast.walk(tree) if isinstance(n, ast.Import) for a in n.names}
    names |= {(n.module or "").split(".")[0] for n in ast.walk(tree) if isinstance(n, ast.ImportFrom)}
    assert package_of(path) == "app" or not {"streamlit", "streamlit_folium"} & names
    if package_of(path) in OPENS_FILES:
        return
    calls = {
        getattr(n.func, "attr", getattr(n.func, "id", "")) for n in ast.walk(tree) if isinstance(n, ast.Call)
    }
    assert not calls & {"open", "read_text", "read_bytes", "write_text", "write_bytes", "read_csv", "to_csv"}


@pytest.mark.parametrize("folder", sorted({path.parent for path in MODULES}), ids=lambda folder: folder.name)
def test_no_folder_holds_more_than_eleven_modules(folder):
    assert len([path for path in folder.glob("*.py") if path.name != "__init__.py"]) <= 11


def test_every_package_named_exists():
    assert {package_of(path) for path in MODULES} == {*ORDER, "__init__"}


@pytest.mark.parametrize("path", sorted(Path(__file__).parent.rglob("test_*.py")), ids=lambda path: path.stem)
def test_no_test_imports_from_another(path):
    for node in ast.walk(tree_of(path)):
        if isinstance(node, ast.ImportFrom):
            assert not (node.module or "").rpartition(".")[2].startswith("test_"), node.module
