"""When a caution shows, against the rules it comes from."""

from decimal import Decimal

import pytest

from shopdesk.craft.cautions import LEAD_CAUTION, OILY_RAGS_CAUTION, lead_risk, tip_over_rule


# Source: 16 CFR 1303.1 and 1303.4: furniture bearing lead-containing paint, manufactured after 27 February
# 1978, is a banned hazardous product. A piece of 1978 may be older than that day; one of 1979 cannot.
@pytest.mark.parametrize(
    ("year", "risk"), [(1900, True), (1977, True), (1978, True), (1979, False), (1980, False), (2020, False)]
)
def test_the_year_of_the_lead_paint_ban(year: int, risk: bool) -> None:
    assert lead_risk("painted", (year, year)) is risk
    assert lead_risk("varnished", (year, year)) is risk


# Source: EPA guidance on lead (test before disturbing old coatings): what is not known counts as old.
def test_unknown_age_counts_as_old() -> None:
    assert lead_risk("painted", None)
    assert lead_risk("unknown", None)
    assert not lead_risk("oiled", None)


# Source: 16 CFR 1261 adopting ASTM F2057-23; CPSC business guidance "Clothing Storage Units": height of at
# least 27 inches, mass of at least 30 pounds, enclosed storage volume of at least 3.2 cubic feet, all three.
# The design's metric figures are those rounded: 686 mm, 13.6 kg, 90.6 L (27 in is 685.8 mm, 30 lb 13.6078 kg,
# 3.2 ft³ 90.6139 L).
@pytest.mark.parametrize(
    ("height_in", "weight_lb", "volume_ft3", "meant"),
    [
        ("27", "30", "3.2", True),
        ("26.99", "30", "3.2", False),
        ("27", "29.99", "3.2", False),
        ("27", "30", "3.19", False),
        ("60", "150", "20", True),
    ],
)
def test_tip_over_limits(height_in: str, weight_lb: str, volume_ft3: str, meant: bool) -> None:
    measures = (
        Decimal(height_in) * Decimal("25.4"),
        Decimal(weight_lb) * Decimal("0.45359237"),
        Decimal(volume_ft3) * Decimal("28.316846592"),
    )
    assert tip_over_rule(*measures, clothing_storage=True) is meant
    assert not tip_over_rule(*measures, clothing_storage=False)


# Source: EPA's lead-safe work practices (wet methods, containment, respirator); NFPA and local fire codes for
# rags.
def test_cautions_leave_the_decision_to_those_who_may_take_it() -> None:
    for word in (
        "test",
        "wet methods",
        "containment",
        "respirator",
        "1979",
        "Local codes and licensed practice decide",
    ):
        assert word in LEAD_CAUTION
    for word in ("flat", "outdoors", "lidded metal can", "water", "Local fire codes decide"):
        assert word in OILY_RAGS_CAUTION
