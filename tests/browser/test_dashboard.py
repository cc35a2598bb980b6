"""A person walks through the pages, chooses, compares, and takes the results along."""

import json
import re
import shutil
import tomllib
from pathlib import Path

import pytest
from dyntest_dashboard.pages import PAGES

from dyntest.names import decimal

SAMPLES = Path(__file__).parents[2] / "sample_signals"

CUT_OFF = """() => {
  const cut = [];
  const main = document.querySelector('[data-testid=stMain]');
  for (const element of main.querySelectorAll('*')) {
    const own = [...element.childNodes].some(node => node.nodeType === 3 && node.textContent.trim());
    if (!own || element.closest('[data-testid=stDataFrame]') || element.closest('canvas')) continue;
    if (!element.checkVisibility({opacityProperty: true, visibilityProperty: true})) continue;
    const box = element.getBoundingClientRect();
    if (box.width < 2 || box.height < 2) continue;
    const scrolls = element.closest('.dyntest-worded, pre, [data-testid=stCode]');
    if (!scrolls && (box.right > window.innerWidth + 1 || box.left < -1)) cut.push('outside: ' + element.textContent);
    const hides = ['hidden', 'clip'].includes(getComputedStyle(element).overflowX);
    if (hides && element.scrollWidth > element.clientWidth + 1) cut.push('cut: ' + element.textContent);
  }
  for (const chart of main.querySelectorAll('svg.marks')) {
    const frame = chart.getBoundingClientRect();
    for (const text of chart.querySelectorAll('text')) {
      if (!text.textContent.trim() || getComputedStyle(text).opacity === '0') continue;
      const box = text.getBoundingClientRect();
      const across = Math.max(frame.left - box.left, box.right - frame.right);
      const out = Math.max(across, frame.top - box.top, box.bottom - frame.bottom);  // a box has some air above letters
      if (box.width && out > 4) cut.push(`in a chart by ${out.toFixed(1)}: ${text.textContent}`);
    }
  }
  return cut;
}"""
"""Texts that reach beyond the window, beyond their chart, or beyond an element that hides what is too much."""


LITTLE_CONTRAST = """() => {
  const parsed = colour => { const found = colour.match(/[\\d.]+/g); return found ? found.map(Number) : null; };
  const over = (top, below) => {
    const share = top.length < 4 ? 1 : top[3];
    return below.map((v, k) => v * (1 - share) + top[k] * share);
  };
  const light = colour => colour.slice(0, 3)
    .map(v => v / 255).map(v => v <= 0.03928 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4)
    .reduce((sum, v, k) => sum + v * [0.2126, 0.7152, 0.0722][k], 0);
  const app = document.querySelector('[data-testid=stApp]'), found = [];
  const paper = parsed(getComputedStyle(app).backgroundColor).slice(0, 3);
  for (const one of app.querySelectorAll('*')) {
    if (![...one.childNodes].some(node => node.nodeType === 3 && node.textContent.trim())) continue;
    if (!one.checkVisibility({opacityProperty: true, visibilityProperty: true})) continue;
    if (one.closest('[disabled], [aria-disabled=true], [data-testid=stCode], [data-testid=stSlider]')) continue;
    const box = one.getBoundingClientRect(), style = getComputedStyle(one);
    if (box.width < 2 || box.height < 2) continue;
    const colour = parsed(one.closest('svg') ? style.fill : style.color);
    if (!colour) continue;
    let below = paper, share = colour.length < 4 ? 1 : colour[3];
    const grounds = [];
    for (let above = one; above; above = above.parentElement) {
      grounds.unshift(parsed(getComputedStyle(above).backgroundColor) || [0, 0, 0, 0]);
      share *= parseFloat(getComputedStyle(above).opacity);
    }
    for (const ground of grounds) below = over(ground, below);
    const [a, b] = [light(over([...colour.slice(0, 3), share], below)), light(below)];
    const ratio = (Math.max(a, b) + 0.05) / (Math.min(a, b) + 0.05);
    if (ratio < 4.5) found.push(`${ratio.toFixed(2)}: ${one.textContent.trim().slice(0, 60)}`);
  }
  return found;
}"""
"""Texts whose contrast with what is behind them is below 4.5 (WCAG 2.1, 1.4.3); controls that cannot be used aside."""


MARK_CONTROLS = """() => {
  const kinds = 'a[href], button:not([disabled]), input:not([disabled]), textarea, select, summary, [role=slider]';
  const left = '[data-testid^=stNumberInputStep], [type=hidden], [aria-hidden=true], [type=file]';
  const groups = '[role=radiogroup], [role=group], [data-testid=stButtonGroup], [data-testid=stDataFrame]';
  const seen = new Map();
  for (const element of document.querySelectorAll('[data-testid=stMain] :is(' + kinds + ')')) {
    if (element.matches(left) || element.closest('[aria-hidden=true], [data-testid=stElementToolbar]')) continue;
    if (!element.checkVisibility({visibilityProperty: true})) continue;
    const box = element.getBoundingClientRect();
    if (box.width < 2 || box.height < 2) continue;
    const group = element.closest(groups) || element.closest('[data-baseweb=select]') || element;
    if (!seen.has(group)) { seen.set(group, seen.size); group.dataset.walk = seen.get(group); }
  }
  return seen.size;
}"""
"""Marks every control that a pointer could use; those that belong together, such as the words of a choice, as one."""

FOCUSED = "() => document.activeElement?.closest('[data-walk]')?.dataset.walk ?? ''"
NOT_REACHED = """reached => [...document.querySelectorAll('[data-walk]')]
  .filter(one => !reached.includes(one.dataset.walk)).map(one => one.outerHTML.slice(0, 200))"""


def not_reached(seen) -> list[str]:
    """Controls of a page that the Tab key does not come to."""
    count = seen.page.evaluate(MARK_CONTROLS)
    assert count > 10  # the names of the pages are among them
    seen.page.evaluate("document.activeElement?.blur()")
    reached: set[str] = set()
    for _ in range(4 * count + 40):
        seen.page.keyboard.press("Tab")
        reached.add(seen.page.evaluate(FOCUSED))
        if len(reached - {""}) == count:
            break
    return seen.page.evaluate(NOT_REACHED, sorted(reached))


@pytest.mark.parametrize(("width", "ground", "keyboard"), [(1280, "light", True), (820, "dark", False)])
def test_all_pages_without_a_complaint_or_text_cut_off_and_reached_by_the_tab_key(visit, width, ground, keyboard):
    """What is cut off hangs on the width alone, the contrast on the ground alone, and the Tab key on neither."""
    seen = visit(width, ground)
    for name, page in PAGES.items():
        if name != next(iter(PAGES)):
            seen.go_to(page.title, page.question)
        assert seen.answer()
        assert seen.page.evaluate(CUT_OFF) == []
        assert seen.page.evaluate(LITTLE_CONTRAST) == []
        assert seen.page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")
        if keyboard:
            assert not_reached(seen) == [], name
    assert seen.complaints == []
    assert seen.strangers == []


def test_a_text_that_is_cut_off_would_be_seen(visit):
    seen = visit(820)
    assert seen.page.evaluate(CUT_OFF) == []
    seen.page.evaluate("""() => {
      const short = document.querySelector('.dyntest-answer p');
      short.style.cssText = 'width: 40px; overflow: hidden; white-space: nowrap';
    }""")
    assert len(seen.page.evaluate(CUT_OFF)) == 1


WITHOUT_MATCH = ("new_test", "structure", "live")
"""Pages that show nothing of a match."""

NO_JOB = "!document.querySelector('.st-key-strip_stop_0')"
"""Whether no job is left that could be stopped."""


def drawn_blow(seen) -> int:
    """The blow whose record is drawn."""
    return int(seen.page.locator(".dyntest-record-blow").first.inner_text().split()[-1])


def until_drawn(seen, blow: int) -> None:
    """Wait until the record of a blow is drawn, and the field above says so too."""
    seen.page.wait_for_function(
        """blow => document.querySelector('.dyntest-record-blow')?.innerText.trim().endsWith(` ${blow}`)
        && document.querySelector('.st-key-strip_blow input')?.value === String(blow)""",
        arg=blow,
    )


def test_arrow_keys_step_from_anywhere_on_the_record_page(visit):
    seen = visit()
    seen.go_to(PAGES["trust"].title, PAGES["trust"].question)
    blow = drawn_blow(seen)
    for place in (".st-key-pages a", ".dyntest-record-bar button[data-panel]", "summary"):
        seen.page.locator(place).first.focus()
        seen.page.keyboard.press("ArrowLeft")
        blow -= 1
        until_drawn(seen, blow)
        seen.rest()
    field = seen.page.locator(".st-key-strip_blow input")
    field.focus()
    seen.page.keyboard.press("ArrowLeft")  # in a field it moves what is typed into
    seen.rest()
    assert drawn_blow(seen) == blow and seen.complaints == []


def test_the_blow_and_its_zoom_survive_a_page_and_a_reload(visit):
    seen = visit()
    seen.go_to(PAGES["trust"].title, PAGES["trust"].question)
    blow = drawn_blow(seen) - 3
    for _ in range(3):
        seen.page.keyboard.press("ArrowLeft")
    until_drawn(seen, blow)
    seen.rest()
    seen.page.locator(".dyntest-record-bar").get_by_role("button", name="Zoom in").first.click()
    ticks = """[...document.querySelectorAll('svg.dyntest-record g.panel:last-of-type text')]
        .map(text => text.textContent).join()"""
    zoomed = seen.page.evaluate(ticks)
    seen.go_to(PAGES["hammer"].title, PAGES["hammer"].question)
    until_drawn(seen, blow)
    seen.go_to(PAGES["trust"].title, PAGES["trust"].question)
    assert seen.page.evaluate(ticks) == zoomed
    seen.page.reload()
    seen.until_shown(".dyntest-question", PAGES["trust"].question)
    until_drawn(seen, blow)
    assert seen.page.evaluate(ticks) == zoomed


def test_marks_a_damping_factor_and_a_blow_by_keyboard(visit):
    """The resistance between the marks is that of the table, until they are moved."""
    seen = visit()
    seen.go_to(PAGES["resistance"].title, PAGES["resistance"].question)
    live = seen.page.locator(".dyntest-record-live").first
    told = live.inner_text()
    table = seen.page.locator(
        ".dyntest-worded.numbers tr", has_text="Case resistance at the first peak"
    ).first.inner_text()
    number = re.compile(r"(\d+)\skip")
    assert abs(int(number.findall(told)[0]) - int(number.findall(table)[0])) <= 2
    mark = seen.page.locator("svg.dyntest-record [data-mark=t1]").first
    mark.focus()
    for _ in range(6):
        seen.page.keyboard.press("ArrowRight")
    seen.page.wait_for_function(
        "before => document.querySelector('.dyntest-record-live').innerText !== before", arg=told
    )
    mark = seen.page.locator("svg.dyntest-record [data-mark=t2]").first
    mark.focus()
    seen.page.keyboard.press("Shift+ArrowRight")
    seen.page.wait_for_function("document.querySelector('.dyntest-record-live').innerText.includes('trial')")
    before = seen.answer()
    slider = seen.page.locator(".st-key-resistance_factor input[type=range]")
    slider.focus()
    for _ in range(5):
        seen.page.keyboard.press("ArrowRight")
    seen.page.wait_for_function("before => document.querySelector('.dyntest-answer').innerText !== before", arg=before)
    seen.rest()
    wanted = drawn_blow(seen) - 3
    seen.enter("strip_blow", str(wanted), lambda: seen.page.get_by_text(f"Blow {wanted} against", exact=False))
    until_drawn(seen, wanted)
    assert seen.complaints == []


def test_units_at_a_switch_and_a_blow_at_a_click_on_its_profile(visit):
    seen = visit()
    seen.go_to(PAGES["hammer"].title, PAGES["hammer"].question)
    assert "kip ft" in seen.answer()
    seen.page.locator(".st-key-units").get_by_text("SI", exact=True).click()
    seen.page.wait_for_function("document.querySelector('.dyntest-answer').innerText.includes('kJ')")
    assert "kip" not in seen.answer()
    seen.rest()
    chart = seen.page.locator("svg.dyntest-profiles").first
    before = drawn_blow(seen)
    box = chart.bounding_box()
    seen.page.mouse.click(box["x"] + 0.1 * box["width"], box["y"] + 0.3 * box["height"])
    seen.page.wait_for_function(
        "before => document.querySelector('.st-key-strip_blow input').value !== before", arg=str(before)
    )
    assert seen.complaints == []


def test_a_restrike_is_laid_over_the_initial_drive(visit):
    seen = visit()
    seen.go_to(PAGES["setup"].title, PAGES["setup"].question)
    chart = seen.page.locator("svg[aria-label*='aligned at impact']").first
    described = chart.get_attribute("aria-label")
    assert "initial, blow" in described and "restrike, blow" in described
    assert chart.locator("[data-panel=difference] path[data-trace]").count() == 2
    assert seen.complaints == []


@pytest.mark.parametrize("width", [820, 1280])
def test_the_legend_of_an_overlay_covers_no_words_of_the_marks(visit, width):
    seen = visit(width)
    seen.go_to(PAGES["setup"].title, PAGES["setup"].question)
    chart = seen.page.locator("svg[aria-label*='aligned at impact']").first
    marks = [one.bounding_box() for one in chart.locator("g.handle text").all()]
    named = [one.bounding_box() for one in chart.locator("g.legend text").all()]
    assert len(marks) == 2 and len(named) == 3  # two blows, and the difference of them

    def apart(a, b):
        beside = a["x"] + a["width"] <= b["x"] or b["x"] + b["width"] <= a["x"]
        return beside or a["y"] + a["height"] <= b["y"] + 2.0 or b["y"] + b["height"] <= a["y"] + 2.0

    assert [(mark, name) for mark in marks for name in named if not apart(mark, name)] == []
    over = chart.evaluate("svg => [...svg.children].map(one => one.getAttribute('class') || '')")
    assert over.index("legend") > max(k for k, name in enumerate(over) if name == "handle")  # drawn over the lines


def test_notes_and_a_sign_off_are_kept_beside_the_sheet(visit, serve_another, tmp_path):
    with serve_another(tmp_path) as served:
        seen = visit(at=served)
        seen.go_to(PAGES["report"].title, PAGES["report"].question)
        seen.type_in("report_note_text", "Gauge 2 was reset before blow 40.", "textarea")
        seen.page.get_by_role("button", name="Add the note").click()
        seen.until_shown(".dyntest-worded", "Gauge 2 was reset")
        seen.page.get_by_role("button", name="Sign", exact=True).click()
        seen.page.get_by_text("Approved by", exact=False).first.wait_for()
        kept = tomllib.loads((tmp_path / "served" / "notes.toml").read_text())
        assert kept["note"][0]["text"] == "Gauge 2 was reset before blow 40." and kept["sign_off"]["decision"]
        assert seen.complaints == []


def test_matching_runs_shows_and_is_stopped_in_another_window_and_by_the_end_of_the_server(
    visit, serve_another, tmp_path
):
    """What it gives can be taken along; `serve_another` holds the server to leave soon, whatever it does."""
    with serve_another(tmp_path) as served:
        seen = visit(at=served)
        seen.go_to(PAGES["resistance"].title, PAGES["resistance"].question)
        seen.button("resistance_match").click()
        seen.button("resistance_match_every").wait_for()
        seen.rest()
        assert "from signal matching" in seen.answer()
        seen.button("resistance_match_every").click()
        seen.button("strip_stop_0").wait_for()
        other = visit(at=served)
        other.button("strip_stop_0").wait_for()
        other.button("strip_stop_0").click()
        for one in (other, seen):
            one.page.wait_for_function(NO_JOB, polling=200)  # no work draws a page anew now
            one.rest()
        seen.go_to(PAGES["report"].title, PAGES["report"].question)
        seen.button("report_make").click()
        seen.button("report_save").wait_for()
        report = saved(seen, "report_save", tmp_path)
        assert report.startswith(b"%PDF") and len(report) > 20_000
        summary = json.loads(saved(seen, "report_summary", tmp_path))
        assert summary["drives"][0]["representative"]["matched_resistance"] > 0
        for page in (page for name, page in PAGES.items() if name not in WITHOUT_MATCH):
            seen.go_to(page.title, page.question)
            for width in (820, 1280):
                seen.page.set_viewport_size({"width": width, "height": 900})
                seen.rest()
                assert seen.page.evaluate(CUT_OFF) == [], (page.title, width)
        seen.go_to(PAGES["resistance"].title, PAGES["resistance"].question)
        seen.button("resistance_match_every").click()
        seen.page.get_by_text(re.compile(r", [1-9]\d* of \d")).first.wait_for()  # the first blows are done
        assert seen.complaints == other.complaints == []


def saved(seen, key: str, folder: Path) -> bytes:
    """What a click on a button to save brings."""
    with seen.page.expect_download() as begun:
        seen.button(key).click()
    path = folder / begun.value.suggested_filename
    begun.value.save_as(path)
    return path.read_bytes()


def test_choices_are_saved_into_a_sheet_and_no_other_window_sees_them(visit, tmp_path):
    seen, other = visit(), visit()
    seen.go_to(PAGES["trust"].title, PAGES["trust"].question)
    blow = seen.page.locator(".st-key-strip_blow input")
    number = int(blow.input_value()) - 2
    seen.enter("strip_blow", str(number), lambda: seen.button("trust_take"))
    seen.button("trust_take").click()
    seen.page.get_by_text(f"Representative blow {number}:", exact=False).first.wait_for()
    seen.go_to(PAGES["report"].title, PAGES["report"].question)
    sheet = tomllib.loads(saved(seen, "report_sheet", tmp_path).decode())
    assert sheet["choices"]["blow"] == {"initial": number}
    other.go_to(PAGES["report"].title, PAGES["report"].question)
    assert "blow" not in tomllib.loads(saved(other, "report_sheet", tmp_path).decode()).get("choices", {})
    assert seen.complaints == other.complaints == []


def test_an_uploaded_test_is_opened(visit, small_test):
    seen = visit()
    seen.page.get_by_text("Open another test", exact=True).click()
    files = [str(path) for path in small_test.parent.iterdir()]
    text = small_test.read_text()
    small_test.write_text(text.replace('pile = "', 'pile = "sent '))
    seen.page.locator(".st-key-pile_files input[type=file]").set_input_files(files)
    seen.page.get_by_text(small_test.name, exact=True).first.wait_for()
    seen.button("pile_open_files").click()
    seen.until_shown(".dyntest-strip", "sent ")
    assert seen.complaints == []


COLUMN_HEADS = """chart => [...chart.querySelectorAll('g.column')].map(column =>
  [...column.querySelectorAll(':scope > text[font-size="13"]')].map(line => line.textContent).join(' '))"""


def test_heads_of_the_columns_of_every_blow_are_whole_in_a_narrow_window(visit):
    seen = visit(820)
    seen.go_to(PAGES["hammer"].title, PAGES["hammer"].question)
    chart = seen.page.locator("svg.dyntest-profiles").first
    heads = chart.evaluate(COLUMN_HEADS)
    assert chart.get_attribute("aria-label").startswith(", ".join(heads) + " of every blow")
    assert any(len(head) > 30 for head in heads)


def test_labels_of_an_axis_drawn_in_the_browser_differ_and_stand_on_their_numbers(chromium):
    source = (SAMPLES.parent / "dashboard" / "components" / "shared.js").read_text(encoding="utf-8")
    functions = source[source.index("function ticks(") : source.index("function bytes(")]
    ends = [[0.0, 4.1], [62.8, 64.9], [-4.2, 4.2], [0.21, 0.56], [0.0, 0.031], [-200.0, 800.0], [1.0, 1.3], [2.1, 2.9]]
    script = f"""ends => {{ {functions}
      return ends.flatMap(([low, high]) => [3, 6, 8, 12].map((most) => {{
        const found = ticks(low, high, most);
        return found.map((value) => [value, shown(value, decimals(found))]);
      }}));
    }}"""
    page = chromium.new_page()
    told = page.evaluate(script, ends)
    page.close()
    for labels in told:
        assert len({words for _, words in labels}) == len(labels)
        step = labels[1][0] - labels[0][0] if len(labels) > 1 else 1.0
        for value, words in labels:
            assert abs(float(words.replace("−", "-").replace(",", "")) - value) < 1e-6 * step


def test_figures_drawn_in_the_browser_write_small_numbers_as_the_tables_do(chromium):
    source = (SAMPLES.parent / "dashboard" / "components" / "shared.js").read_text(encoding="utf-8")
    function = source[source.index("function shown(") : source.index("function bytes(")]
    values = [0.0, 0.0031, -0.0004, 1e-9, -1e-9, 0.04, 0.5, 12.34, 1234.5678]
    page = chromium.new_page()
    told = page.evaluate(f"values => {{ {function} return values.map(value => shown(value, 1)); }}", values)
    page.close()
    assert told == [decimal(value, 1).replace("-", "−") for value in values]


CUT_TABLES = """() => [...document.querySelectorAll('.dyntest-worded')]
  .filter(one => one.scrollWidth > one.clientWidth + 1).map(one => one.innerText.slice(0, 80))"""
"""Tables whose last columns can only be seen by scrolling."""


def test_the_criteria_of_two_piles_fit_a_narrow_window_and_a_card_is_taken_along(visit, serve_another, tmp_path):
    sheet = tmp_path / "concrete" / "sheet.toml"
    shutil.copytree(SAMPLES / "abutment_1_concrete", sheet.parent, ignore=shutil.ignore_patterns("review"))
    with serve_another(tmp_path, sheet) as served:
        seen = visit(820, at=served)
        seen.go_to(PAGES["compare"].title, PAGES["compare"].question)
        seen.button("compare_0_match").click()
        seen.until_shown("th", "sound but rejected")
        seen.rest()
        assert seen.page.evaluate(CUT_TABLES) == []
        assert seen.page.evaluate(CUT_OFF) == []
        seen.go_to(PAGES["criterion"].title, PAGES["criterion"].question)
        assert "No driving criterion" not in seen.answer()
        assert saved(seen, "criterion_card", tmp_path).startswith(b"%PDF")
        assert seen.complaints == []
