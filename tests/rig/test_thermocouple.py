"""Type K and the converter's word. Sources: ITS-90 by two registry packages; the wire protocol's worked line."""

from __future__ import annotations

import numpy as np
import pytest
import thermocouple_its90
import thermocouples_reference
from hypothesis import given
from hypothesis import strategies as st

from monitor.rig.thermocouple import OPEN, SHORT_TO_SUPPLY, converter_word, emf_mv, reported_hot_c

PACKAGED = thermocouples_reference.thermocouples["K"]


@pytest.mark.parametrize(
    ("t_c", "mv"),
    [(25, 1.0002), (100, 4.0962), (200, 8.1385), (300, 12.2086), (400, 16.3971), (500, 20.6443)],
)
def test_emf_is_the_printed_one(t_c: float, mv: float) -> None:
    """ITS-90 reference values, mV, as both packages print them (thermocouples_reference, thermocouple-its90)."""
    assert emf_mv(t_c) == pytest.approx(mv, abs=5e-5)


@pytest.mark.parametrize("t_c", range(-260, 1371, 30))
def test_emf_follows_both_packages(t_c: int) -> None:
    """The emf is that of thermocouples_reference 0.20 and of thermocouple-its90 1.0.2, to a nanovolt."""
    assert emf_mv(t_c) == pytest.approx(float(PACKAGED.func(np.array([float(t_c)]))[0]), abs=1e-6)
    assert emf_mv(t_c) == pytest.approx(thermocouple_its90.TypeK.emf(float(t_c)), abs=1e-6)


@pytest.mark.parametrize(("hot_c", "low_by_c"), [(200.0, 2.06), (300.0, 3.45)])
def test_the_converters_line_reads_low_by_the_known_amount(hot_c: float, low_by_c: float) -> None:
    """With its junction at 25 °C the line reads so much low (computed once with thermocouples_reference)."""
    assert hot_c - reported_hot_c(hot_c, 25.0) == pytest.approx(low_by_c, abs=0.01)


def test_the_worked_word() -> None:
    """118.25 °C hot and 24.5 °C cold make 07641880, as the protocol's worked line has it."""
    assert converter_word(118.25, 24.5) == 0x0764_1880


def test_cold_words_are_twos_complement() -> None:
    """−12.75 °C hot and −5.0625 °C cold make FF34FAF0."""
    assert converter_word(-12.75, -5.0625) == 0xFF34_FAF0


@pytest.mark.parametrize(("fault", "word"), [(OPEN, 0x0001_1901), (SHORT_TO_SUPPLY, 0x0001_1904)])
def test_a_fault_sets_its_bit_and_the_common_one(fault: int, word: int) -> None:
    """A faulty thermocouple reads 0 with bit 16 and its own bit; the cold junction goes on."""
    assert converter_word(118.25, 25.0, fault) == word


@given(st.floats(-2000.0, 3000.0), st.floats(-200.0, 200.0))
def test_no_temperature_leaves_its_field(hot_c: float, cold_c: float) -> None:
    """Beyond the ends the fields stop at their ends, and the zero bits stay zero."""
    word = converter_word(hot_c, cold_c)
    assert 0 <= word <= 0xFFFF_FFFF
    assert word & 0x0003_000F == 0
