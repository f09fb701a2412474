"""A shipping list with an empty or a misspelt list of contents is refused once, in words."""

from pathlib import Path

import pytest

from pipeline.errors import SheetError
from pipeline.record.shipping_list import read_shipping_list


@pytest.mark.parametrize(
    ("contents", "told"),
    [
        ("[]", ["{at}.contents: found an empty list. Write at least 1 part."]),
        (
            '["L1\N{NON-BREAKING HYPHEN}0412"]',
            [
                (
                    "{at}.contents[1]: found 'L1\N{NON-BREAKING HYPHEN}0412'. It may hold letters, digits, dot, dash "
                    "and underscore, and starts with a letter or digit."
                )
            ],
        ),
    ],
)
def test_what_is_wrong_is_told_once(tmp_path: Path, contents: str, told: list[str]) -> None:
    path = tmp_path / "shipped.toml"
    path.write_text(
        f'[[shipments]]\nid = "S-9"\nat = 2026-03-05T10:00:00-06:00\nto = "a customer"\ncontents = {contents}\n',
        encoding="utf-8",
    )
    with pytest.raises(SheetError) as caught:
        read_shipping_list(path)
    assert [str(one) for one in caught.value.complaints] == [
        one.format(at=f"{path}: shipments[1]") for one in told
    ]
