"""The two settings files as a user would write them, for tests; every figure is invented."""

from __future__ import annotations

BENCH_TOML = """
name = "hood-2"

[port]
path = "/dev/serial/by-id/board"

[drops]
volume = "38.4 +/- 0.6 uL"
calibrated = 2026-11-20

[thermocouple]
offset = "0.4 +/- 0.8 delta_degC"
calibrated = 2026-11-20

[gas]
zero_sum = 8410
ppm_per_sum = 0.00412
relative_uncertainty = "5 %"
range = "20 ppm"
response_t90 = "30 s"
noise = "0.05 ppm"
calibrated = 2026-11-20
bump_tested = 2026-11-24

[room]
volume = "60 m^3"
ventilation = "600 m^3/hour"

[limits]
gas_high = "2 ppm"
gas_high_high = "5 ppm"
gas_stel = "0.25 ppm"
gas_twa = "2 ppm"
plate_high = "320 degC"
plate_high_high = "340 degC"
drip_fast = "90 / minute"
drip_stalled = "60 s"
"""

RUN_TOML = """
title = "Selenium from a spent liquor, third batch"

[generator]
route = "acid-drip"
meter = "drops"
salt = "Na2S2O5"
salt_mass = "80 +/- 0.5 g"
salt_purity = "97 +/- 1 %"
water = "120 mL"
acid = "HCl"
acid_strength = "30 +/- 0.5 %"
acid_volume = "110 mL"
flask_volume = "500 mL"
temperature = "22 degC"
pressure = "1 atm"

[receiver]
reaction = "Se"
amount = "12 g"
excess = "10 %"

[scrubber]
base = "NaOH"
strength = "10 %"
volume = "1 L"
"""
