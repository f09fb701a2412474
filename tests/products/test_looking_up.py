"""Finding a product: spellings, refusals with whole sentences, and what the record holds."""

import itertools

import pytest

from pipeline.errors import NotFoundError
from pipeline.products.conductors import resistance_ohm_km
from pipeline.products.product import find_product
from pipeline.products.sizes import all_sizes, size_named
from pipeline.products.type_letters import letters_of, types_named


@pytest.mark.parametrize(
    ("text", "name"),
    [
        ("14 AWG", "14 AWG"),
        ("14", "14 AWG"),
        ("#14", "14 AWG"),
        ("AWG 14", "14 AWG"),
        ("14awg", "14 AWG"),
        ("1/0", "1/0 AWG"),
        ("0", "1/0 AWG"),
        ("0000 AWG", "4/0 AWG"),
        ("500 kcmil", "500 kcmil"),
        ("500 MCM", "500 kcmil"),
        ("500", "500 kcmil"),
        (" 1000  KCMIL ", "1000 kcmil"),
    ],
)
def test_sizes_are_understood_as_people_write_them(text: str, name: str) -> None:
    assert size_named(text).name == name


def test_sizes_rise() -> None:
    sizes = all_sizes()
    assert [size.order for size in sizes] == list(range(24))
    assert all(a.kcmil < b.kcmil for a, b in itertools.pairwise(sizes))


ENDS = "Sizes on file run from 14 AWG to 1000 kcmil"


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("16 AWG", f"size: '16 AWG' is not a conductor size on file. The nearest is 14 AWG. {ENDS}."),
        ("5 AWG", f"size: '5 AWG' is not a conductor size on file. The nearest is 4 AWG. {ENDS}."),
        (
            "550 kcmil",
            f"size: '550 kcmil' is not a conductor size on file. The nearest is 600 kcmil. {ENDS}.",
        ),
        ("5/0", f"size: '5/0' is not a conductor size on file. The nearest is 250 kcmil. {ENDS}."),
        (
            "2.5 mm2",
            (
                f"size: '2.5 mm2' is not a conductor size on file. {ENDS}; write it like 12 AWG, 1/0 AWG or "
                "500 kcmil."
            ),
        ),
        (
            "",
            f"size: '' is not a conductor size on file. {ENDS}; write it like 12 AWG, 1/0 AWG or 500 kcmil.",
        ),
        (
            "-900 kcmil",
            (
                f"size: '-900 kcmil' is not a conductor size on file. {ENDS}; write it like 12 AWG, 1/0 AWG or "
                "500 kcmil."
            ),
        ),
        (
            "nan kcmil",
            (
                f"size: 'nan kcmil' is not a conductor size on file. {ENDS}; write it like 12 AWG, 1/0 AWG or "
                "500 kcmil."
            ),
        ),
    ],
)
def test_an_unknown_size_is_refused_with_the_nearest(text: str, sentence: str) -> None:
    with pytest.raises(NotFoundError) as refused:
        size_named(text)
    assert str(refused.value) == sentence


ON_FILE = "On file are THHN, THWN, THWN-2, XHHW-2, XHHW, XHH, RHW-2, USE-2, RW90-1000V"


@pytest.mark.parametrize(
    ("construction", "sentence"),
    [
        ("THHM", f"construction: 'THHM' is not a wire type on file. The nearest is THHN. {ON_FILE}."),
        (
            "THHN/THWN-3",
            f"construction: 'THWN-3' is not a wire type on file. The nearest is THWN-2. {ON_FILE}.",
        ),
        ("", f"construction: '' is not a wire type on file. {ON_FILE}."),
        (
            "THHN/XHHW-2",
            (
                "construction: 'THHN/XHHW-2' joins types of different materials: THHN is made as THHN/THWN-2; "
                "XHHW-2 is made as XHHW-2. Name types of one family."
            ),
        ),
    ],
)
def test_an_unknown_type_is_refused_with_the_nearest(construction: str, sentence: str) -> None:
    with pytest.raises(NotFoundError) as refused:
        types_named(construction)
    assert str(refused.value) == sentence


@pytest.mark.parametrize(
    ("asked", "sentence"),
    [
        (
            ("XHHW-2", "3 AWG", "compact", "copper"),
            (
                "conductor: no source on file gives the diameter of a compact conductor of 3 AWG: the wire code's "
                "Table 5A (NFPA 70-2014, Chapter 9) has no bare area for it. Choose solid, concentric or compressed."
            ),
        ),
        (
            ("XHHW-2", "250 kcmil", "solid", "copper"),
            (
                "conductor: no source on file gives the diameter of a solid conductor of 250 kcmil: ASTM B258 "
                "gauges solid wire only to 4/0 AWG. Choose concentric, compressed or compact."
            ),
        ),
        (
            ("XHHW-2", "2 AWG", "bunched", "copper"),
            "conductor: 'bunched' is not a conductor on file. It may be solid, concentric, compressed or compact.",
        ),
        (
            ("XHHW-2", "2 AWG", "solid", "silver"),
            "metal: 'silver' is not a metal on file. It may be copper or aluminum.",
        ),
        (
            ("XHHW-2", "2 AWG", "concentric", "copper", "D"),
            "strand class: 'D' is not a strand class on file. It may be B or C.",
        ),
    ],
)
def test_a_conductor_no_source_describes_is_refused(asked: tuple[str, ...], sentence: str) -> None:
    with pytest.raises(NotFoundError) as refused:
        find_product(*asked)
    assert str(refused.value) == sentence


def test_compact_is_refused_exactly_where_the_table_has_no_row() -> None:
    """NFPA 70-2014, Chapter 9, Table 5A has no bare area for 14 to 10 AWG, 3 AWG and 800 kcmil."""
    refused = []
    for size in all_sizes():
        try:
            find_product("XHHW-2", size.name, "compact")
        except NotFoundError:
            refused.append(size.name)
    assert refused == ["14 AWG", "12 AWG", "10 AWG", "3 AWG", "800 kcmil"]


def test_type_letters_are_explained_longest_group_first() -> None:
    assert [one.letters for one in letters_of("THHN")] == ["T", "HH", "N"]
    assert [one.letters for one in letters_of("THWN-2")] == ["T", "H", "W", "N", "-2"]
    assert [one.letters for one in letters_of("XHHW-2")] == ["X", "HH", "W", "-2"]
    assert letters_of("THHN")[0].meaning == "thermoplastic insulation"
    assert letters_of("??") == ()


def test_what_a_product_record_holds() -> None:
    product = find_product("thhn/thwn-2", "#14", "solid")
    assert product.name == "THHN/THWN-2 14 AWG, solid copper"
    assert product.conductor_mm == pytest.approx(0.0641 * 25.4)
    assert product.strands == 1
    assert product.average_wall_mm == pytest.approx(0.381)
    assert product.covering_mm == pytest.approx(0.1016)
    assert product.overall_mm == pytest.approx(product.conductor_mm + 2 * (0.381 + 0.1016))
    assert product.insulation.name == "PVC, heat resistant"
    assert product.covering is not None
    assert product.covering.name == "nylon"
    assert product.insulation.density.low < product.insulation.density.value < product.insulation.density.high


def test_a_single_layer_product_has_no_covering() -> None:
    product = find_product("XHHW-2", "500 kcmil", "compact", "aluminum")
    assert (product.covering, product.covering_mm) == (None, None)
    assert product.strands is None


def test_compressed_is_marked_as_from_memory() -> None:
    product = find_product("XHHW-2", "1/0", "compressed")
    assert product.conductor.diameter.standing == "from memory"
    assert product.overall.standing == "from memory"
    assert product.cautions == (
        (
            "The compressed conductor's dimensions are from memory: 97 % of the concentric diameter: verify on "
            "ASTM B8; published diameters of 250 to 750 kcmil agree with it."
        ),
    )


def test_solid_sizes_without_a_resistance_say_none() -> None:
    assert resistance_ohm_km(find_product("XHHW-2", "8 AWG", "solid").conductor, 20.0) is not None
    assert resistance_ohm_km(find_product("XHHW-2", "6 AWG", "solid").conductor, 20.0) is None


def test_smallest_aluminum_is_cautioned() -> None:
    assert find_product("XHHW-2", "14 AWG", "concentric", "aluminum").cautions == (
        (
            "12 AWG is the smallest aluminum building wire in the wire code (Table 310.106(A), from memory: "
            "verify); 14 AWG aluminum is shown for comparison only."
        ),
    )


def test_a_conductor_marked_with_several_types_has_the_most_demanding_wall() -> None:
    """NFPA 70-2023, Table 310.4(1): 8 AWG XHHW-2 45 mil, RHW-2 60 mil; both marked: 60 mil."""
    alone = find_product("XHHW-2", "8 AWG", "concentric")
    both = find_product("XHHW-2/RHW-2", "8 AWG", "concentric")
    assert alone.average_wall.record == "45 mil"
    assert both.average_wall.record == "60 mil"
    assert both.name == "XHHW-2/RHW-2 8 AWG, concentric copper"
