"""How the house is built: imports point downward, modules stay small, the top level stays clear."""

import ast
from pathlib import Path

ROOT = Path(__file__).parent.parent
LIBRARY = ROOT / "dyntest"

FLOORS = (
    ("dyntest",),
    ("units", "errors", "names"),
    ("pile", "hammer", "signals"),
    ("reading",),
    ("conditioning",),
    ("quantities",),
    ("wave_equation",),
    ("decisions",),
    ("reviewing",),
    ("presenting",),
    ("cli",),
    ("dashboard",),
)
"""From the ground up; a module imports from its own floor and from those before it in this list."""

FLOOR_OF = {room: number for number, floor in enumerate(FLOORS) for room in floor}

TOP_LEVEL = {"README.md", "DEVELOPERS.md", "pyproject.toml", "dyntest", "dashboard", "tests", "sample_signals"}
MADE_BY_INSTALLING = {"build", "dist", "dyntest.egg-info", "__pycache__"}

LONGEST_MODULE = 600


def modules() -> dict[str, str]:
    """Source of every module of the library and the dashboard by its dotted name."""
    paths = [*LIBRARY.rglob("*.py"), *(ROOT / "dashboard").rglob("*.py")]
    return {dotted(path.relative_to(ROOT)): path.read_text() for path in paths}


def dotted(path: Path) -> str:
    """The name a file is imported by."""
    parts = path.with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


def room(name: str) -> str:
    """The room of the house a module stands in: its folder, or itself where it stands alone."""
    parts = name.split(".")
    return parts[0] if parts[0] == "dashboard" or len(parts) == 1 else parts[1]


def imported(source: str, known: set[str]) -> set[str]:
    """Every module of the house that a source imports, also inside functions."""
    found = set()
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"relative import on line {node.lineno}"
            for alias in node.names:
                inner = f"{node.module}.{alias.name}"
                found.add(inner if inner in known else node.module)
    return {name for name in found if name.split(".")[0] in ("dyntest", "dashboard")}


def upward_imports(sources: dict[str, str]) -> list[str]:
    """Each import that points to a later floor, or to or from a room that has no floor."""
    wrong = []
    for name, source in sources.items():
        for target in imported(source, set(sources)):
            here, there = FLOOR_OF.get(room(name)), FLOOR_OF.get(room(target))
            if here is None or there is None or there > here:
                wrong.append(f"{name} imports {target}")
    return wrong


def circles(sources: dict[str, str]) -> list[str]:
    """Every module that reaches itself through its imports."""
    edges = {name: imported(source, set(sources)) & set(sources) for name, source in sources.items()}

    def reachable(start: str) -> set[str]:
        seen, waiting = set(), list(edges[start])
        while waiting:
            name = waiting.pop()
            if name not in seen:
                seen.add(name)
                waiting.extend(edges[name])
        return seen

    return [name for name in edges if name in reachable(name)]


def test_imports_point_downward():
    assert upward_imports(modules()) == []


def test_no_circle_of_imports():
    assert circles(modules()) == []


def test_every_module_stands_on_a_floor():
    assert {room(name) for name in modules()} <= set(FLOOR_OF)


def test_library_does_not_import_streamlit():
    library = {name: source for name, source in modules().items() if name.startswith("dyntest")}
    assert [name for name, source in library.items() if "streamlit" in third_party(source)] == []


def third_party(source: str) -> set[str]:
    """First part of the name of everything a source imports."""
    nodes = list(ast.walk(ast.parse(source)))
    plain = {alias.name.split(".")[0] for node in nodes if isinstance(node, ast.Import) for alias in node.names}
    return plain | {node.module.split(".")[0] for node in nodes if isinstance(node, ast.ImportFrom) and node.module}


def test_no_module_is_a_hall():
    written = {name: source for name, source in modules().items() if "def " in source or "class " in source}
    lengths = {name: source.count("\n") for name, source in written.items()}
    assert {name: length for name, length in lengths.items() if length > LONGEST_MODULE} == {}


def test_top_level_is_clear():
    names = {path.name for path in ROOT.iterdir() if not path.name.startswith(".")}
    assert names - MADE_BY_INSTALLING <= TOP_LEVEL


def test_the_checks_see_what_is_wrong():
    sources = {
        "dyntest.pile": "from dyntest.quantities import energy_and_motion",
        "dyntest.quantities": "",
        "dyntest.quantities.energy_and_motion": "def late():\n    import dyntest.pile",
        "dyntest.attic": "import dyntest.pile",
    }
    assert upward_imports(sources) == [
        "dyntest.pile imports dyntest.quantities.energy_and_motion",
        "dyntest.attic imports dyntest.pile",
    ]
    assert circles(sources) == ["dyntest.pile", "dyntest.quantities.energy_and_motion"]
    assert third_party("import streamlit as st") == third_party("from streamlit.testing import v1") == {"streamlit"}
