import pytest

from dyntest.errors import InputError
from dyntest.reviewing.survey import find_sheets


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
    with pytest.raises(InputError, match=r"does not exist|no test sheet|is not a folder"):
        find_sheets(tmp_path / "tests")
