"""A TOML text cut into its statements, so that one can be replaced and every other byte stays as it is."""

import tomllib
from dataclasses import dataclass


@dataclass(frozen=True)
class Statement:
    """One statement, a remark or an empty line, with its line break.

    Parameters
    ----------
    text : str
        As it stands in the file; over several lines where brackets or texts go on.
    remark : str
        The remark at its end, from its sign on; empty where there is none.
    table : tuple of str
        Keys of the table whose header stands above it; those of its own where it is a header.
    """

    text: str
    remark: str
    table: tuple[str, ...]

    @property
    def header(self) -> bool:
        """Whether it opens a table."""
        return self.text.lstrip().startswith("[")

    @property
    def values(self) -> dict:
        """The key and the value that it gives; empty where it gives none."""
        return {} if self.header else tomllib.loads(self.text)


def statements(text: str) -> list[Statement]:
    r"""Cut a TOML text into its statements.

    Parameters
    ----------
    text : str
        Valid TOML.

    Returns
    -------
    list of Statement
        In their order; their texts joined are the whole.

    Examples
    --------
    >>> [(one.table, one.values) for one in statements('a = 1\n[b]\nc = "#" # remark\n')]
    [((), {'a': 1}), (('b',), {}), (('b',), {'c': '#'})]
    """
    found, table, start = [], (), 0
    while start < len(text):
        end, remark = _end(text, start)
        piece = text[start:end]
        if piece.lstrip().startswith("["):
            table = _keys(tomllib.loads(piece))
        found.append(Statement(piece, text[remark:end].rstrip("\r\n") if remark >= 0 else "", table))
        start = end
    return found


def _end(text: str, start: int) -> tuple[int, int]:
    """Give where the statement ends, and where its last remark begins; -1 without one."""
    at, depth, remark = start, 0, -1
    while at < len(text):
        sign = text[at]
        if sign == "#":
            remark = at
            at = _found(text, "\n", at)
            continue
        if sign in "\"'":
            at = _after_text(text, at)
            continue
        depth += (sign in "[{") - (sign in "]}")
        at += 1
        if sign == "\n" and depth <= 0:
            return at, remark
    return len(text), remark


def _after_text(text: str, at: int) -> int:
    """Give the place after a quoted text that begins here."""
    quote = text[at : at + 3] if text[at : at + 3] in ('"""', "'''") else text[at]
    at += len(quote)
    while at < len(text) and not text.startswith(quote, at):
        at += 2 if text[at] == "\\" and quote[0] == '"' else 1
    at += len(quote)
    while len(quote) == 3 and at < len(text) and text[at] == quote[0]:  # up to two more quotes belong to the text
        at += 1
    return at


def _found(text: str, sign: str, at: int) -> int:
    place = text.find(sign, at)
    return len(text) if place < 0 else place


def _keys(opened: dict | list) -> tuple[str, ...]:
    """Give the keys of a header from what it opens."""
    keys = []
    while opened:
        opened = opened[0] if isinstance(opened, list) else opened
        if not opened:
            break
        key, opened = next(iter(opened.items()))
        keys.append(key)
    return tuple(keys)
