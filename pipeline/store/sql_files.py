"""Where the SQL is: every statement is a file under ``sql/``, one statement a file."""

from __future__ import annotations

from functools import cache
from pathlib import Path


@cache
def sql_folder() -> Path:
    """The folder of SQL files: inside the installed package, or beside it in a checkout."""
    package = Path(__file__).parents[1]
    shipped = package / "sql"
    return shipped if shipped.is_dir() else package.parent / "sql"


@cache
def statement(name: str) -> str:
    """The text of the statement `name`, a path below ``sql/`` without its ending, as ``questions/shift``."""
    return (sql_folder() / f"{name}.sql").read_text(encoding="utf-8")


@cache
def statements(folder: str) -> tuple[str, ...]:
    """The names of all statements below ``sql/`` in `folder`, sorted."""
    root = sql_folder()
    return tuple(
        path.relative_to(root).with_suffix("").as_posix() for path in sorted((root / folder).rglob("*.sql"))
    )
