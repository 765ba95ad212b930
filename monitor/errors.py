"""The one family of refusals: what was found, where, and what is wanted, in one sentence for a person."""

from __future__ import annotations


class RefusalError(Exception):
    """Something cannot be done as asked. `str()` of it is the whole of what a person needs; no traceback is."""


class SettingsError(RefusalError):
    """One or more mistakes in a settings file, one a line."""


class LogError(RefusalError):
    """A run log that cannot be opened, read or written."""


class PortError(RefusalError):
    """A serial port that cannot be opened, read or written."""


class RecordingError(RefusalError):
    """A recording that is not one."""


class PlanError(RefusalError):
    """A plan that cannot be."""
