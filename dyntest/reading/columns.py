"""Headers of tables: a name and, in square brackets, a unit."""

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from dyntest.errors import InputError
from dyntest.reading.wording import nearest, printable
from dyntest.units import DIMENSIONS, unit_factor

_HEADER = re.compile(r"\s*([^\[\]]*?)\s*(?:\[([^\[\]]*)\]\s*)?")


@dataclass(frozen=True)
class Header:
    """A column's header, taken apart.

    Parameters
    ----------
    name : str
        What stands before the brackets.
    unit : str
        What stands in the brackets; empty where there are none.
    text : str
        The header as written, for messages.
    """

    name: str
    unit: str
    text: str

    @classmethod
    def parse(cls, text: str) -> "Header":
        """Take a header apart.

        Parameters
        ----------
        text : str
            Such as ``"strain_1 [µm/m]"``.

        Returns
        -------
        Header
            Its name and unit; a header of another form is all name.

        Examples
        --------
        >>> Header.parse("strain_1 [µm/m]").unit
        'µm/m'
        """
        match = _HEADER.fullmatch(text[:200])
        name, unit = (match[1], match[2] or "") if match else (text.strip(), "")
        return cls(name, unit.strip(), printable(text.strip()))


@dataclass(frozen=True)
class Column:
    """A column found in a table.

    Parameters
    ----------
    index : int
        Its place, from 0 [1].
    factor : float
        What its numbers are multiplied by to be in SI [SI unit per unit of the column].
    header : Header
        Its header.
    """

    index: int
    factor: float
    header: Header

    @property
    def text(self) -> str:
        """The header as written, for messages."""
        return self.header.text


def find_columns(
    headers: Sequence[str], required: dict[str, str], optional: dict[str, str], source: str
) -> dict[str, Column]:
    """Find columns by name, with the factors of their units.

    A column that is not asked for is passed over, unless its name is so near to a missing one that it must be meant.

    Parameters
    ----------
    headers : sequence of str
        The first row of the table.
    required, optional : dict of str to str
        Name of each column to its dimension (a key of `dyntest.units.DIMENSIONS`); ``""`` where it has no unit.
    source : str
        The table's name for messages.

    Returns
    -------
    dict of str to Column
        The required columns and those of the optional ones that are there.

    Raises
    ------
    InputError
        If a required column is missing, any asked-for column comes twice, or its unit is absent or wrong.

    Examples
    --------
    >>> find_columns(["depth [ft]", "blows"], {"depth": "length"}, {"blows": ""}, "log.csv")["depth"].factor
    0.3048
    """
    parsed = [Header.parse(text) for text in headers]
    asked = required | optional
    found: dict[str, Column] = {}
    for index, header in enumerate(parsed):
        if header.name not in asked:
            continue
        if header.name in found:
            problem = f"comes twice, as column {found[header.name].index + 1} and column {index + 1}"
            raise InputError(source, f"column {header.text}", problem, "keep one of them")
        found[header.name] = Column(index, _factor(header, asked[header.name], source), header)
    _refuse_near_misses(parsed, asked, found, source)
    for name in required:
        if name not in found:
            have = printable(", ".join(header.text for header in parsed), 300)
            example = written(name, required[name])
            raise InputError(source, f"column {name}", f"is missing; the columns are {have}", f"add {example}")
    return found


def written(name: str, dimension: str) -> str:
    """Give how a header is written.

    Parameters
    ----------
    name : str
        Name of the column.
    dimension : str
        A key of `dyntest.units.DIMENSIONS`, or ``""``.

    Returns
    -------
    str
        The header with the SI unit of its dimension.

    Examples
    --------
    >>> written("time", "time")
    'time [s]'
    """
    return f"{name} [{DIMENSIONS[dimension][0]}]" if dimension else name


def _factor(header: Header, dimension: str, source: str) -> float:
    place = f"column {header.text}"
    if not dimension:
        if header.unit:
            raise InputError(source, place, "has a unit but is a plain number or text", f"write {header.name} alone")
        return 1.0
    if not header.unit:
        example = written(header.name, dimension)
        raise InputError(source, place, "has no unit", f"write it in square brackets, such as {example}")
    try:
        return unit_factor(header.unit, dimension)
    except ValueError as trouble:
        problem = printable(str(trouble).partition("; ")[0], 120)
        raise InputError(
            source, place, problem, f"write a unit of {dimension}, such as {written(header.name, dimension)}"
        ) from None


def _refuse_near_misses(parsed: list[Header], asked: Iterable[str], found: dict[str, Column], source: str) -> None:
    """Refuse a misspelt column: passed over in silence, its numbers would be lost."""
    missing = [name for name in asked if name not in found]
    for header in parsed:
        if header.name in found:
            continue
        guess = nearest(header.name, missing, cutoff=0.8)
        if guess:
            raise InputError(
                source, f"column {header.text}", "is not a column of this table", f"write {guess} if that is meant"
            )
