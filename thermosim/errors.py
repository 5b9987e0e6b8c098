"""Errors that a user can mend. One sentence each: where, what, allowed, remedy."""


class ThermosimError(Exception):
    """Base of all errors that thermosim raises on purpose; ``exit_code`` is what the command line returns."""

    exit_code = 2


class InputError(ThermosimError):
    """An input was refused; nothing was written.

    Parameters
    ----------
    problem : str
        What is wrong, in plain words, e.g. ``"is 140 %, allowed is 0 to 100 %"``.
    field : str, optional
        Field or column, spelled as the user writes it, e.g. ``"relative_humidity_pct"``.
    file : str, optional
        File the value came from.
    line : int, optional
        1-based line in that file.
    remedy : str, optional
        What to do about it.
    """

    def __init__(self, problem, *, field=None, file=None, line=None, remedy=None):
        self.problem, self.field, self.file, self.line, self.remedy = problem, field, file, line, remedy
        super().__init__(self.sentence())

    def sentence(self) -> str:
        """Return the one sentence a user sees."""
        where = ""
        if self.file:
            where = f"{self.file}, line {self.line}: " if self.line else f"{self.file}: "
        subject = f"{self.field} " if self.field else ""
        text = f"{where}{subject}{self.problem}".rstrip(".")
        return f"{text}; {self.remedy.rstrip('.')}." if self.remedy else f"{text}."


class NumericalFailure(ThermosimError):
    """The engine stopped with a status other than done, or the books did not close."""

    exit_code = 4


class MissingExtra(ThermosimError):
    """An optional library is not installed; the message says which command installs it."""

    exit_code = 5
