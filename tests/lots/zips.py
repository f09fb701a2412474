"""Packs as zip files, for trying mutations of them."""

from pathlib import Path

from pipeline.lots.verify_pack import files_of_zip, problems_of


def problems_of_zip(raw: bytes, path: Path) -> list[str]:
    """Everything that is not as it was exported in a zip file."""
    files, of_zip = files_of_zip(raw, path)
    return (problems_of(files) if files else []) or of_zip
