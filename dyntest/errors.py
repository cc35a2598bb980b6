"""One family of errors, each a single message naming file, place and cure."""


class DyntestError(Exception):
    """Anything that stops the program and that its user can mend.

    The text of the error is one sentence or two for an engineer, never a trace of the program.
    """


class InputError(DyntestError):
    """An input that cannot be used as it stands.

    Parameters
    ----------
    source : str
        The file, as the user knows it, such as ``"P2-4/sheet.toml"``.
    place : str
        Where in the file, such as ``"[pile] area"`` or ``"row 12, column strain_1 [µm/m]"``.
    problem : str
        What came and why it cannot be used.
    cure : str
        What to write or do instead.

    Examples
    --------
    >>> print(InputError("sheet.toml", "[pile] area", '"100 m" is a length', 'write an area: "100 cm^2"'))
    sheet.toml, [pile] area: "100 m" is a length; write an area: "100 cm^2".
    """

    def __init__(self, source: str, place: str, problem: str, cure: str):
        self.source, self.place, self.problem, self.cure = source, place, problem, cure
        where = f"{source}, {place}" if place else source
        super().__init__(f"{where}: {problem}; {cure}.")

    def __reduce__(self):
        """Let the error cross from one process to another, which rebuilds it from its four parts."""
        return type(self), (self.source, self.place, self.problem, self.cure)


def install_cure(extra: str = "") -> str:
    """Give the command that installs the program from its own folder, with an optional group of libraries.

    It never names the project: a package of that name on a public index need not be this one.

    Examples
    --------
    >>> install_cure("formats")
    "run .venv/bin/pip install '.[formats]' in the folder of dyntest"
    """
    what = f"'.[{extra}]'" if extra else "."
    return f"run .venv/bin/pip install {what} in the folder of dyntest"


def missing_library(source: str, package: str, extra: str, instead: str = "") -> InputError:
    """Give the message for an optional library that is not installed, and perhaps what else helps."""
    cure = ", ".join(part for part in (install_cure(extra), instead) if part)
    return InputError(source, "", f"needs the package {package}, which is not installed", cure)
