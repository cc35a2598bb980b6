"""Which files a result was computed from, told by their fingerprints."""

import hashlib
from pathlib import Path

from dyntest.errors import InputError
from dyntest.reading.sheet_parts import TestSheet
from dyntest.reading.wording import known_as


def sha256(path: str | Path) -> str:
    """Give the SHA-256 fingerprint of a file (FIPS 180-4).

    Parameters
    ----------
    path : str or Path
        The file.

    Returns
    -------
    str
        64 hexadecimal digits.

    Raises
    ------
    InputError
        If the file cannot be read.

    Examples
    --------
    >>> sha256(__file__) == sha256(Path(__file__))
    True
    """
    try:
        with Path(path).open("rb") as stream:
            return hashlib.file_digest(stream, "sha256").hexdigest()
    except OSError as trouble:
        problem = f"cannot be read ({trouble.strerror})"
        raise InputError(known_as(path), "", problem, "check the name and its permissions") from None


def digests(sheet: TestSheet) -> dict[str, str]:
    """Give the fingerprint of the sheet and of every file that it names.

    Parameters
    ----------
    sheet : TestSheet
        The sheet as read.

    Returns
    -------
    dict of str to str
        File name, relative to the sheet's folder, to SHA-256.

    Raises
    ------
    InputError
        If a file cannot be read any more.
    """
    folder = sheet.path.parent
    return {path.relative_to(folder).as_posix(): sha256(path) for path in sheet.inputs}
