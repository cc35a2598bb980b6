"""Pages run by themselves, as streamlit runs them, without a browser."""

import sys
from collections.abc import Callable
from pathlib import Path

import pytest
from altair.utils import schemapi
from streamlit.testing.v1 import AppTest

ROOT = Path(__file__).parent.parent.parent
SAMPLE = ROOT / "sample_signals" / "pier_2_clay" / "sheet.toml"
"""A sample with a restrike and, once it is matched, with a driving criterion."""

SLOWEST = 300.0
"""Longest a page may take here [s]; a shared machine may be slow."""


@pytest.fixture(scope="session", autouse=True)
def components_looked_for_once():
    """Look through the installed packages for components of Streamlit once, not for every page that is run."""
    from streamlit.components.v2 import manifest_scanner

    found = manifest_scanner.scan_component_manifests()
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(manifest_scanner, "scan_component_manifests", lambda: found)
        yield


@pytest.fixture(autouse=True)
def main_module():
    """A page run here takes the place of the main module, which every new process of a pool would then run; undo it."""
    before = sys.modules["__main__"]
    yield
    sys.modules["__main__"] = before


@pytest.fixture
def charts_held_against_their_schema():
    """Every chart of a test is held against its schema by Altair, which the pages leave out for speed."""
    import dyntest_dashboard.charts  # noqa: F401  turns it off when it is first loaded

    schemapi.enable_debug_mode()
    yield
    schemapi.disable_debug_mode()


def alone(page: str) -> AppTest:
    """A page with the strip above it, without the line below it."""
    script = f"from dyntest_dashboard.strip import drawing\n\ndrawing({page!r})()\n"
    return AppTest.from_string(script, default_timeout=SLOWEST)


@pytest.fixture
def open_page(monkeypatch) -> Callable[..., AppTest]:
    """Run a page on a sheet; the session is a new one."""

    def run(page: str, sheet: Path = SAMPLE) -> AppTest:
        monkeypatch.setenv("DYNTEST_SHEET", str(sheet))
        return alone(page).run()

    return run


def words(page: AppTest) -> str:
    """All text that a page shows outside its widgets."""
    kinds = ("html", "markdown", "caption", "error", "info")
    found = [element for kind in kinds for element in page.get(kind)]
    text = "\n".join(getattr(element, "value", None) or element.proto.body for element in found)
    return text.replace("\N{NO-BREAK SPACE}", " ")  # between a number and its unit


@pytest.fixture
def text_of() -> Callable[[AppTest], str]:
    """Give `words`, since test folders are no packages."""
    return words


def wait_for_jobs() -> None:
    """Wait until nothing runs beside the pages any more, and make sure that nothing went wrong."""
    from dyntest_dashboard.shelf import jobs

    for job in list(jobs().known.values()):
        job.join(2 * SLOWEST)
        assert (job.is_alive(), job.problem) == (False, "")


@pytest.fixture(scope="session")
def jobs_done() -> Callable[[], None]:
    """Give `wait_for_jobs`, since test folders are no packages."""
    return wait_for_jobs


@pytest.fixture(scope="session")
def matched(reviewed_sample):
    """Lay the matches and the criterion of the sample's review on the shelf, as a click on the page would; give it."""
    from dyntest_dashboard import shelf, work

    from dyntest.reviewing import pile_criterion

    reviewed = reviewed_sample(SAMPLE.parent.name)
    opened = work.other_test(SAMPLE, reviewed.sheet.display_units)
    for drive in reviewed.drives:
        shelf.shelf().put(shelf.match_key(opened, drive), shelf.match_fields(drive))
    derive, known = pile_criterion.criterion_of_test_pile, reviewed.answers.criterion
    assert known is not None and known.criterion is not None

    def derived(sheet, drives, compared, target, limits):
        """The criterion of the same resistance and setup is at hand, and takes long to derive."""
        same = sheet.path == SAMPLE and target.middle == known.target.middle and target.setup == known.target.setup
        return (known, None) if same else derive(sheet, drives, compared, target, limits)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(pile_criterion, "criterion_of_test_pile", derived)
        yield reviewed
