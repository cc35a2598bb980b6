"""A commented test sheet and empty tables, for a test that is about to begin."""

from importlib.resources import files


def blank_files() -> dict[str, bytes]:
    """Give the files that a new test begins with.

    Returns
    -------
    dict of str to bytes
        Contents by file name.

    Examples
    --------
    >>> "sheet.toml" in blank_files()
    True
    """
    template = files("dyntest.reading") / "template"
    return {entry.name: entry.read_bytes() for entry in sorted(template.iterdir(), key=lambda entry: entry.name)}
