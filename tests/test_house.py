"""How the house is built: imports point downward, modules stay bounded, one name has one meaning, nothing is idle."""

import ast
import functools
import importlib.util
import json
import re
import subprocess
import sys
import tomllib
from collections import Counter
from collections.abc import Iterable
from pathlib import Path

ROOT = Path(__file__).parent.parent
LIBRARY = ROOT / "dyntest"
TESTS = ROOT / "tests"

FLOORS = (
    ("dyntest",),
    ("units", "errors", "names", "processes"),
    ("pile", "hammer", "signals"),
    ("reading",),
    ("conditioning",),
    ("quantities",),
    ("wave_equation",),
    ("decisions",),
    ("reviewing",),
    ("following",),
    ("presenting",),
    ("cli",),
    ("dashboard",),
)
"""From the ground up; a module imports from its own floor and from those before it in this list."""

FLOOR_OF = {room: number for number, floor in enumerate(FLOORS) for room in floor}

TOP_LEVEL = {"README.md", "DEVELOPERS.md", "pyproject.toml", "dyntest", "dashboard", "tests", "sample_signals"}
MADE_BY_INSTALLING = {"build", "dist", "dyntest.egg-info", "__pycache__"}

INNER_FLOORS = {
    "reading": ("wording", "files", "text_tables", "number_table", "schema", "logs", "build", "sheet"),
    "reviewing": ("drive", "drive_match", "pile_criterion", "answers", "review", "pile_result", "survey", "structure"),
    "presenting": ("palette", "sentences", "frames", "figures", "report", "files"),
}
"""The same inside a room, for its main modules; the others there are only kept free of circles."""

LONGEST_MODULE = 600
MOST_FILES = 175
"""Python files of the library and the dashboard together."""
LONGEST_README = 120
"""Lines a stranger reads on the first page."""

HEAVY = {
    "numpy",
    "scipy",
    "pandas",
    "matplotlib",
    "pyarrow",
    "pydantic",
    "pint",
    "typst",
    "streamlit",
    "altair",
    "numba",
}
"""Packages that take long to import; the command line loads them in the command that needs them."""

SHARED_NAMES = {"draw", "review", "survey", "check", "follow", "recognise", "read"}
"""Names that several modules share for one meaning: of pages, of formats, and commands named as what they call."""

AMBIGUOUS: set[str] = set()
"""Public names that mean two things in two modules. None."""

IDLE: set[str] = set()
"""Definitions that only tests call and that README does not list. None."""


parsed = functools.cache(ast.parse)


@functools.cache
def nodes(source: str) -> tuple[ast.AST, ...]:
    """Every node of a source, those above before those below."""
    return tuple(ast.walk(parsed(source)))


@functools.cache
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


def imported(name: str, source: str, known: set[str]) -> set[str]:
    """Every module of the house that a source imports, also inside functions.

    The pages import each other relative to their folder: it is `dashboard` where it is written and `dyntest_dashboard`
    where it is installed, and an import by either name would fail under the other. The library keeps to whole names.
    """
    found = set()
    here = name.split(".") if name in packages(known) else name.split(".")[:-1]
    for node in nodes(source):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0 or name.startswith("dashboard"), f"relative import on line {node.lineno}"
            above = here[: len(here) + 1 - node.level] if node.level else []
            module = ".".join([*above, *([node.module] if node.module else [])])
            for alias in node.names:
                inner = f"{module}.{alias.name}"
                found.add(inner if inner in known else module)
    found = {target.replace("dyntest_dashboard", "dashboard") for target in found}
    return {target for target in found if target.split(".")[0] in ("dyntest", "dashboard")}


def packages(known: set[str]) -> set[str]:
    """The names that have others below them."""
    return {name.rpartition(".")[0] for name in known} - {""}


def upward_imports(sources: dict[str, str]) -> list[str]:
    """Each import that points to a later floor, or to or from a room that has no floor."""
    wrong = []
    for name, source in sources.items():
        for target in imported(name, source, set(sources)):
            here, there = FLOOR_OF.get(room(name)), FLOOR_OF.get(room(target))
            if here is None or there is None or there > here:
                wrong.append(f"{name} imports {target}")
    return wrong


def upward_inside(sources: dict[str, str], floors: dict[str, tuple[str, ...]]) -> list[str]:
    """Each import inside a room that points to a module later in its list."""
    wrong = []
    for name, source in sources.items():
        order = floors.get(room(name), ())
        for target in imported(name, source, set(sources)):
            if room(target) == room(name) and name != target:
                here, there = (one.split(".")[2] if one.count(".") > 1 else "" for one in (name, target))
                if here in order and there in order and order.index(there) > order.index(here):
                    wrong.append(f"{name} imports {target}")
    return wrong


def circles(sources: dict[str, str]) -> list[str]:
    """Every module that reaches itself through its imports."""
    edges = {name: imported(name, source, set(sources)) & set(sources) for name, source in sources.items()}

    def reachable(start: str) -> set[str]:
        seen, waiting = set(), list(edges[start])
        while waiting:
            name = waiting.pop()
            if name not in seen:
                seen.add(name)
                waiting.extend(edges[name])
        return seen

    return [name for name in edges if name in reachable(name)]


def public_definitions(source: str) -> list[str]:
    """Names of the public functions and classes of a module."""
    kinds = ast.FunctionDef | ast.ClassDef
    return [node.name for node in parsed(source).body if isinstance(node, kinds) and not node.name.startswith("_")]


def ambiguous(sources: dict[str, str]) -> set[str]:
    """Public names that are defined in more than one module."""
    count = Counter(name for source in sources.values() for name in public_definitions(source))
    return {name for name, times in count.items() if times > 1} - SHARED_NAMES


def used_names(source: str) -> set[str]:
    """Every name that a source reads, also as an attribute or in a text that may be looked up."""
    found = set()
    for node in nodes(source):
        if isinstance(node, ast.Name) and isinstance(node.ctx, ast.Load):
            found.add(node.id)
        elif isinstance(node, ast.Attribute):
            found.add(node.attr)
        elif isinstance(node, ast.Constant) and isinstance(node.value, str) and re.fullmatch(r"[\w.]+", node.value):
            found |= set(node.value.split("."))
    return found


def idle(sources: dict[str, str], listed: set[str]) -> set[str]:
    """Public functions, classes, properties and methods that no module uses and that nobody is told of."""
    used = set().union(*map(used_names, sources.values()))
    unused = set()
    for module, source in sources.items():
        for node in parsed(source).body:
            inner = node.body if isinstance(node, ast.ClassDef) else []
            names = [node.name] if isinstance(node, ast.FunctionDef | ast.ClassDef) else []
            names += [f"{node.name}.{one.name}" for one in inner if isinstance(one, ast.FunctionDef)]
            for name in names:
                last = name.rpartition(".")[2]
                called_by_others = last.startswith("_") or f"{module}.{name}" in listed or decorated(node, inner, last)
                if last not in used and not called_by_others:
                    unused.add(f"{module}.{name}")
    return unused


def decorated(node: ast.stmt, inner: list[ast.stmt], name: str) -> bool:
    """Whether a framework calls a definition by its decorator: commands of click, validators of pydantic."""
    for one in (node, *inner):
        if isinstance(one, ast.FunctionDef | ast.ClassDef) and one.name == name:
            words = " ".join(map(ast.unparse, one.decorator_list))
            if re.search(r"command|group|validator|serializer|fragment|dialog", words):
                return True
    return False


def test_imports_point_downward():
    assert upward_imports(modules()) == []


def test_imports_inside_a_room_point_downward():
    assert upward_inside(modules(), INNER_FLOORS) == []
    named = {(room(name), name.split(".")[2]) for name in modules() if name.count(".") > 1}
    assert {(folder, one) for folder, order in INNER_FLOORS.items() for one in order} <= named


def test_no_circle_of_imports():
    assert circles(modules()) == []


def test_every_module_stands_on_a_floor():
    assert {room(name) for name in modules()} <= set(FLOOR_OF)


def test_library_does_not_import_streamlit():
    library = {name: source for name, source in modules().items() if name.startswith("dyntest")}
    assert [name for name, source in library.items() if "streamlit" in third_party(source)] == []


def third_party(source: str) -> set[str]:
    """First part of the name of everything a source imports."""
    found = nodes(source)
    plain = {alias.name.split(".")[0] for node in found if isinstance(node, ast.Import) for alias in node.names}
    whole = [node.module for node in found if isinstance(node, ast.ImportFrom) and node.module and not node.level]
    return plain | {module.split(".")[0] for module in whole}


def test_every_mistake_on_the_list_can_still_be_made():
    """A text that has changed since would leave the mistake, and the tests that have to notice it, untried."""
    spec = importlib.util.spec_from_file_location("mutations", TESTS / "mutations.py")
    listed = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = listed  # dataclasses look their module up
    try:
        spec.loader.exec_module(listed)
    finally:
        del sys.modules[spec.name]
    stale = [each.what for each in listed.MUTATIONS if (ROOT / each.file).read_text().count(each.old) != 1]
    assert stale == []
    named = {name.split("::")[0] for each in listed.MUTATIONS for name in each.tests if name.startswith("tests/")}
    assert named and {name for name in named if not (ROOT / name).exists()} == set()


def test_no_module_is_a_hall():
    written = {name: source for name, source in modules().items() if "def " in source or "class " in source}
    lengths = {name: source.count("\n") for name, source in written.items()}
    assert {name: length for name, length in lengths.items() if length > LONGEST_MODULE} == {}


def test_the_house_has_few_modules():
    assert len(modules()) <= MOST_FILES


def test_the_first_page_is_short():
    assert (ROOT / "README.md").read_text(encoding="utf-8").count("\n") <= LONGEST_README


def test_a_public_name_has_one_meaning():
    assert ambiguous(modules()) <= AMBIGUOUS


def test_what_only_tests_call_is_not_kept(public_face):
    assert idle(modules(), public_face) <= IDLE


def test_no_product_module_passes_for_a_test():
    assert [
        name for name, source in modules().items() if name.split(".")[-1].startswith("test_") or "__test__" in source
    ] == []


LOADS = """
import json, sys
from dyntest import cli
at_import = set(sys.modules)
try:
    cli.main(["--help"])
except SystemExit:
    pass
print(json.dumps([sorted(at_import), sorted(sys.modules)]))
"""


def test_the_command_line_starts_without_heavy_packages():
    told = subprocess.run([sys.executable, "-c", LOADS], capture_output=True, text=True, check=True, cwd=ROOT)
    for loaded in json.loads(told.stdout.splitlines()[-1]):
        assert "dyntest.cli" in loaded
        assert HEAVY & {name.split(".")[0] for name in loaded} == set()


def test_every_package_is_installed():
    named = tomllib.loads((ROOT / "pyproject.toml").read_text())["tool"]["setuptools"]
    places = {name: named["package-dir"].get(name.split(".")[0], name.split(".")[0]) for name in named["packages"]}
    installed = {"/".join([places[name], *name.split(".")[1:]]) for name in named["packages"]}
    written = [*LIBRARY.rglob("__init__.py"), *(ROOT / "dashboard").rglob("__init__.py")]
    folders = {path.parent.relative_to(ROOT).as_posix() for path in written}
    assert folders <= installed
    assert all((ROOT / folder).is_dir() for folder in installed)


def test_top_level_is_clear():
    names = {path.name for path in ROOT.iterdir() if not path.name.startswith(".")}
    assert names - MADE_BY_INSTALLING <= TOP_LEVEL


WAITS = re.compile(r"\b(?:time\.sleep|wait_for_timeout)\(|\bdeadline=(?!None)")
"""Time that passes in the place of an event, and limits of time on an example of Hypothesis."""


def test_no_test_waits_for_time_to_pass():
    sources = {path.relative_to(TESTS).as_posix(): path.read_text(encoding="utf-8") for path in TESTS.rglob("*.py")}
    waiting = {name for name, source in sources.items() if WAITS.search(source)}
    assert waiting == {"conftest.py"}  # the one place that asks again and again until an event has come


def test_no_test_asserts_a_time():
    clocks = re.compile(r"^\s*assert .*(?:perf_counter|process_time|monotonic|elapsed|seconds)\b", flags=re.M)
    assert {path.name for path in TESTS.rglob("*.py") if clocks.search(path.read_text(encoding="utf-8"))} == set()


RUN = 5
"""Words one after another that make a sentence of the product known again."""


def runs(text: str) -> set[tuple[str, ...]]:
    """Every run of words in a text that nothing but blanks and the marks of a sentence part."""
    found = set()
    for part in re.split(r"[^\w\s,;:.'’%()-]|[_\n\d]", text.lower()):
        words = re.findall(r"[^\W\d_]+(?:['’-][^\W\d_]+)*", part)
        found |= {tuple(words[place : place + RUN]) for place in range(len(words) - RUN + 1)}
    return found


def texts(below: Iterable[ast.AST]) -> list[str]:
    """Every text among nodes, and each piece of a formatted one, but not what documents."""
    found, documents = [], set()
    for node in below:
        if isinstance(node, ast.Expr):
            documents.add(node.value)
        elif isinstance(node, ast.Constant) and isinstance(node.value, str) and node not in documents:
            found.append(node.value)
    return found


def kinds(source: str) -> set[str]:
    """Texts that are names of things, not sentences: keys, module constants, what a dataclass is first given."""
    found = [node.value for node in parsed(source).body if isinstance(node, ast.Assign)]
    for node in nodes(source):
        if isinstance(node, ast.Dict):
            found += [key for key in node.keys if key]
        elif isinstance(node, ast.Call) and node.args and ast.unparse(node.func)[:1].isupper():
            found += [node.args[0]] if not ast.unparse(node.func).endswith("Error") else []
    found += [inner for one in found if isinstance(one, ast.Tuple | ast.List | ast.Set) for inner in one.elts]
    names = {one.value for one in found if isinstance(one, ast.Constant) and isinstance(one.value, str)}
    return {name for name in names if name[:1].islower() and not name.endswith(".")}


def asserted_twice(product: dict[str, str], tests: dict[str, str]) -> dict[str, list[str]]:
    """Each sentence of the product that more than one function or constant of the tests holds, and where."""
    named = set().union(*map(kinds, product.values()))
    said = set().union(*(runs(text) for source in product.values() for text in texts(nodes(source))))
    places: dict[tuple[str, ...], list[str]] = {}
    for name, source in tests.items():
        for top in parsed(source).body:
            if isinstance(top, ast.Expr):
                continue
            held = set().union(*(runs(text) for text in texts(ast.walk(top)) if text not in named))
            for run in held & said:
                places.setdefault(run, []).append(f"{name}: {getattr(top, 'name', f'line {top.lineno}')}")
    return {" ".join(run): where for run, where in sorted(places.items()) if len(where) > 1}


def test_a_sentence_is_asserted_in_one_place():
    tests = {path.relative_to(TESTS).as_posix(): path.read_text(encoding="utf-8") for path in TESTS.rglob("*.py")}
    written = {name: text for name, text in tests.items() if Path(name).name.startswith(("test_", "conftest"))}
    assert asserted_twice(modules(), written) == {}


def test_a_sentence_asserted_twice_is_seen():
    product = {
        "a": 'def f(x):\n    """Say it in the words of a page."""\n    return f"{x} is far below its limit now."'
    }
    one, two = ('def test_it():\n    assert f(3) == "3 is far below its limit now."', 'SAID = "is far below its limit"')
    assert asserted_twice(product, {"one": one}) == asserted_twice(product, {"one": one, "two": SAID_ELSEWHERE}) == {}
    assert asserted_twice(product, {"one": one, "two": two}) == {
        "is far below its limit": ["one: test_it", "two: line 1"]
    }
    named = {"b": 'KIND = "is far below its limit"'}
    assert asserted_twice({**product, **named}, {"one": one, "two": two}) == {}


SAID_ELSEWHERE = 'assert told == "far below\\nits limit now" and "say it in the words of a page"'


def test_the_checks_see_what_is_wrong():
    sources = {
        "dyntest.pile": "from dyntest.quantities import energy_and_motion",
        "dyntest.quantities": "",
        "dyntest.quantities.energy_and_motion": "def late():\n    import dyntest.pile",
        "dyntest.attic": "import dyntest.pile",
        "dashboard": "",
        "dashboard.views": "",
        "dashboard.views.page": "from .. import work\nfrom ..charts import draw",
        "dashboard.work": "from .views import page\nimport streamlit",
        "dashboard.charts": "",
    }
    assert upward_imports(sources) == [
        "dyntest.pile imports dyntest.quantities.energy_and_motion",
        "dyntest.attic imports dyntest.pile",
    ]
    assert circles(sources) == [
        "dyntest.pile",
        "dyntest.quantities.energy_and_motion",
        "dashboard.views.page",
        "dashboard.work",
    ]
    assert upward_inside(
        {"dyntest.reading.files": "from dyntest.reading import sheet", "dyntest.reading.sheet": ""}, INNER_FLOORS
    ) == ["dyntest.reading.files imports dyntest.reading.sheet"]
    twice = {"dyntest.a": "def one(): ...\ndef two(): ...", "dyntest.b": "class one: ...\nx = two"}
    assert ambiguous(twice) == {"one"}
    assert idle(twice, {"dyntest.a.one"}) == {"dyntest.b.one"}
    assert (
        WAITS.search("time." + "sleep(1)")
        and WAITS.search("deadline" + "=200")
        and not WAITS.search("deadline" + "=None")
    )
    assert third_party("import streamlit as st") == third_party("from streamlit.testing import v1") == {"streamlit"}
