"""Stress and capacitance of coaxial layers against hand derivation and two numerical field solutions."""

import itertools
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.sparse import diags_array
from scipy.sparse.linalg import spsolve

from pipeline.products.layers import layers_of
from pipeline.products.product import find_product
from pipeline.products.stress import EPSILON_0, coaxial_field, fields_of

CASES = [
    pytest.param("THHN/THWN-2", "14 AWG", "solid", id="two layers, small"),
    pytest.param("THHN/THWN-2", "1000 kcmil", "concentric", id="two layers, large"),
    pytest.param("XHHW-2", "1/0 AWG", "compact", id="one layer"),
]


def test_two_layers_by_hand() -> None:
    """14 AWG solid THHN at 600 V, by hand.

    Radii 0.81407, 1.19507 and 1.29667 mm; permittivities 5.5 and 4.0.
    ln(1.19507/0.81407) = 0.383914, / 5.5 = 0.0698025; ln(1.29667/1.19507) = 0.0815947, / 4 = 0.0203987;
    sum S = 0.0902012. At the conductor 0.6 / (0.81407 x 5.5 x 0.0902012) = 1.48564 kV/mm; inside the covering
    0.6 / (1.19507 x 4 x 0.0902012) = 1.39151 kV/mm; C = 2 pi x 8.8541878 / 0.0902012 = 616.760 pF/m.
    """
    product = find_product("THHN/THWN-2", "14 AWG", "solid")
    typical, _ = fields_of(product, 600.0)
    assert typical.inner_kv_mm[0] == pytest.approx(1.48564, abs=1e-5)
    assert typical.inner_kv_mm[1] == pytest.approx(1.39151, abs=1e-5)
    assert typical.capacitance_pf_m == pytest.approx(616.760, abs=2e-3)


def test_layers_are_capacitors_in_series() -> None:
    """1/C = 1/C1 + 1/C2, and each layer takes voltage in the ratio of C / C_k (Kirchhoff)."""
    radii, epsilon = (2.0, 3.0, 3.4), (5.0, 3.8)
    whole = coaxial_field(1.0, radii, epsilon)
    first = coaxial_field(1.0, radii[:2], epsilon[:1]).capacitance_pf_m
    second = coaxial_field(1.0, radii[1:], epsilon[1:]).capacitance_pf_m
    assert whole.capacitance_pf_m == pytest.approx(1.0 / (1.0 / first + 1.0 / second), rel=1e-12)
    assert whole.share == pytest.approx((second / (first + second), first / (first + second)), rel=1e-12)


def test_displacement_is_continuous_where_the_layers_meet() -> None:
    """Gauss's law: e1 E1 = e2 E2 at the boundary, and r e E is the same everywhere."""
    radii, epsilon = (1.0, 1.5, 1.7), (5.5, 4.0)
    field = coaxial_field(0.6, radii, epsilon)
    assert epsilon[0] * field.outer_kv_mm[0] == pytest.approx(epsilon[1] * field.inner_kv_mm[1], rel=1e-12)
    assert radii[0] * epsilon[0] * field.inner_kv_mm[0] == pytest.approx(
        radii[2] * epsilon[1] * field.outer_kv_mm[1], rel=1e-12
    )


def test_equal_permittivities_are_one_layer() -> None:
    two = coaxial_field(0.6, (1.0, 1.5, 1.7), (4.0, 4.0))
    one = coaxial_field(0.6, (1.0, 1.7), (4.0,))
    assert two.inner_kv_mm[0] == pytest.approx(one.inner_kv_mm[0], rel=1e-12)
    assert two.outer_kv_mm[1] == pytest.approx(one.outer_kv_mm[0], rel=1e-12)
    assert two.capacitance_pf_m == pytest.approx(one.capacitance_pf_m, rel=1e-12)


def test_a_thin_wall_is_a_parallel_plate() -> None:
    """Wall much thinner than the radius: E = V / t and C = e0 e 2 pi r / t, to 0.1 %."""
    field = coaxial_field(0.6, (1000.0, 1001.0), (2.3,))
    assert field.inner_kv_mm[0] == pytest.approx(0.6, rel=1e-3)
    assert field.capacitance_pf_m == pytest.approx(
        2.3 * EPSILON_0 * 2.0 * math.pi * 1.0005e3 * 1e12, rel=1e-3
    )


def geometry(construction: str, size: str, make: str) -> tuple[list[float], list[float]]:
    product = find_product(construction, size, make)
    layers = layers_of(product)
    radii = [product.conductor_mm / 2.0, *(layer.outer_mm / 2.0 for layer in layers)]
    return radii, [layer.material.permittivity.value for layer in layers]


@pytest.mark.parametrize(("construction", "size", "make"), CASES)
def test_quadrature_of_the_field_returns_the_voltage(construction: str, size: str, make: str) -> None:
    """Charge per length q = C V makes E = q / (2 pi e0 e r); its integral over the wall must be V (scipy quad)."""
    radii, epsilon = geometry(construction, size, make)
    field = coaxial_field(0.6, radii, epsilon)
    charge = field.capacitance_pf_m * 1e-12 * 600.0
    volts = 0.0
    for inner, outer, e in zip(radii, radii[1:], epsilon, strict=False):
        part = quad(lambda r, e=e: charge / (2.0 * math.pi * EPSILON_0 * e * r), inner, outer, epsabs=1e-10)[
            0
        ]
        volts += part
    assert volts == pytest.approx(600.0, rel=1e-9)


@pytest.mark.parametrize(("construction", "size", "make"), CASES)
def test_a_finite_volume_solution_of_the_potential_agrees(construction: str, size: str, make: str) -> None:
    """d/dr(r e dV/dr) = 0 on 4000 cells, solved as a sparse system; capacitance from the stored energy."""
    radii, epsilon = geometry(construction, size, make)
    per_layer = 4000 // len(epsilon)
    edges = np.unique(
        np.concatenate([np.linspace(a, b, per_layer + 1) for a, b in itertools.pairwise(radii)])
    )
    middles = 0.5 * (edges[1:] + edges[:-1])
    relative = np.asarray(epsilon)[np.searchsorted(radii[1:], middles)]
    conductance = middles * relative / np.diff(edges)
    diagonal = conductance[:-1] + conductance[1:]
    matrix = diags_array([-conductance[1:-1], diagonal, -conductance[1:-1]], offsets=[-1, 0, 1], format="csc")
    right = np.zeros(diagonal.size)
    right[0] = conductance[0] * 600.0
    inside = spsolve(matrix, right)
    potential = np.concatenate([[600.0], inside, [0.0]])
    stress = -np.diff(potential) / np.diff(edges)
    energy = float(np.sum(0.5 * EPSILON_0 * relative * stress**2 * 2.0 * math.pi * middles * np.diff(edges)))
    field = coaxial_field(0.6, radii, epsilon)
    assert 2.0 * energy / 600.0**2 * 1e12 == pytest.approx(field.capacitance_pf_m, rel=1e-6)
    at_conductor = stress[0] * middles[0] / radii[0]
    assert at_conductor / 1000.0 == pytest.approx(field.inner_kv_mm[0], rel=1e-5)
    boundary = int(np.argmin(np.abs(edges - radii[1])))
    assert (600.0 - potential[boundary]) / 600.0 == pytest.approx(field.share[0], rel=1e-6)


@given(
    st.floats(0.3, 20.0),
    st.floats(0.05, 5.0),
    st.floats(0.02, 2.0),
    st.floats(1.0, 10.0),
    st.floats(1.0, 10.0),
    st.floats(0.1, 10.0),
)
@settings(max_examples=100, deadline=None)
def test_scale_and_voltage(r: float, wall: float, over: float, e1: float, e2: float, scale: float) -> None:
    """Twice the size: the same capacitance, half the stress. Stress is proportional to voltage."""
    radii = (r, r + wall, r + wall + over)
    field = coaxial_field(0.6, radii, (e1, e2))
    larger = coaxial_field(0.6, [scale * one for one in radii], (e1, e2))
    assert larger.capacitance_pf_m == pytest.approx(field.capacitance_pf_m, rel=1e-9)
    assert larger.inner_kv_mm[1] * scale == pytest.approx(field.inner_kv_mm[1], rel=1e-9)
    assert coaxial_field(1.8, radii, (e1, e2)).mean_kv_mm == pytest.approx(
        tuple(3.0 * one for one in field.mean_kv_mm), rel=1e-9
    )
    assert math.fsum(field.share) == pytest.approx(1.0, abs=1e-12)
    for inner, mean, outer in zip(field.inner_kv_mm, field.mean_kv_mm, field.outer_kv_mm, strict=True):
        assert outer <= mean * (1 + 1e-12)
        assert mean <= inner * (1 + 1e-12)
