"""What can go wrong, by name. Every error says what was wrong, where, and what to do now."""


class LeavenbenchError(Exception):
    """Any error of this package that a person can act on.

    Parameters
    ----------
    message : str
        What was wrong, what was given, and what to do.
    evidence : object, optional
        The table or value behind the message.
    """

    exit_code = 2

    def __init__(self, message: str, evidence: object = None) -> None:
        super().__init__(message)
        self.evidence = evidence

    def _render_traceback_(self) -> list[str]:
        """Show a keeper the message in a notebook, and not the way that it took through the code."""
        return [str(self)]


class CannotRead(LeavenbenchError):
    """A folder, file, table or argument cannot be read or used at all."""

    exit_code = 2


class Refused(LeavenbenchError):
    """The thing asked for would destroy or overwrite something, so it is not done."""

    exit_code = 1
