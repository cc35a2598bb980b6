"""A person opens a structure, clicks a pile on its plan, changes the units, and goes to a test pile's own pages."""

import shutil

import pytest
from dyntest_dashboard.pages import PAGES

from dyntest.reviewing.survey import keep_record


@pytest.fixture
def board(tmp_path, request, told_sample):
    """A copy of the sample structure with all its test piles kept, from results written down by hand."""
    samples = request.config.rootpath / "sample_signals"
    shutil.copytree(samples, tmp_path / "s", ignore=shutil.ignore_patterns("structure", "review", "__pycache__"))
    for record in told_sample.values():
        keep_record(tmp_path / "s" / "structure", record)
    return tmp_path / "s" / "structure.toml"


def test_a_structure_is_read_from_its_plan_to_a_test_piles_own_pages(board, serve_another, visit, tmp_path):
    with serve_another(tmp_path, board) as served:
        seen = visit(820, "dark", at=served)
        seen.until_shown(".dyntest-question", PAGES["structure"].question)
        assert "32 piles judged" in seen.answer()
        plan = seen.page.locator(".st-key-structure_plan")
        symbols = plan.locator("g.mark-symbol.role-mark path")
        assert symbols.count() >= 32
        chosen = seen.page.locator(".st-key-structure_one input")
        before = chosen.input_value()
        symbols.nth(20).click(force=True)
        seen.page.wait_for_function(
            "before => document.querySelector('.st-key-structure_one input').value !== before", arg=before
        )
        seen.rest()
        assert chosen.input_value().startswith("P2-")
        seen.page.locator(".st-key-structure_units").get_by_text("SI", exact=True).click()
        seen.page.get_by_text("kN", exact=False).first.wait_for()
        seen.rest()
        assert seen.page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")
        seen.page.goto(f"{served}/structure")  # as kept from another day, though the page opens without it
        seen.until_shown(".dyntest-question", PAGES["structure"].question)
        seen.rest()
        assert seen.page.get_by_text("Page not found").count() == 0
        seen.complaints.clear()  # Streamlit looks for its server below that address first
        seen.button("structure_open_test").click()
        seen.until_shown(".dyntest-question", PAGES["resistance"].question)
        seen.until_shown(".dyntest-strip", "P2-4")
        assert seen.complaints == [] and seen.strangers == []
