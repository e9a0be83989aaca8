"""The one error that a person may see."""


class HearmarkError(Exception):
    """Bad input from outside: one clear sentence that says what was given and what to do."""
