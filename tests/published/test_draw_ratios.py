"""Draw ratios against numbers worked in public texts on extrusion; no textbook's worked example was found to read."""

import pytest

from pipeline.tuning.draw import DRAW_BALANCE, draw_balance, draw_down_ratio


def test_draw_down_by_areas() -> None:
    # A public calculator page, first example: die 5, tip 3 on 2 over 1 gives 16/3 = 5.33.
    assert draw_down_ratio(5.0, 3.0, 2.0, 1.0) == pytest.approx(5.33, abs=0.005)


def test_direct_draw_down_squared_and_draw_balance() -> None:
    # Society of Plastics Engineers, section column "Draw Down Ratios" (spe-ggs.org): a die twice as large as the tube
    # draws down directly by 2.0, by area about this squared; with 2.0 on the mandrel the die has about 2.2, 5 to 15 %
    # more, which is the balance.
    assert draw_down_ratio(2.0 * 0.25, 2.0 * 0.125, 0.25, 0.125) == pytest.approx(2.0**2)
    assert draw_balance(2.0 * 0.25, 2.0 * 0.125, 0.25, 0.125) == pytest.approx(1.0)
    balance = draw_balance(2.2 * 0.25, 2.0 * 0.125, 0.25, 0.125)
    assert balance == pytest.approx(2.2 / 2.0)
    assert DRAW_BALANCE.low == 1.05 <= balance <= DRAW_BALANCE.high == 1.15
