"""The actions of a timeline that befall the plant, whichever board is wired to it."""

from __future__ import annotations

from monitor.rig.other_routes import Burner
from monitor.rig.plant import Plant
from monitor.rig.timeline import Action


def do_to_plant(plant: Plant, action: Action) -> bool:
    """Do an action now; give whether it was one for the plant. ValueError if its route has nothing for it."""
    number = 0.0 if action.number is None else action.number
    match action.word:
        case "tap" if plant.tap is not None:
            plant.tap.rate_per_min = number
        case "leak":
            plant.leak_mg_per_min = number
        case "leak-share":
            plant.leak_share = number / 100.0
        case "sweep":
            plant.sweep_l_per_min = number
        case "plate":
            plant.plate.setpoint_c = number or None
        case "cap" | "cap-off":
            plant.gas.cap_ppm = action.number
        case "dip" | "dip-out":
            plant.plate.bath_c = action.number
        case "light" | "put-out" if isinstance(plant.source, Burner):
            plant.source.lit = action.word == "light"
        case "tap" | "light" | "put-out":
            raise ValueError(f"found the action {action.word!r}; this run's route has nothing for it")
        case _:
            return False
    return True
