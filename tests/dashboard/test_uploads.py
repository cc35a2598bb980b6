"""Uploaded tests: bounded, in a folder of their own, and gone with their session."""

import gc

import pytest
from dyntest_dashboard import uploads

from dyntest.errors import InputError
from dyntest.reading.sheet import read_sheet


class Sent:
    """A file as the page is given it."""

    def __init__(self, name: str, content: bytes = b"x", size: int | None = None):
        self.name, self.content, self.size = name, content, len(content) if size is None else size

    def getbuffer(self) -> bytes:
        return self.content


def sent_test(sheet) -> list[Sent]:
    return [Sent(path.name, path.read_bytes()) for path in sheet.parent.iterdir()]


def test_an_uploaded_test_can_be_read_and_goes_with_its_session(small_test):
    folder = uploads.Folder()
    path = uploads.unpack(sent_test(small_test), folder)
    assert read_sheet(path).drives and path.parent == folder.path
    kept = folder.path
    del folder, path
    gc.collect()
    assert not kept.exists()


@pytest.mark.parametrize("name", ["../../sheet.toml", "/etc/sheet.toml", "..\\..\\sheet.toml", "a/b/sheet.toml"])
def test_a_path_in_a_name_does_not_lead_out_of_the_folder(name):
    folder = uploads.Folder()
    path = uploads.unpack([Sent(name)], folder)
    assert path.resolve().parent == folder.path.resolve() and path.name == "sheet.toml"


@pytest.mark.parametrize("name", ["", "..", ".hidden.toml", "a\x00.toml", "sheet\n.toml", "x" * 200 + ".toml"])
def test_a_name_that_cannot_be_kept_is_refused(name):
    with pytest.raises(InputError):
        uploads.safe_name(name)


def test_what_is_too_much_is_refused():
    folder = uploads.Folder()
    many = [Sent("sheet.toml"), *(Sent(f"{number}.csv") for number in range(uploads.MOST_FILES))]
    with pytest.raises(InputError, match="files uploaded"):
        uploads.unpack(many, folder)
    with pytest.raises(InputError, match="MB in total"):
        uploads.unpack([Sent("sheet.toml", size=uploads.MOST_BYTES + 1)], folder)
    assert list(folder.path.iterdir()) == []


def test_one_sheet_and_each_file_once():
    folder = uploads.Folder()
    for files, said in (
        ([Sent("a.csv")], "no test sheet"),
        ([Sent("a.toml"), Sent("b.toml")], "2 test sheets"),
        ([Sent("a.toml"), Sent("t.csv"), Sent("x/t.csv")], "was uploaded twice"),
    ):
        with pytest.raises(InputError, match=said):
            uploads.unpack(files, folder)
