"""The one error of the unit edge, and how user text is quoted in it."""

from __future__ import annotations


class UnitError(ValueError):
    """A text that is no quantity of the kind asked for.

    Attributes:
        message: one sentence that says what is wrong.
        hint: how to mend it; empty when there is nothing useful to say.
    """

    def __init__(self, message: str, hint: str = "") -> None:
        super().__init__(f"{message} ({hint})" if hint else message)
        self.message = message
        self.hint = hint

    def __reduce__(self) -> tuple[type[UnitError], tuple[str, str]]:
        # The default would rebuild from args[0] alone and double the hint.
        return (UnitError, (self.message, self.hint))


def quoted(text: str, longest: int = 60) -> str:
    """User text in single quotes, shortened, with control characters made visible."""
    shown = "".join(c if c.isprintable() else f"\\x{ord(c):02x}" for c in text[: longest + 1])
    if len(shown) > longest:
        shown = shown[:longest] + "…"
    return f"'{shown}'"
