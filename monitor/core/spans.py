"""Spans of time and moments of a run in words, the same on every page and in every record."""

from __future__ import annotations


def duration(seconds: float) -> str:
    """A span in the two largest units that it needs."""
    whole = max(0, round(seconds))
    if whole < 60:
        return f"{whole} s"
    if whole < 3600:
        return f"{whole // 60} min {whole % 60:02d} s"
    return f"{whole // 3600} h {whole % 3600 // 60:02d} min"


def foretold(seconds: float) -> str:
    """A span that a rate foretells, no finer than a rate can: whole minutes, and fives of them from an hour on."""
    minutes = max(0.0, seconds) / 60.0
    if minutes < 1.0:
        return "under a minute"
    whole = round(minutes) if round(minutes) < 60 else 5 * round(minutes / 5.0)
    return f"about {whole} min" if whole < 60 else f"about {whole // 60} h {whole % 60:02d} min"


def passed(seconds: float) -> str:
    """A span of which only the seconds that are over count."""
    return duration(int(seconds))


def run_clock(t_s: float) -> str:
    """Run time as hours, minutes and seconds."""
    whole = max(0, int(t_s))
    return f"{whole // 3600}:{whole % 3600 // 60:02d}:{whole % 60:02d}"
