"""A covering that cannot be on the product is refused word for word."""

from pipeline.products.covering import covering_complaints
from pipeline.products.product import find_product

WHERE = "run.toml: run.covering.mean_mm"


def test_a_covering_that_can_be_is_not_complained_about() -> None:
    product = find_product("THHN/THWN-2", "14 AWG", "solid")
    assert covering_complaints(product, 0.116, WHERE) == ()
    assert covering_complaints(product, 0.05, WHERE) == ()


def test_a_covering_thicker_than_the_wall() -> None:
    product = find_product("THHN/THWN-2", "14 AWG", "solid")
    for mean, shown in ((4.0, "4"), (0.381, "0.381"), (0.0, "0"), (float("nan"), "nan")):
        (complaint,) = covering_complaints(product, mean, WHERE)
        assert str(complaint) == (
            f"run.toml: run.covering.mean_mm: a covering of {shown} mm is not thinner than the insulation's "
            "minimum average wall of 0.381 mm. Check the figure and its unit; the least covering of "
            "THHN/THWN-2 14 AWG is 0.1016 mm (4 mil)."
        )


def test_a_covering_on_a_wire_that_has_none() -> None:
    (complaint,) = covering_complaints(find_product("XHHW-2", "1/0 AWG", "compact"), 0.116, WHERE)
    assert str(complaint) == (
        "run.toml: run.covering.mean_mm: a covering of 0.116 mm is stated, but XHHW-2 has none. Take the "
        "covering out, or name the construction that was made."
    )
