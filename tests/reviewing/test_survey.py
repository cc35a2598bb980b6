"""The walk over many piles: every pile once, failures told, interruptions and dead processes survived."""

import shutil
from concurrent.futures import Future, ThreadPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from dataclasses import replace

import pytest

from dyntest.errors import InputError
from dyntest.names import NAMES
from dyntest.reviewing import survey as subject
from dyntest.reviewing.review import review
from dyntest.reviewing.survey import COLUMNS, PileRecord, find_sheets, header, pile_row, survey


class AtOnce:
    """An executor that works when it is asked to, and remembers what it was asked."""

    def __init__(self, spoil=lambda name: None):
        self.asked, self.spoil = [], spoil

    def submit(self, work, path, name, match):
        self.asked.append(name)
        future = Future()
        trouble = self.spoil(name)
        if trouble is None:
            future.set_result(work(path, name, match))
        else:
            future.set_exception(trouble)
        return future


@pytest.fixture(scope="module")
def three_piles(tmp_path_factory, lay_out_small_test):
    folder = tmp_path_factory.mktemp("many")
    for name in ("one", "two"):
        (folder / name).mkdir()
        lay_out_small_test(folder / name)
    (folder / "wrong").mkdir()
    (folder / "wrong" / "sheet.toml").write_text("format = 1\n[pile]\n")
    return folder


@pytest.fixture
def folder(tmp_path, three_piles):
    return shutil.copytree(three_piles, tmp_path / "many")


def test_rows_are_what_a_review_of_the_pile_says(folder):
    records = survey(folder, find_sheets(folder), match="none", executor=AtOnce())
    assert [record.sheet for record in records] == ["one/sheet.toml", "two/sheet.toml", "wrong/sheet.toml"]
    alone = review(folder / "one" / "sheet.toml", match="none")
    row = records[0].row
    assert row == pile_row(alone, "one/sheet.toml")
    assert row["pile"] == alone.sheet.pile_name
    assert row["restrike_peak_force"] == alone.drives[1].numbers["peak_force"]
    assert row["peak_gauge_stress"] == max(drive.table["peak_gauge_stress"].max() for drive in alone.drives)
    for sense, least in (("compression", row["peak_gauge_stress"]), ("tension", 0.0)):
        held = [one.value for one in alone.answers.stresses if one.sense == sense]
        assert held and row[f"{sense}_stress"] == max(*held, least)
    assert row["setup_factor"] == alone.answers.setups[0].setup_factor.value
    assert row["initial_matched_resistance"] is None
    assert records[2].row is None
    assert "wrong/sheet.toml" in records[2].problem


@pytest.mark.sweep
def test_matched_numbers_and_the_criterion_come_into_the_row(small_test, small_review_matched, monkeypatch):
    asked = []
    monkeypatch.setattr(subject, "review", lambda path, match: asked.append(match) or small_review_matched)
    (record,) = survey(small_test.parent, (small_test,), match="best", executor=AtOnce())
    assert asked == ["best"]
    match = small_review_matched.drives[0].match
    assert record.row["initial_matched_resistance"] == match.matched_resistance
    assert record.row["initial_matched_resistance_low"] == match.matched_resistance_range[0]
    assert (record.row["criterion_set_per_blow"] is None) == bool(record.row["criterion_problem"])


def test_every_column_has_the_unit_of_its_number():
    assert header("initial_transferred_energy") == f"initial_transferred_energy [{NAMES['transferred_energy'].unit}]"
    assert len({header(column) for column in COLUMNS}) == len(COLUMNS)


def test_what_is_done_is_not_done_again_until_it_changes(folder):
    sheets, kept = find_sheets(folder), {}
    survey(folder, sheets, match="none", executor=AtOnce(), keep=lambda r: kept.update({r.sheet: r}))
    assert sorted(kept) == ["one/sheet.toml", "two/sheet.toml"]  # a failure is not kept: it may be mended elsewhere

    def again(match="none"):
        worker = AtOnce(spoil=lambda name: InputError(name, "", "is not worked out here", "no cure"))
        survey(folder, sheets, match=match, known=kept, executor=worker)
        return sorted(set(worker.asked))  # a failure is tried twice

    assert again() == ["wrong/sheet.toml"]
    assert "one/sheet.toml" in again("best")
    sheet = folder / "two" / "sheet.toml"
    sheet.write_text(sheet.read_text() + "\n# looked at again\n")
    assert again() == ["two/sheet.toml", "wrong/sheet.toml"]
    records = folder / "one" / "initial.parquet"
    records.write_bytes(records.read_bytes() + b" ")
    assert again() == ["one/sheet.toml", "two/sheet.toml", "wrong/sheet.toml"]


def test_another_version_of_the_program_does_it_again(folder):
    sheets = find_sheets(folder)[:1]
    (done,) = survey(folder, sheets, match="none", executor=AtOnce())
    worker = AtOnce()
    survey(folder, sheets, match="none", known={done.sheet: replace(done, program="0.0.9 0123")}, executor=worker)
    assert worker.asked == [done.sheet]


def test_an_interruption_keeps_what_is_done(folder):
    kept = []

    def keep(record):
        kept.append(record.sheet)
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        survey(folder, find_sheets(folder), match="none", executor=AtOnce(), keep=keep)
    assert len(kept) == 1


def test_whoever_is_told_of_progress_may_end_a_survey_while_piles_are_in_hand(folder):
    class Waiting:
        def __init__(self):
            self.futures = []

        def submit(self, *_):
            self.futures.append(Future())
            return self.futures[-1]

    told, executor = [], Waiting()

    def progress(words, share):
        told.append(words)
        if len(told) == 3:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        survey(folder, find_sheets(folder), match="none", executor=executor, progress=progress)
    assert len(executor.futures) == 3 and all(future.cancelled() for future in executor.futures)


def test_a_failure_of_the_program_itself_does_not_take_the_others_along(folder, monkeypatch):
    def fails(path, match):
        raise ZeroDivisionError("oh\nno")

    monkeypatch.setattr(subject, "review", fails)
    records = survey(folder, find_sheets(folder), match="none", executor=AtOnce())
    assert all("ZeroDivisionError" in record.problem and "\n" not in record.problem for record in records)


def test_piles_in_hand_when_a_process_dies_are_tried_again_alone(folder):
    deaths = {"one/sheet.toml": 1, "two/sheet.toml": 99}

    def spoil(name):
        deaths[name] = deaths.get(name, 0) - 1
        return BrokenProcessPool() if deaths[name] >= 0 else None

    records = survey(folder, find_sheets(folder), match="none", executor=AtOnce(spoil))
    assert [record.problem for record in records[:2]] == ["", subject.DIED]
    assert records[0].row is not None
    assert "wrong/sheet.toml" in records[2].problem


def test_an_executor_that_takes_nothing_more_ends_the_survey(folder):
    class Broken:
        def submit(self, *_):
            raise BrokenProcessPool

    records = survey(folder, find_sheets(folder), match="none", executor=Broken())
    assert {record.problem for record in records} == {subject.DIED}


def test_progress_tells_how_many_and_how_long(folder):
    told = []
    survey(
        folder,
        find_sheets(folder),
        match="none",
        executor=AtOnce(),
        progress=lambda step, share: told.append((step, share)),
    )
    assert told[-1][0].startswith("3 of 3 ") and told[-1][1] == 1.0
    assert [share for _, share in told] == sorted(share for _, share in told)


@pytest.mark.sweep
def test_any_executor_gives_the_same(folder):
    sheets = find_sheets(folder)
    with ThreadPoolExecutor(2) as threads:
        many = survey(folder, sheets, match="none", executor=threads)
    assert many == survey(folder, sheets, match="none", executor=AtOnce())
    assert many == survey(folder, sheets, match="none")  # a pool of processes


def test_a_dask_cluster_serves_as_the_executor(folder):
    distributed = pytest.importorskip("distributed")
    sheets = find_sheets(folder)
    with distributed.Client(processes=False, n_workers=1, threads_per_worker=1, dashboard_address=None) as client:
        found = survey(folder, sheets, match="none", executor=client.get_executor())
    assert found == survey(folder, sheets, match="none", executor=AtOnce())


def test_only_what_can_be_matched_in_a_survey(tmp_path):
    with pytest.raises(ValueError, match="best, none"):
        survey(tmp_path, (), match="every")


def test_records_cross_between_processes():
    import pickle

    from dyntest.errors import InputError

    record = PileRecord("a", {}, "none", "1", None, "wrong")
    assert pickle.loads(pickle.dumps(record)) == record
    error = InputError("sheet.toml", "[pile]", "is empty", "fill it in")
    again = pickle.loads(pickle.dumps(error))
    assert (str(again), vars(again)) == (str(error), vars(error))


def lay(folder, **texts):
    for name, text in texts.items():
        path = folder / name.replace("__", "/").replace("_toml", ".toml")
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text)


def test_sheets_are_found_by_their_name_or_by_what_they_hold(tmp_path):
    held = "[pile]\nsection = 'HP12x53'\n[[drive]]\nkind = 'initial'\n"
    lay(tmp_path, a__sheet_toml="", b__P7_toml=held, b__P8_toml=held + "this is no TOML", c__other_toml="[tool]\n")
    lay(tmp_path, d__deep__er__sheet_toml="", _hidden__x_toml="", out__sheet_toml="")
    (tmp_path / ".hidden").mkdir()
    (tmp_path / ".hidden" / "sheet.toml").write_text("")
    found = find_sheets(tmp_path, leave_out=tmp_path / "out")
    names = [path.relative_to(tmp_path).as_posix() for path in found]
    assert names == ["a/sheet.toml", "b/P7.toml", "b/P8.toml", "d/deep/er/sheet.toml"]


def test_a_folder_that_links_into_itself_is_walked_once(tmp_path):
    lay(tmp_path, a__sheet_toml="")
    (tmp_path / "a" / "again").symlink_to(tmp_path)
    assert len(find_sheets(tmp_path)) == 1


@pytest.mark.parametrize("make", [lambda path: None, lambda path: path.mkdir(), lambda path: path.write_text("")])
def test_no_sheet_is_told(tmp_path, make):
    make(tmp_path / "tests")
    with pytest.raises(InputError) as caught:
        find_sheets(tmp_path / "tests")
    assert caught.value.source == str(tmp_path / "tests")
