"""The calibration commands: on typed figures, and on a simulated board behind a serial port that is not there."""

from __future__ import annotations

import stat
import tomllib
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from monitor.calibration import boiling_point_c
from monitor.cli import main
from monitor.edges import benchfile
from monitor.errors import SettingsError
from monitor.rig.bench import SimulatedBench
from monitor.rig.serve import BenchServer
from tests.fulldisk import full_disk
from tests.live import terms, wait_until

pytestmark = pytest.mark.live

NOW = datetime(2026, 11, 25, 10, 15, tzinfo=UTC)


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder with the two files of the demonstration, and nothing else."""
    _, bench_toml, _, run_toml = terms(str(tmp_path / "board"))
    (tmp_path / "bench.toml").write_text(bench_toml, "utf-8")
    (tmp_path / "run.toml").write_text(run_toml, "utf-8")
    monkeypatch.chdir(tmp_path)
    return tmp_path


@contextmanager
def board(folder: Path, speed: float = 10.0) -> Iterator[BenchServer]:
    """A simulated bench on the port that bench.toml names."""
    bench, _, run, _ = terms()
    with BenchServer(SimulatedBench(bench, run, 3), folder / "board", speed) as served:
        yield served


def person(monkeypatch: pytest.MonkeyPatch, *answers: str | Callable[[], str]) -> list[str]:
    """Somebody at the terminal who answers in this order; gives what was asked."""
    left, asked = list(answers), []

    def answer(prompt: str = "") -> str:
        asked.append(prompt)
        if not left:
            raise EOFError
        now = left.pop(0)
        return now if isinstance(now, str) else now()

    monkeypatch.setattr("builtins.input", answer)
    return asked


def settings(folder: Path) -> dict[str, dict[str, object]]:
    """What bench.toml holds now."""
    got: dict[str, dict[str, object]] = tomllib.loads((folder / "bench.toml").read_text("utf-8"))
    return got


def copies(folder: Path) -> list[Path]:
    """The kept copies of bench.toml."""
    return sorted(folder.glob("bench.toml.2*"))


DROPS = ["calibrate", "drops", "--bench", "bench.toml"]
TYPED = ["--repeat", "100 3.8", "--repeat", "120 4.6", "--repeat", "110 4.2", "--resolution", "0.1 mL"]


def test_typed_drops(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Typed repeats become the drop's volume with its uncertainty and today's date; all else in the file stays."""
    before = (folder / "bench.toml").read_text("utf-8")
    assert main([*DROPS, *TYPED]) == 0
    assert settings(folder)["drops"] == {"volume": "38.17 +/- 0.38 uL", "calibrated": datetime.now(UTC).date()}
    after = (folder / "bench.toml").read_text("utf-8")
    changed = [pair for pair in zip(before.splitlines(), after.splitlines(), strict=True) if pair[0] != pair[1]]
    assert len(changed) == 2
    assert "# 30 % hydrochloric acid" in after
    (kept,) = copies(folder)
    assert kept.read_text("utf-8") == before
    assert "38.00 µL each" in capsys.readouterr().out


def test_weighed_drops(folder: Path) -> None:
    """Weighed drops of an acid are divided by its density of the CRC Handbook: 1.1493 g/mL at 30 % HCl, 20 °C."""
    weighed = [w for _ in range(3) for w in ("--repeat", "100 4.413")]
    assert main([*DROPS, *weighed, "--resolution", "0.001 g", "--acid", "HCl", "--strength", "30 +/- 0.5 %"]) == 0
    assert str(settings(folder)["drops"]["volume"]).startswith("38.4")


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (["--resolution", "0.1 mL"], "found 0 repeats"),
        (["--resolution", "0.1 s"], "--resolution: found '0.1 s'"),
        (["--repeat", "many", "--resolution", "0.1 mL"], "--repeat: found 'many'"),
        (["--repeat", "100 4.4", "--resolution", "0.001 g"], "need --density"),
        ([*TYPED, "--density", "1.1 g/mL"], "found a density beside"),
        ([*TYPED[:-1], "0.001 g", "--acid", "HCl"], "found a mixture"),
        ([*TYPED[:-1], "0.001 g", "--acid", "HCl", "--strength", "70 %"], "outside the density table"),
        ([*TYPED, "--repeat", "10 0.5"], "repeat 4: found a count of 10"),
    ],
)
def test_nonsense_changes_nothing(
    folder: Path, options: list[str], words: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """Nonsense is refused in one sentence; the file stays, and no copy is made."""
    before = (folder / "bench.toml").read_bytes()
    assert main([*DROPS, *options]) == 1
    err = capsys.readouterr().err
    assert words in err
    assert err.count("\n") == 1
    assert (folder / "bench.toml").read_bytes() == before
    assert copies(folder) == []


def test_drops_counted_by_the_board(
    folder: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Drops that the board counts are the drops that fell; the account's volume comes out of what they filled."""
    with board(folder, 60.0) as served:
        fell: list[int] = []

        def begin() -> str:
            fell.append(served.truth().drops)
            return ""

        def end() -> str:
            wait_until(lambda: served.truth().drops >= fell[-1] + 24, "two dozen drops")
            fell.append(served.truth().drops)
            return ""

        def amount() -> str:
            return f"{(fell[-1] - fell[-2]) * 0.04:.2f} mL"

        served.do("tap 60")
        person(monkeypatch, "yes", *(begin, end, amount) * 3, "done")
        assert main([*DROPS, "--port", "--permit", "--resolution", "0.01 mL"]) == 0
        wait_until(lambda: not served.bench.board.permit, "the permit goes when the counting ends")
        assert served.bench.board.gas_trip == 8410 + int(5.0 / 0.00412)
    assert float(str(settings(folder)["drops"]["volume"]).split()[0]) == pytest.approx(40.0, rel=0.08)
    assert "a minute; 0 edges rejected" in capsys.readouterr().out


def test_a_slip_of_the_finger_loses_no_repeat(
    folder: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """An amount that is none is asked for again, as often as it takes; what was counted before is not lost."""
    with board(folder, 60.0) as served:

        def end() -> str:
            before = served.truth().drops
            wait_until(lambda: served.truth().drops >= before + 24, "two dozen drops")
            return ""

        served.do("tap 60")
        slips = ("1,0", "a lot", "0", "inf", "1 L")
        asked = person(
            monkeypatch, "yes", "", end, "1.0 mL", "", end, *slips, "1.0", "", end, "", "", end, "1.1", "done"
        )
        main([*DROPS, "--port", "--permit", "--resolution", "0.01 mL"])
    out = capsys.readouterr().out
    for slip in slips:
        assert f"found '{slip}', wanted a number in mL, like 4.6" in out
    assert [prompt for prompt in asked if prompt.startswith("Repeat")][-1].startswith("Repeat 4: ")


def test_the_permit_wants_a_yes(
    folder: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Without a plain yes the permit stays off and nothing is counted."""
    person(monkeypatch, "")
    with board(folder) as served:
        assert main([*DROPS, "--port", "--permit", "--resolution", "0.01 mL"]) == 1
        assert not served.bench.board.permit
    assert "the permit stays off" in capsys.readouterr().err


def test_nobody_at_the_terminal(
    folder: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """A live calibration without a person is refused, not a traceback."""
    person(monkeypatch)
    with board(folder):
        assert main([*DROPS, "--port", "--resolution", "0.01 mL"]) == 1
    assert "a live calibration needs a person" in capsys.readouterr().err


def test_a_board_that_is_not_there(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """No board is one sentence."""
    assert main([*DROPS, "--port", "--resolution", "0.01 mL"]) == 1
    assert "is the board plugged in" in capsys.readouterr().err


@pytest.mark.parametrize("options", [[], ["--page"], ["--bench", "bench.toml"]])
def test_a_kind_or_the_page(folder: Path, options: list[str]) -> None:
    """Without a kind it is the page, which wants to know the bench: anything else is wrong usage."""
    with pytest.raises(SystemExit) as ended:
        main(["calibrate", *options])
    assert ended.value.code == 2


def test_the_page_wants_files_that_are_in_order(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A file that is refused is refused before any page is started."""
    assert main(["calibrate", "--page", "--bench", "no-such.toml"]) == 1
    assert "cannot be read" in capsys.readouterr().err


def test_bubbles_go_into_the_run(folder: Path) -> None:
    """A bubble's volume and its date go into run.toml, for they belong to the wash bottle of one run."""
    text = (folder / "run.toml").read_text("utf-8").replace('meter = "drops"', 'meter = "bubbles"')
    text = text.replace('meter = "bubbles"', 'meter = "bubbles"\nbubble_volume = "90 uL"', 1)
    (folder / "run.toml").write_text(text, "utf-8")
    repeats = [w for ml in ("9.1", "9.0", "9.2") for w in ("--repeat", f"100 {ml}")]
    assert main(["calibrate", "bubbles", "--run", "run.toml", *repeats, "--resolution", "0.1 mL"]) == 0
    after = (folder / "run.toml").read_text("utf-8")
    got = tomllib.loads(after)["generator"]
    assert (got["bubble_volume"], got["bubble_calibrated"]) == ("91.00 +/- 0.71 uL", datetime.now(UTC).date())
    assert len(list(folder.glob("run.toml.2*"))) == 1


def test_thermocouple_typed(folder: Path) -> None:
    """What so2bench shows has the old offset in it; the new one is against the reading without."""
    steam_c = boiling_point_c(1000.0)
    options = ["--ice", "0.3 degC", "--steam", f"{steam_c + 0.3:.3f} degC", "--pressure", "1000 +/- 1 hPa"]
    assert main(["calibrate", "thermocouple", "--bench", "bench.toml", *options]) == 0
    offset = str(settings(folder)["thermocouple"]["offset"])
    assert float(offset.split()[0]) == pytest.approx(0.4 - 0.3, abs=0.006)
    assert offset.endswith("delta_degC")


def test_gas_typed(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Zero, then span, then bump: each writes its own keys, and the zero alone dates nothing."""
    gas = ["--bench", "bench.toml"]
    assert main(["calibrate", "gas-zero", *gas, "--sums", "8402", "8404", "8403"]) == 0
    assert settings(folder)["gas"]["zero_sum"] == 8403
    assert settings(folder)["gas"]["calibrated"] != datetime.now(UTC).date()
    assert main(["calibrate", "gas-span", *gas, "--gas", "10 +/- 0.2 ppm", "--sums", "10903", "10902", "10904"]) == 0
    got = settings(folder)["gas"]
    assert (got["ppm_per_sum"], got["relative_uncertainty"]) == (0.004, "3.5 %")  # √(2² + 0.49² + (5/√3)²) %
    assert got["calibrated"] == datetime.now(UTC).date()
    assert main(["calibrate", "bump", *gas, "--gas", "10 ppm", "--rise", "6 ppm", "--after", "40 s"]) == 0
    assert main(["calibrate", "bump", *gas, "--gas", "10 ppm", "--rise", "2 ppm", "--after", "60 s"]) == 1
    assert "do not run with this sensor" in capsys.readouterr().err
    assert len(copies(folder)) == 3


def test_gas_zero_by_the_board(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The zero that is read live is that of the simulated sensor, to a twentieth of a ppm and its own drift."""
    person(monkeypatch, "")
    with board(folder):
        assert main(["calibrate", "gas-zero", "--bench", "bench.toml", "--port", "--seconds", "20"]) == 0
    assert settings(folder)["gas"]["zero_sum"] == pytest.approx(8410, abs=40)


def test_a_dead_sensor_fails_its_bump(
    folder: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """A sensor that stays at zero while gas is given fails by the board's own clock, and nothing is written."""
    before = (folder / "bench.toml").read_bytes()
    person(monkeypatch, "")
    with board(folder, 60.0):
        assert main(["calibrate", "bump", "--bench", "bench.toml", "--gas", "10 ppm", "--port"]) == 1
    assert "the bump test failed" in capsys.readouterr().err
    assert (folder / "bench.toml").read_bytes() == before


def test_a_live_sensor_passes_its_bump(
    folder: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """A sensor that rises past half of the gas under its cap in time is alive, and today's date is written."""
    text = (folder / "bench.toml").read_text("utf-8")
    yesterday = f"bump_tested = {datetime.now(UTC).date() - timedelta(days=1)}"
    today = f"bump_tested = {datetime.now(UTC).date()}"
    (folder / "bench.toml").write_text(text.replace(today, yesterday), "utf-8")
    with board(folder, 20.0) as served:

        def gas() -> str:
            served.do("cap 10")
            return ""

        person(monkeypatch, gas)
        assert main(["calibrate", "bump", "--bench", "bench.toml", "--gas", "10 ppm", "--port"]) == 0
    assert "passed: rose by" in capsys.readouterr().out
    assert settings(folder)["gas"]["bump_tested"] == datetime.now(UTC).date()


def test_gas_span_by_the_board(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Under a cap of known gas the slope that is read live is the simulated sensor's own; a wrong one is mended.

    The file says 10 % too much a count; the span finds the sensor's 0.00412 ppm again within its uncertainty.
    """
    text = (folder / "bench.toml").read_text("utf-8")
    (folder / "bench.toml").write_text(text.replace("ppm_per_sum = 0.00412", "ppm_per_sum = 0.00453"), "utf-8")
    with board(folder, 30.0) as served:

        def gas() -> str:
            served.do("cap 10")
            wait_until(lambda: served.truth().sensor_ppm > 9.99, "the sensor has risen")
            return ""

        person(monkeypatch, gas)
        options = ["--port", "--gas", "10 +/- 0.2 ppm", "--seconds", "60"]
        assert main(["calibrate", "gas-span", "--bench", "bench.toml", *options]) == 0
    got = settings(folder)["gas"]
    assert got["ppm_per_sum"] == pytest.approx(0.00412, rel=0.02)
    assert got["relative_uncertainty"] in {"3.5 %", "3.6 %"}
    assert got["calibrated"] == datetime.now(UTC).date()
    (kept,) = copies(folder)
    assert "ppm_per_sum = 0.00453" in kept.read_text("utf-8")


def test_gas_span_before_the_reading_stands_still(
    folder: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """A reading that still rises is no span: it is said, and nothing is written."""
    with board(folder, 10.0) as served:

        def gas() -> str:
            served.do("cap 10")
            return ""

        person(monkeypatch, gas)
        options = ["--port", "--gas", "10 ppm", "--seconds", "30"]
        assert main(["calibrate", "gas-span", "--bench", "bench.toml", *options]) == 1
    assert "wait until it stands still" in capsys.readouterr().err
    assert copies(folder) == []


def test_gas_zero_in_air_that_is_not_clean(
    folder: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """A sensor that stands in gas gives no zero."""
    with board(folder, 30.0) as served:

        def gas() -> str:
            served.do("cap 4")
            wait_until(lambda: served.truth().sensor_ppm > 3.99, "the sensor has risen")
            return ""

        person(monkeypatch, gas)
        assert main(["calibrate", "gas-zero", "--bench", "bench.toml", "--port", "--seconds", "20"]) == 1
    assert "is the air clean?" in capsys.readouterr().err
    assert copies(folder) == []


def test_thermocouple_by_the_board(
    folder: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """From ice and steam at the room's pressure the offset undoes what the simulated thermocouple errs by.

    The rig's thermocouple reads 0.4 °C low, by its own hand of ITS-90 and the converter's steps of 0.25 °C.
    """
    text = (folder / "bench.toml").read_text("utf-8").replace('"0.4 +/- 0.8 delta_degC"', '"-2 +/- 3 delta_degC"')
    (folder / "bench.toml").write_text(text, "utf-8")
    with board(folder, 20.0) as served:

        def bath(true_c: float) -> Callable[[], str]:
            def dip() -> str:
                served.do(f"dip {true_c}")
                since_s = served.time_s
                wait_until(lambda: served.time_s > since_s + 30.0, "the junction has come to the bath's temperature")
                return ""

            return dip

        person(monkeypatch, bath(0.0), bath(boiling_point_c(985.0)))
        options = ["--port", "--pressure", "985 +/- 1 hPa", "--seconds", "30"]
        assert main(["calibrate", "thermocouple", "--bench", "bench.toml", *options]) == 0
    value_c, _, u_c, unit = str(settings(folder)["thermocouple"]["offset"]).split()
    assert unit == "delta_degC"
    assert abs(float(value_c) - 0.4) <= 2.0 * float(u_c)
    assert float(value_c) == pytest.approx(0.4, abs=0.2)
    assert settings(folder)["thermocouple"]["calibrated"] == datetime.now(UTC).date()
    assert "line through both, at 95 °C" in capsys.readouterr().out


def test_an_open_thermocouple_gives_no_point(
    folder: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """A wire that has come off is said at once, and is no temperature."""
    person(monkeypatch, "", "")
    with board(folder) as served:
        served.do("fault tc-open")
        options = ["--pressure", "1000 hPa", "--seconds", "3", "--port"]
        assert main(["calibrate", "thermocouple", "--bench", "bench.toml", *options]) == 1
    assert "gives no reading" in capsys.readouterr().err


def test_a_board_that_starts_anew_meanwhile(
    folder: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """A count over a restart of the board is no count."""
    with board(folder) as served:

        def restart() -> str:
            served.do("reset")
            wait_until(lambda: served.bench.board.boot > 1, "the board has started anew")
            since_s = served.time_s
            wait_until(lambda: served.time_s > since_s + 2.0, "its samples arrive")
            return ""

        person(monkeypatch, "", restart)
        assert main([*DROPS, "--port", "--resolution", "0.01 mL"]) == 1
    assert "the board started anew meanwhile" in capsys.readouterr().err


def test_a_junction_that_is_not_in_ice(
    folder: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """A plate at room temperature is neither ice nor steam: the board's readings are refused as such."""
    person(monkeypatch, "", "")
    options = ["--pressure", "1000 hPa", "--seconds", "3", "--port"]
    with board(folder):
        assert main(["calibrate", "thermocouple", "--bench", "bench.toml", *options]) == 1
    assert "at the ice point, 2" in capsys.readouterr().err
    assert copies(folder) == []


# --- the file -----------------------------------------------------------------------------------------------------

ODD = '# mine\r\n[gas]\r\nzero_sum = 1 # beside\r\n\r\n# below\r\n[drops]\r\nvolume="1 uL"   # so\r\n'


def test_line_ends_order_and_comments_stay() -> None:
    """Only the value changes: line ends, spaces, order and every comment are the user's."""
    assert benchfile.with_values(ODD, "gas", {"zero_sum": 2}) == ODD.replace("= 1 #", "= 2 #")
    assert benchfile.with_values(ODD, "drops", {"volume": "2 uL"}) == ODD.replace('"1 uL"', '"2 uL"')


def test_a_file_that_changed_meanwhile(tmp_path: Path) -> None:
    """Somebody else's edit is never written over."""
    path = tmp_path / "bench.toml"
    path.write_text("a = 2\n", "utf-8")
    with pytest.raises(SettingsError, match="changed meanwhile"):
        benchfile.replace_text(path, "a = 1\n", "a = 3\n", NOW, lambda _: None)
    assert list(tmp_path.iterdir()) == [path]
    assert path.read_text("utf-8") == "a = 2\n"


def test_copies_never_overwrite(tmp_path: Path) -> None:
    """Two calibrations in a second keep two copies; rights of the file and a link to it stay."""
    path, link = tmp_path / "bench.toml", tmp_path / "link.toml"
    path.write_text("a = 1\n", "utf-8")
    path.chmod(0o640)
    link.symlink_to(path)
    first = benchfile.replace_text(link, "a = 1\n", "a = 2\n", NOW, lambda _: None)
    second = benchfile.replace_text(link, "a = 2\n", "a = 3\n", NOW, lambda _: None)
    assert (first.name, second.name) == ("bench.toml.2026-11-25T101500Z", "bench.toml.2026-11-25T101500Z-2")
    assert [p.read_text("utf-8") for p in (first, second, link)] == ["a = 1\n", "a = 2\n", "a = 3\n"]
    assert link.is_symlink()
    assert stat.S_IMODE(path.stat().st_mode) == 0o640


def test_a_full_disk_leaves_no_half_copy(tmp_path: Path) -> None:
    """When the disk is full before the old file is kept whole, it is refused, and nothing is left but the file."""
    path = tmp_path / "bench.toml"
    path.write_text("a = 1\n" * 2000, "utf-8")
    with full_disk(5000), pytest.raises(SettingsError, match=r"bench\.toml: cannot be written: File too large"):
        benchfile.replace_text(path, "a = 1\n" * 2000, "a = 2\n", NOW, lambda _: None)
    assert list(tmp_path.iterdir()) == [path]
    assert path.read_text("utf-8") == "a = 1\n" * 2000


def test_the_mark_of_utf_8_stays_in_its_place() -> None:
    """A file that some editor began with the mark of UTF-8 keeps it, and the value changes all the same."""
    assert benchfile.with_values("\ufeff" + ODD, "gas", {"zero_sum": 2}) == "\ufeff" + ODD.replace("= 1 #", "= 2 #")


def test_what_the_settings_refuse_is_not_written(tmp_path: Path) -> None:
    """A text that would be refused at the next start is refused now; the old one stays."""
    path = tmp_path / "bench.toml"
    path.write_text("a = 1\n", "utf-8")

    def refuse(_: str) -> None:
        raise SettingsError("no")

    with pytest.raises(SettingsError, match="no"):
        benchfile.replace_text(path, "a = 1\n", "a = 2\n", NOW, refuse)
    assert list(tmp_path.iterdir()) == [path]


def test_one_line_table() -> None:
    """A table written as one line is refused in words."""
    with pytest.raises(SettingsError, match="written as one line"):
        benchfile.with_values("gas = {zero_sum = 1}\n", "gas", {"zero_sum": 2})
