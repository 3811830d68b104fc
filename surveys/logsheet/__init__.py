"""The log sheet: one plain file that carries one visit.

The upload, the commands and the export of a stored visit all use this reader and this writer, so that a sheet
written, read and written again is the same bytes.
"""

from surveys.logsheet.document import LogSheet, Row
from surveys.logsheet.errors import LogSheetError, LogSheetErrors
from surveys.logsheet.fields import COLUMNS
from surveys.logsheet.files import read, write_csv, write_xlsx
from surveys.logsheet.inputs import Difference, to_inputs
from surveys.logsheet.outputs import from_inputs

__all__ = [
    "COLUMNS",
    "Difference",
    "LogSheet",
    "LogSheetError",
    "LogSheetErrors",
    "Row",
    "from_inputs",
    "read",
    "to_inputs",
    "write_csv",
    "write_xlsx",
]
