"""Chain and sprocket dimensions against published tables and closed forms."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction

import numpy as np
import pytest

from takeup.units import conversion
from takeup.wear.elongation import geometric_elongation, miscount, nominal_length, nominal_zero
from takeup.wear.limits import pin_depth_allowed, pitch_diameter, ride_up, sprocket_limit


def in_mm(inches: str | Fraction) -> float:
    """Through the unit step every export goes through."""
    exact = Fraction(inches) * Fraction(conversion("in", "mm").factor)
    return float(exact)


@pytest.mark.parametrize(
    ("number", "inches", "mm"),
    [
        ("25", "0.250", 6.350),
        ("41", "0.500", 12.700),
        ("40", "0.500", 12.700),
        ("50", "0.625", 15.875),
        ("60", "0.750", 19.050),
        ("80", "1.000", 25.400),
        ("120", "1.500", 38.100),
        ("140", "1.750", 44.450),
        ("160", "2.000", 50.800),
        ("200", "2.500", 63.500),
    ],
)
def test_pitches_of_roller_drive_chain(number: str, inches: str, mm: float) -> None:
    """ASME/ANSI B29.1 sizes as tabulated in the encyclopaedia article "Roller chain": exact, as is 25.4 mm.

    The leading digits of the number are the pitch in eighths of an inch.
    """
    assert in_mm(inches) == mm
    if number != "41":  # the one light series in the list
        eighths = Fraction(int(number) // 10, 8)
        assert in_mm(eighths) == mm


@pytest.mark.parametrize(
    ("number", "mm"),
    [
        ("06B", 9.525),
        ("08B", 12.700),
        ("10B", 15.875),
        ("12B", 19.050),
        ("16B", 25.400),
        ("20B", 31.750),
        ("24B", 38.100),
        ("28B", 44.450),
        ("32B", 50.800),
        ("40B", 63.500),
        ("48B", 76.200),
    ],
)
def test_pitches_of_the_european_series(number: str, mm: float) -> None:
    """ISO 606, B series: the number is the pitch in sixteenths of an inch; exact."""
    assert in_mm(Fraction(int(number[:2]), 16)) == mm


@pytest.mark.parametrize(
    ("teeth", "closed_form"),
    [
        (3, 2 / np.sqrt(3)),
        (4, np.sqrt(2)),
        (6, 2.0),
        (8, np.sqrt(4 + 2 * np.sqrt(2))),
        (10, 1 + np.sqrt(5)),
        (12, np.sqrt(6) + np.sqrt(2)),
    ],
)
def test_pitch_diameter_is_the_circle_round_a_polygon(teeth: int, closed_form: float) -> None:
    """P / sin(180/N) for a pitch of 1, from the exact sines of certain angles; float rounding."""
    assert pitch_diameter(1.0, [teeth]) == pytest.approx([closed_form], rel=1e-14)


@pytest.mark.parametrize(("teeth", "printed"), [(9, 2.9238), (10, 3.2361), (12, 3.8637), (17, 5.4422)])
def test_pitch_diameters_for_a_pitch_of_one_inch(teeth: int, printed: float) -> None:
    """Machinery's Handbook, table of sprocket pitch diameters for 1-inch pitch: from memory, unverified; the
    tolerance is half of the fourth decimal."""
    assert pitch_diameter(1.0, [teeth]) == pytest.approx([printed], abs=0.5e-4)


def test_ride_up_is_half_the_growth_of_the_pitch_circle() -> None:
    """By the definition of pitch diameter (ASME B29.1), chain 2 % longer lies on a circle 2 % larger."""
    teeth = np.arange(6, 120)
    larger = (pitch_diameter(152.4 * 1.02, teeth) - pitch_diameter(152.4, teeth)) / 2
    assert ride_up(152.4, teeth, 2.0) == pytest.approx(larger, rel=1e-9)


def test_worn_length_of_leaf_chain_at_three_per_cent() -> None:
    """US Army TM 10-3930-671-24, lift chain wear criteria: replace at 3 %.

    Its row for a pitch of 1.00 in: 13 pins (12 pitches), nominal 12.000 in, worn out at 12.375 in. The worn
    length is the next eighth of an inch above 3 %, hence the window of an eighth.
    """
    worn, pitch = in_mm("12.375"), in_mm("1.00")
    assert geometric_elongation([worn], [12], pitch) == pytest.approx([3.125], abs=1e-12)
    limit = nominal_length([12], pitch) * (1 + sprocket_limit([12], cap_percent=3, ride_percent=200) / 100)
    assert in_mm("12.250") < limit[0] <= worn


def test_thirteen_pins_are_twelve_pitches() -> None:
    """The same manual counts pins, the first included; pins written as pitches are told as a miscount."""
    worn, pitch = in_mm("12.375"), in_mm("1.00")
    read = geometric_elongation([worn], [13], pitch)
    assert read == pytest.approx([-4.807692], abs=1e-6)  # 12.375/13 - 1
    assert miscount(read, [13], [3.125], [0.1]).tolist() == [-1]


def test_longest_new_cast_mill_chain() -> None:
    """ASME B29.14M-1996, 2.3: 0 to +0.75 in in a measured length of 120 in, that is 0 to 0.625 %; exact.

    The zero taken where nobody measured the new chain is the middle of that.
    """
    pitch = in_mm("4")
    longest = geometric_elongation([in_mm("120.75")], [30], pitch)
    assert longest == pytest.approx([0.625], abs=1e-12)
    assert nominal_zero([30], pitch, longest) == pytest.approx([in_mm("120.375")], abs=1e-9)


def test_teeth_at_which_the_large_sprocket_governs() -> None:
    """200/N and 3 % cross at 66.67 teeth.

    200/N is from memory of the American Chain Association's Standard Handbook of Chains, unverified; 3 % as a
    limit state: GOST 21834-87, 2.2.11.
    """
    limit = sprocket_limit([66, 67], cap_percent=3, ride_percent=200)
    assert limit[0] == 3.0
    assert limit[1] == pytest.approx(200 / 67)


def test_pin_left_after_wear_keeps_its_share_of_bending_strength() -> None:
    """Section modulus of a solid round, pi d^3 / 32 (any strength of materials text); float rounding."""

    def modulus(diameter: float) -> float:
        return np.pi * diameter**3 / 32

    for kept in (0.7, 0.75, 0.85):
        left = 31.75 - float(pin_depth_allowed([31.75], kept)[0])
        assert modulus(left) / modulus(31.75) == pytest.approx(kept, rel=1e-12)


def test_an_inch_is_exact() -> None:
    """International yard and pound agreement, 1959; NIST Special Publication 811, appendix B."""
    assert conversion("in", "mm").factor == Decimal("25.4")
