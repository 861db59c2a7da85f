"""Length, temperature and uncertainty against the guide they follow and the law on tapes."""

from __future__ import annotations

import numpy as np
import pytest

from takeup.wear import elongation as el
from takeup.wear.matching import difference_uncertainty

SQRT3 = np.sqrt(3)


# JCGM 100:2008 (GUM), annex H.1, calibration of an end gauge, table H.1; in nanometres there, mm here.
LENGTH_MM = 50.000623
STANDARD = 25e-6
COMPARATOR = 9.7e-6
COEFFICIENTS = LENGTH_MM * 0.1 * 1e-6 / SQRT3  # mean deviation 0.1 K, difference of expansion +-1e-6/K
NOTHING = {
    "a_mm": 0,
    "b_mm_per_m": 0,
    "step_mm": 0,
    "u_repeat_mm": 0,
    "u_pull_mm": 0,
    "u_temperature_k": 0,
    "alpha_per_k": 0,
}
GAUGE = {"u_temperature_k": 0.05 / SQRT3, "alpha_per_k": 11.5e-6}


def test_thermal_part_of_the_end_gauge() -> None:
    """GUM table H.1: the difference of temperature brings 16.6 nm; tolerance half the last printed digit."""
    u = el.length_uncertainty([LENGTH_MM], **(NOTHING | GAUGE))
    assert u * 1e6 == pytest.approx([16.6], abs=0.05)


def test_combined_uncertainty_of_the_end_gauge() -> None:
    """GUM H.1.4: 25, 9.7, 2.9 and 16.6 nm combine to u_c = 32 nm; tolerance half the last printed digit.

    The parts stand in our budget by their shape: a rectangular limit of 25 sqrt(3) for the standard, the
    comparator as repeat, the difference of expansion as the third. First order only: with second order terms
    the guide prints 34 nm, which matters only where temperatures are equal to hundredths of a kelvin.
    """
    u = el.length_uncertainty(
        [LENGTH_MM],
        **(
            NOTHING | GAUGE | {"a_mm": STANDARD * SQRT3, "u_repeat_mm": COMPARATOR, "u_pull_mm": COEFFICIENTS}
        ),
    )
    assert u * 1e6 == pytest.approx([32], abs=0.5)


def test_end_gauge_at_the_temperature_of_its_standard() -> None:
    """GUM H.1: gauge and standard alike, so l = l_s + d = 50.000 838 mm, printed to the nanometre."""
    length = el.length_at_20c([LENGTH_MM + 215e-6], [19.9], [19.9], 11.5e-6, 11.5e-6)
    assert length == pytest.approx([50.000838], abs=0.5e-6)


@pytest.mark.parametrize(
    ("material", "alpha", "grown"),
    [
        ("AISI 1020, annealed, 0 to 100 degC", 11.7e-6, 0.936),
        ("AISI 304, annealed, 0 to 100 degC", 17.2e-6, 1.376),
        ("AISI 4140, oil hardened and tempered, 0 to 100 degC", 12.3e-6, 0.984),
    ],
)
def test_expansion_of_a_metre_from_20_to_100_degrees(material: str, alpha: float, grown: float) -> None:
    """Coefficients of an open engineering table (amesweb.info, linear thermal expansion of steels).

    The table defines the growth as length x alpha x rise: 80 K on 1000 mm, exact.
    """
    assert material
    corrected_by = 1000.0 - el.length_at_20c([1000.0], [100.0], [20.0], alpha, 11.5e-6)
    assert corrected_by == pytest.approx([grown], abs=1e-9)


def test_equal_steel_at_equal_temperature_needs_no_correction() -> None:
    """ISO 1 and EU directive 2014/32, annex X, MI-008: both are specified at 20 degC."""
    warm = el.length_at_20c([3000.0, 3000.0], [20.0, 35.0], [20.0, 35.0], 11.5e-6, 11.5e-6)
    assert warm.tolist() == [3000.0, 3000.0]


@pytest.mark.parametrize(
    ("accuracy", "a", "b", "limits"),
    [
        ("I", 0.1, 0.1, {1000: 0.2, 3048: 0.5, 5000: 0.6, 10_000: 1.1}),
        ("II", 0.3, 0.2, {1000: 0.5, 3048: 1.1, 5000: 1.3, 10_000: 2.3}),
        ("III", 0.6, 0.4, {1000: 1.0, 3048: 2.2, 5000: 2.6, 10_000: 4.6}),
    ],
)
def test_accuracy_classes_of_tapes(accuracy: str, a: float, b: float, limits: dict[float, float]) -> None:
    """UK SI 2016/1153 Schedule 1I Table 1 (EU 2014/32, MI-008): a + b L, L rounded up to whole metres.

    The table states a and b to one decimal in mm, so the products are exact; the tolerance is that of floats.
    """
    assert accuracy
    assert el.tape_limit(list(limits), a, b) == pytest.approx(list(limits.values()), abs=1e-12)


def test_length_uncertainty_by_propagating_distributions() -> None:
    """JCGM 101:2008 (GUM supplement 1): draws from every part's distribution through the whole measurement.

    A worn span and its zero, each read with its own tape error, two rounded ends, repeat, pull and a wrong
    temperature, become an elongation; its standard deviation must be the first-order one. Tolerance: four
    standard errors of a standard deviation from so many draws, 4 / sqrt(2 n).
    """
    rng, n, pitch, pitches, alpha = np.random.default_rng(11), 400_000, 152.4, 20, 11.5e-6

    def read(true_mm: float) -> np.ndarray:
        return (
            true_mm
            + rng.uniform(-1.1, 1.1, n)
            + rng.uniform(-0.5, 0.5, n)
            - rng.uniform(-0.5, 0.5, n)
            + rng.normal(0, 0.8, n)
            + rng.normal(0, 0.5, n)
        )

    def at_20c(length: np.ndarray) -> np.ndarray:
        return el.length_at_20c(length, 25.0 + rng.normal(0, 2, n), 25.0, alpha, alpha)

    now, zero = at_20c(read(3098.5)), at_20c(read(3051.2))
    u = el.length_uncertainty(
        [3098.5, 3051.2],
        a_mm=0.3,
        b_mm_per_m=0.2,
        step_mm=1,
        u_repeat_mm=0.8,
        u_pull_mm=0.5,
        u_temperature_k=2,
        alpha_per_k=alpha,
    )
    u_wear = el.wear_uncertainty(u[0], u[1], pitches, pitch)
    assert el.wear_elongation(now, zero, pitches, pitch).std() == pytest.approx(
        u_wear, rel=4 / np.sqrt(2 * n)
    )
    u_fit = el.geometric_uncertainty(u[0], pitches, pitch)
    assert el.geometric_elongation(now, pitches, pitch).std() == pytest.approx(u_fit, rel=4 / np.sqrt(2 * n))

    born = rng.uniform(0, 0.625, n)  # new length anywhere in a tolerance 0.625 % wide, never measured
    unknown_zero = pitches * pitch * (1 + born / 100)
    u_zero = el.nominal_zero_uncertainty(pitches, pitch, 0.625)
    spread = (el.wear_elongation(now, unknown_zero, pitches, pitch)).std()
    assert spread == pytest.approx(el.wear_uncertainty(u[0], u_zero, pitches, pitch), rel=4 / np.sqrt(2 * n))
    assert unknown_zero.mean() == pytest.approx(
        el.nominal_zero(pitches, pitch, 0.625), abs=4 * u_zero / np.sqrt(n)
    )


def test_difference_of_two_uncorrelated_lengths() -> None:
    """JCGM 100:2008, 5.1.2, with sensitivities +1 and -1; 3, 4 and 5 are exact."""
    assert difference_uncertainty([3.0], [4.0]).tolist() == [5.0]
