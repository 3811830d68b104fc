"""What is wrong with a log sheet file: every error at once, each with file, row, column, found and expected."""

from __future__ import annotations

from dataclasses import dataclass

LONGEST_SHOWN = 60
LONGEST_PATH = 4096
MOST_ERRORS = 20_000  # a full sheet wrong in four cells of every row; more is no log sheet, and would fill the memory


def shown(text: str, longest: int = LONGEST_SHOWN) -> str:
    """The text found, safe to print on one line: control characters as escapes, long text cut."""
    start = text[:longest]
    safe = "".join(character if character.isprintable() else ascii(character)[1:-1] for character in start)
    return safe if len(text) <= longest >= len(safe) else safe[: longest - 1] + "…"


@dataclass(frozen=True, slots=True)
class LogSheetError:
    """One error. `row` counts from 1 as a spreadsheet shows it; None with an empty column means the file as a whole."""

    file: str
    row: int | None
    column: str
    found: str
    expected: str

    def __str__(self) -> str:
        place = [shown(self.file, LONGEST_PATH)]
        if self.row is not None:
            place.append(f"row {self.row}")
        if self.column:
            place.append(f"column {self.column}")
        return f"{', '.join(place)}: found {self.found}; expected {self.expected}"


class LogSheetErrors(Exception):
    """Raised by the reader with every error of the file; `errors` lists them by row."""

    def __init__(self, errors: list[LogSheetError]) -> None:
        super().__init__("\n".join(str(error) for error in errors))
        self.errors = errors


class Findings:
    """Collects the errors of one file while it is read."""

    def __init__(self, file: str) -> None:
        self.file = file
        self.errors: list[LogSheetError] = []

    @property
    def full(self) -> bool:
        """Whether so much is wrong that reading on is of no use."""
        return len(self.errors) > MOST_ERRORS

    def add(self, row: int | None, column: str, found: str, expected: str, *, quoted: bool = True) -> None:
        """Note one error. `found` is put between quotation marks unless it already is a description."""
        if self.full:
            return
        if len(self.errors) == MOST_ERRORS:
            column, found, expected, quoted = "", f"more than {MOST_ERRORS} errors", "a log sheet", False
        if quoted:
            found = f"“{shown(found)}”" if found else "nothing"
        self.errors.append(LogSheetError(self.file, row, column, found, expected))

    def __len__(self) -> int:
        return len(self.errors)

    def raise_if_any(self) -> None:
        """Raise LogSheetErrors where anything was noted, sorted by row."""
        if self.errors:
            raise LogSheetErrors(sorted(self.errors, key=lambda error: error.row or 0))
