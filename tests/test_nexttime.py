"""What past runs say for next time: a known drift is found, and the words say how sure it is."""

from __future__ import annotations

from datetime import date, timedelta

import pytest

from monitor.chemistry.acids import mol_per_l_from_mass_fraction
from monitor.core.balance import course_of
from monitor.nexttime import CONFOUNDED, RunResult, drop_by_weighing, growth_of, next_time, run_rows, sentences
from monitor.terms import DropTerms, Measured
from tests.pastruns import CALIBRATED, STATED, charge, past_bench

TODAY = date(2026, 11, 25)


def gave(number: int, share: float, u: float = 0.01) -> RunResult:
    run = RunResult(f"run{number}.so2log", date(2026, 5, 3) + timedelta(days=30 * number), "acid-drip", None, None)
    return run._replace(yield_share=Measured(share, u))


@pytest.mark.parametrize("growth_per_year", [0.0, 0.06, -0.1, 0.2])
def test_a_known_drift_is_found_within_its_uncertainty(growth_per_year: float) -> None:
    """In 93 of 100 benches of the rig or more, six weighed runs each, the stated interval holds the drop's growth."""
    held = 0
    for seed in range(100):
        bench = past_bench(seed, growth_per_year)
        growth = growth_of(next_time(bench.results, TODAY))
        assert growth is not None
        held += abs(growth.share - bench.growth) <= growth.expanded
    assert held >= 93


def test_a_large_drift_is_told_and_asks_for_a_calibration() -> None:
    """Twelve runs of a drop that grows by half in a year: sure, in words, with what a weighing cannot tell apart."""
    bench = past_bench(5, 0.5, runs=12)
    found = next_time(bench.results, bench.results[-1].day)
    growth = growth_of(found)
    assert growth is not None
    assert growth.sure
    assert growth.since == CALIBRATED
    words = list(sentences(found))
    (drift,) = (w for w in words if "drop volume" in w and "grown" in w)
    assert drift.endswith("(12 weighed runs, 1 calibration): calibrate again.")
    assert CONFOUNDED in words


def test_a_drift_that_is_none_is_not_told() -> None:
    """A bench whose drop stands still is said to have none that can be told, with the uncertainty."""
    words = " ".join(sentences(next_time(past_bench(1, 0.0).results, TODAY)))
    assert "no drift that can be told" in words
    assert "calibrate again" not in words


def test_a_calibration_since_is_a_point_of_the_drift_and_is_said() -> None:
    """Of a drop that was calibrated after the last run nobody is asked to calibrate; its growth is still told."""
    bench = past_bench(5, 0.5, runs=12)
    last = bench.results[-1].day
    now = DropTerms(Measured(STATED.value * (1.0 + bench.growth), 0.3), last + timedelta(days=7))
    found = next_time(bench.results, TODAY, now)
    growth = growth_of(found)
    assert growth is not None
    assert (growth.renewed, growth.since, growth.until) == (True, CALIBRATED, now.calibrated)
    (drift,) = (w for w in sentences(found) if w.startswith("The drop volume has grown"))
    assert drift.endswith("(12 weighed runs, 2 calibrations): it has been calibrated since.")
    before = growth_of(next_time(bench.results, TODAY))
    assert before is not None
    assert growth.expanded / growth.share < before.expanded / before.share  # two calibrations know it better


def test_the_yield_in_words_and_as_a_table() -> None:
    """Runs, since when, the mean ± and how far one more may lie off; the table's ± doubled is that."""
    found = next_time([gave(i, share) for i, share in enumerate([0.93, 0.89, 0.91, 0.90, 0.92, 0.91])], TODAY)
    first = next(iter(sentences(found)))
    assert first.startswith(
        "In 6 runs since 2026-05-03 this bench gave 91.0 ± 1.5 % of the plan; one more run may lie 4"
    )
    table = found.learned
    assert table is not None
    assert (table["yield"], table["runs"]) == ("91 +/- 2 %", 6)
    assert (table["since"], table["fitted"]) == (date(2026, 5, 3), TODAY)


@pytest.mark.parametrize("count", [1, 2])
def test_one_or_two_runs_are_too_few(count: int) -> None:
    """It is said, and nothing is offered."""
    found = next_time([gave(i, 0.9) for i in range(count)], TODAY)
    assert found.learned is None
    words = " ".join(sentences(found))
    assert "too few; 3 at least are wanted" in words


def test_no_run_is_a_sentence() -> None:
    """An empty folder says that nothing is known."""
    assert list(sentences(next_time([], TODAY))) == [
        "There is no finished run of this bench on this route in the folder: nothing is known for next time."
    ]


def test_what_was_set_aside_and_left_out_is_named() -> None:
    """An outlier with its figure, a run that tells nothing with the reason, and days since the last run."""
    runs = [gave(i, share) for i, share in enumerate([0.93, 0.89, 0.40, 0.90, 0.92, 0.91])]
    runs.append(gave(6, 0.9)._replace(yield_share=None, left_out=("it was weighed before much had gone over",)))
    words = list(sentences(next_time(runs, date(2027, 3, 1))))
    assert "Set aside, far off the others: run2.so2log gave 40 % of its plan." in words
    assert "run6.so2log: it was weighed before much had gone over." in words
    assert any("carried beyond what was seen" in w for w in words)
    assert not any("carried beyond" in w for w in sentences(next_time(runs, runs[-1].day)))


def test_unlike_charges_are_told() -> None:
    """Runs of two salts are taken together and it is said; a plan of a third is carried over from others."""
    runs = [gave(i, 0.9)._replace(charge="Na2S2O5 and HCl" if i else "K2S2O5 and HCl") for i in range(4)]
    words = " ".join(sentences(next_time(runs, TODAY)._replace(planned_charge="Na2SO3 and HCl")))
    assert "unlike charges, which are taken together here: K2S2O5 and HCl; Na2S2O5 and HCl." in words
    assert "None of these runs had a charge of Na2SO3 and HCl" in words
    like = " ".join(sentences(next_time(runs[1:], TODAY)._replace(planned_charge="Na2S2O5 and HCl")))
    assert "unlike" not in like
    assert "None of these runs" not in like


def test_first_gas_by_the_sign_that_most_runs_have() -> None:
    """A note and a sensor are not mixed; the share is of the planned time."""
    runs = [
        gave(i, 0.9)._replace(first_gas_s=600.0 * share, first_gas_planned_s=600.0, first_gas_by="a note")
        for i, share in enumerate([1.10, 1.14, 1.12, 1.12])
    ]
    runs.append(gave(9, 0.9)._replace(first_gas_s=3000.0, first_gas_planned_s=600.0, first_gas_by="the gas sensor"))
    (words,) = (w for w in sentences(next_time(runs, TODAY)) if w.startswith("Gas first"))
    assert words == "Gas first came after 112 ± 3 % of the planned time (4 runs, by a note)."
    assert dict(run_rows(next_time(runs, TODAY)))["2026-05-03 run0.so2log"].endswith(
        "first gas after 11.0 min, planned 10.0"
    )


def test_a_drop_by_weighing_is_the_drop() -> None:
    """What the course gives for 41 µL drops, weighed, is 41 µL; of a spent charge a weighing knows no drop."""
    course, drops = course_of(charge()), 150
    over = Measured(course.at(drops * 41.0e-3).delivered_mol, 0.0005)
    found = drop_by_weighing(course, drops, STATED.value, over)
    assert found is not None
    assert found.ul == pytest.approx(41.0, rel=1e-6)
    assert 0.0 < found.u_ul < found.ul / 20
    assert found.common_u_ul > 0.0
    spent = course.at(1.29 * charge().acid_volume_ml).delivered_mol
    assert drop_by_weighing(course, 370, STATED.value, Measured(spent, 0.0005)) is None
    assert drop_by_weighing(course, 20, STATED.value, Measured(0.001, 0.0005)) is None
    assert STATED.value == pytest.approx(38.4)
    assert charge().acid_mol_per_l.value == pytest.approx(mol_per_l_from_mass_fraction("HCl", 0.30), rel=1e-3)
