"""Drop volumes from the tip, against measured drops."""

from __future__ import annotations

import pytest

from monitor.chemistry.drops import (
    HYDROCHLORIC_ACID_30_SURFACE_TENSION_MN_PER_M,
    WATER_SURFACE_TENSION_MN_PER_M,
    drops_for_ml,
    estimate_drop_volume_ul,
    ml_for_drops,
)

WATER_15_C_MN_PER_M = 73.49  # IAPWS R1-76
WATER_15_C_G_PER_CM3 = 0.9991


# Two of the reprint's eight rows are left out: 3.89 mm has less than 3.07 mm has, and 14.90 mm is printed 9.2250 g.
@pytest.mark.parametrize(
    ("tip_mm", "drop_mg"),
    [(0.67, 13.4), (1.39, 26.2), (3.07, 52.2), (4.17, 69.0), (6.56, 100.0), (8.32, 126.0)],
)
def test_water_drops_weigh_what_eschbaum_weighed(tip_mm: float, drop_mg: float) -> None:
    """Eschbaum's drops of water at 15 °C (Bulletin of Pharmacy 9 (1895) 461) are met within 10 %."""
    volume = estimate_drop_volume_ul(tip_mm, WATER_15_C_MN_PER_M, WATER_15_C_G_PER_CM3)
    assert volume.value * WATER_15_C_G_PER_CM3 == pytest.approx(drop_mg, rel=0.10)
    assert volume.u == pytest.approx(0.1 * volume.value)


def test_a_standard_dropper_gives_standard_drops() -> None:
    """A 3 mm tip gives 45 to 55 mg a drop of water (USP <1101>), and about 38 µL of 30 % hydrochloric acid."""
    water = estimate_drop_volume_ul(3.0, WATER_SURFACE_TENSION_MN_PER_M, 0.9982)
    acid = estimate_drop_volume_ul(3.0, HYDROCHLORIC_ACID_30_SURFACE_TENSION_MN_PER_M, 1.1492)
    assert 45.0 <= water.value * 0.9982 <= 55.0
    assert acid.value == pytest.approx(38.0, rel=0.02)


@pytest.mark.parametrize("tip_mm", [0.0, -1.0, 20.0])
def test_a_tip_beyond_the_table_is_refused(tip_mm: float) -> None:
    """A tip without width, or wider than the drop-weight table reaches, is refused with its size."""
    with pytest.raises(ValueError, match=f"a tip of {tip_mm:g} mm"):
        estimate_drop_volume_ul(tip_mm, WATER_SURFACE_TENSION_MN_PER_M, 0.9982)


def test_drops_and_millilitres_are_one_count() -> None:
    """20 drops of 50 µL are a millilitre, and back."""
    assert drops_for_ml(1.0, 50.0) == pytest.approx(20.0)
    assert ml_for_drops(20.0, 50.0) == pytest.approx(1.0)
