"""Commands."""


def main() -> None:
    """Placeholder."""
