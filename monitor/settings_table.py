"""One TOML table under reading: keys are taken out one by one, and what is wrong is collected, not raised.

Promise: each mistake is one line that names file, key, what was found and what is wanted, and several are reported
together. It knows nothing of what the keys mean.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path
from typing import Any

from monitor.errors import SettingsError
from monitor.quantities import EXAMPLES, parse_quantity
from monitor.terms import Measured

MAX_FILE = 256 * 1024  # bytes; a settings file is a page, not a book
SPREAD = "an uncertainty smaller than the value"
MARK = "\ufeff"  # some editors begin a text with it: it says UTF-8, and is none of the text


@dataclass
class Table:
    """One TOML table under reading: takes keys out one by one, collects what is wrong."""

    file: str
    path: str
    data: dict[str, Any]
    wrong: list[str]
    seen: set[str] = field(default_factory=set)

    def say(self, key: str, found: str, wanted: str) -> None:
        """Note a mistake."""
        shown = key if key.isprintable() else repr(key)  # each mistake stays one line
        name = f"{self.path}.{shown}" if self.path else shown
        self.wrong.append(f"{self.file}: {name}: found {found}, wanted {wanted}")

    def raw(self, key: str, default: Any = None, wanted: str = "a value") -> Any:
        """The key's value as TOML has it; a missing one without default is a mistake."""
        self.seen.add(key)
        if key in self.data:
            return self.data[key]
        if default is None:
            self.say(key, "nothing", wanted)
        return default

    def has(self, key: str) -> bool:
        """Whether the key is there."""
        self.seen.add(key)
        return key in self.data

    def table(self, key: str, *, required: bool) -> Table | None:
        """The table under a key."""
        self.seen.add(key)
        got = self.data.get(key)
        name = f"{self.path}.{key}" if self.path else key
        if got is None:
            if required:
                self.wrong.append(f"{self.file}: [{name}]: found nothing, wanted this table")
            return None
        if not isinstance(got, dict):
            self.say(key, shown(got), f"a table [{name}]")
            return None
        return Table(self.file, name, got, self.wrong)

    def measured(
        self,
        key: str,
        unit: str,
        *,
        low: float | None = None,
        high: float | None = None,
        above: float | None = None,
        default: str | None = None,
        bounds: str = "",
    ) -> Measured:
        """A physical value inside its bounds (`low` and `high` inclusive, `above` exclusive)."""
        example = f'a text like "{EXAMPLES.get(unit, unit)}"'
        raw = self.raw(key, default, example)
        if raw is None:
            return Measured(1.0)
        try:
            got = parse_quantity(raw, unit)
        except ValueError as why:
            self.say(key, shown(raw), str(why))
            return Measured(1.0)
        ok = (
            (low is None or got.value >= low)
            and (high is None or got.value <= high)
            and (above is None or got.value > above)
        )
        if not ok:
            self.say(key, shown(raw), bounds or _bounds_words(low, high, above, unit))
        elif (above is not None or (low is not None and low > 0.0)) and got.u >= got.value:
            self.say(key, shown(raw), SPREAD)
        return got

    def value(self, key: str, unit: str, **bounds: Any) -> float:
        """As `measured`, without the uncertainty."""
        return self.measured(key, unit, **bounds).value

    def text(self, key: str, pattern: str, wanted: str, default: str | None = None, *, hidden: bool = False) -> str:
        """A text of this pattern; a `hidden` one may hold a password, and is not shown."""
        raw = self.raw(key, default, wanted)
        if raw is None:
            return ""
        if not isinstance(raw, str) or re.fullmatch(pattern, raw) is None:
            self.say(key, "another" if hidden else shown(raw), wanted)
            return ""
        return raw

    def switch(self, key: str, *, default: bool) -> bool:
        """True or false."""
        raw = self.raw(key, default)
        if not isinstance(raw, bool):
            self.say(key, shown(raw), "true or false")
            return default
        return raw

    def choice(self, key: str, options: tuple[str, ...], default: str | None = None) -> str:
        """One of these; the first stands in for a wrong one."""
        wanted = "one of " + ", ".join(options)
        raw = self.raw(key, default, wanted)
        if raw is not None and raw not in options:
            self.say(key, shown(raw), wanted)
        return raw if raw in options else options[0]

    def number(self, key: str, low: float, high: float, default: float | None = None) -> float:
        """A bare number within bounds (inclusive)."""
        wanted = f"a number from {low:g} to {high:g}"
        raw = self.raw(key, default, wanted)
        if raw is None:
            return low
        if isinstance(raw, bool) or not isinstance(raw, (int, float)) or not low <= raw <= high:
            self.say(key, shown(raw), wanted)
            return low
        return float(raw)

    def day(self, key: str) -> date | None:
        """A date, or None where there is none."""
        self.seen.add(key)
        raw = self.data.get(key)
        if raw is None or (isinstance(raw, date) and type(raw) is date):
            return raw
        self.say(key, shown(raw), "a date like 2026-11-20, without quotes")
        return None

    def finish(self) -> None:
        """Every key that was never asked for is unknown."""
        for key in self.data:
            if key not in self.seen:
                known = ", ".join(sorted(self.seen))
                self.say(key, "this key", f"one of {known}")


def shown(value: object) -> str:
    """A value as a mistake shows it, cut short."""
    try:
        return repr(value)[:60]
    except ValueError:  # written in hexadecimal, a whole number may be longer than Python will write
        return "a number of thousands of digits"


def _bounds_words(low: float | None, high: float | None, above: float | None, unit: str) -> str:
    words = []
    if above is not None:
        words.append(f"more than {above:g}")
    if low is not None:
        words.append(f"at least {low:g}")
    if high is not None:
        words.append(f"at most {high:g}")
    return " and ".join(words) + f" {unit}"


def read(path: Path) -> tuple[str, dict[str, Any]]:
    """A settings file's text and document.

    Raises:
        SettingsError: it cannot be read, is too long, or is not TOML.
    """
    try:
        if path.stat().st_size > MAX_FILE:
            raise SettingsError(f"{path}: found {path.stat().st_size} bytes, wanted at most {MAX_FILE}")
        text = path.read_text("utf-8")
    except OSError as why:
        raise SettingsError(f"{path}: cannot be read: {why.strerror or why}") from why
    except UnicodeDecodeError as why:
        raise SettingsError(f"{path}: found bytes that are not UTF-8 text, wanted a TOML file") from why
    return text, parse_toml(text, str(path))


def parse_toml(text: str, name: str) -> dict[str, Any]:
    """The TOML document in `text`.

    Raises:
        SettingsError: not TOML; names `name` and the place.
    """
    try:
        return tomllib.loads(text.removeprefix(MARK))
    except tomllib.TOMLDecodeError as why:
        raise SettingsError(f"{name}: not TOML: {why}") from why
    except ValueError as why:
        raise SettingsError(f"{name}: found a number of thousands of digits, wanted a settings file") from why
    except RecursionError as why:
        raise SettingsError(f"{name}: found lists or tables nested without end, wanted a settings file") from why


def refuse(wrong: list[str]) -> None:
    """Raise all mistakes as one refusal, if there are any."""
    if wrong:
        raise SettingsError("\n".join(wrong))


def refuse_the_other(
    path: Path, data: dict[str, Any], wanted: str, own: frozenset[str], found: str, others: frozenset[str]
) -> None:
    """Refuse a file that has tables of the other kind of file and none of its own, instead of mistake by mistake.

    Raises:
        SettingsError: it is such a file.
    """
    tables = [key for key in data if key in others]
    if tables and not own.intersection(data):
        raise SettingsError(
            f"{path}: found the file of {found} (it has [{tables[0]}]), wanted that of {wanted}: "
            "bench.toml and run.toml seem to be swapped"
        )


def problems(why: SettingsError) -> Iterator[str]:
    """The mistakes of a refusal, one by one."""
    yield from str(why).splitlines()
