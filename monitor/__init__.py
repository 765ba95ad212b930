"""so2bench: watch a small sulfur dioxide generator.

The path through the package, in the direction in which data flows:

    core/frames     bytes to frames           core/exposure   averages at the sensor
    core/timeline   frames to run time        core/rules      what is wrong now
    core/sensing    frames to readings        core/alarms     the life cycle of an alarm
    core/account    drops to moles of SO2     core/bench      the chain of all these, as one value

    chemistry/      what the numbers rest on  edges/          port, run log, inbox, broker
    settings        the two files             service         one live run, wired together
    replay          the same, from a record   rig/            a bench that is not there
    benches/        many benches at once
    cli             the command line          dashboards/     the page (beside this package)
"""

from __future__ import annotations

__version__ = "0.1.0"
