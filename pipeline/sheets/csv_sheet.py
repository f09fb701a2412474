"""A table that a person hands in as CSV, read as a whole."""

from __future__ import annotations

import csv
import io
from pathlib import Path
from typing import Any

from pipeline.errors import Complaint, SheetError
from pipeline.regular_file import NotRegularError, text_of_file


def read_csv(path: Path) -> tuple[list[str], list[dict[str, Any]]]:
    """The names at the head of a CSV file, and its rows by these names.

    Args:
        path: the file.

    Raises:
        SheetError: it is not there, cannot be read, or is no CSV in UTF-8.
    """
    try:
        reader = csv.DictReader(io.StringIO(text_of_file(path)))
        rows = list(reader)
        return list(reader.fieldnames or []), rows
    except (FileNotFoundError, IsADirectoryError):
        found, remedy = "there is no such file", "Check the path, and the folder you are in"
    except NotRegularError as fault:
        found, remedy = str(fault.strerror), "Name a table saved as CSV in UTF-8"
    except OSError as fault:
        found, remedy = f"this file cannot be read ({fault.strerror})", "Ask for read permission"
    except (UnicodeDecodeError, csv.Error) as fault:
        found, remedy = f"this is not CSV in UTF-8: {fault}", "Save it as CSV in UTF-8"
    raise SheetError(Complaint(str(path), found, remedy))
