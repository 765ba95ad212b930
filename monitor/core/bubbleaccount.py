"""The account by bubbles on a wash bottle in the gas line: what is counted has gone over already.

A bubble's volume is that of moist gas at the run's temperature and pressure. Its water vapour is taken off; the air
of the headspace leaves first, by `monitor.chemistry.sweep`; the rest is SO2 as a real gas. The wash bottle is taken
to be saturated, and to be as warm as the run file says.
"""

from __future__ import annotations

from math import ceil
from typing import ClassVar

from monitor.chemistry.gas import ZERO_C_K, water_vapour_pressure_pa
from monitor.chemistry.trajectory import PRESSURE_U_PA, TEMPERATURE_U_C
from monitor.core.account import AIR_RELATIVE_U, RELEASE_LAG_S
from monitor.core.balance import Balance
from monitor.core.events import Accounted, Forecast
from monitor.core.metered import MeteredAccount, Row
from monitor.terms import RunTerms

COOLING_LAG_S = 60.0  # a flask of hot acid goes on making gas about so long; common practice, no source
L_PER_UL = 1e-6
PARTS = ("bubble volume", "temperature of the gas", "ambient pressure", "air of the flask, which leaves first")


class BubbleAccount(MeteredAccount):
    """The account of one run by the bubbles of its gas."""

    counts: ClassVar[str] = "bubble"

    def __init__(self, run: RunTerms) -> None:
        if run.bubble_volume_ul is None:
            raise TypeError("the bubble account needs a bubble's volume")
        super().__init__(run, run.bubble_volume_ul)
        self._balance = Balance(run)
        t_c, pressure_pa = run.charge.temperature_c, run.charge.pressure_pa
        water_pa = water_vapour_pressure_pa(t_c)
        self._dry = 1.0 - water_pa / pressure_pa
        warmer = 1.0 - water_vapour_pressure_pa(t_c + TEMPERATURE_U_C) / pressure_pa
        per_k = 1.0 / (t_c + ZERO_C_K)
        self._by_temperature = warmer / self._dry * (1.0 - TEMPERATURE_U_C * per_k) - 1.0
        self._by_pressure = PRESSURE_U_PA / (pressure_pa - water_pa)
        self._lag_s = RELEASE_LAG_S if run.route == "acid-drip" else COOLING_LAG_S

    def _gas_l(self, counted_ul: float) -> float:
        return counted_ul * L_PER_UL * self._dry

    def _delivered_of(self, counted_ul: float) -> float:
        return min(self.charge_mol, self._sweep.so2_mol(self._gas_l(counted_ul)))

    def _parts_of(self, counted_ul: float) -> Row:
        gas_l = self._gas_l(counted_ul)
        gas_mol = gas_l / self._sweep.so2_l_per_mol
        air_mol = self._sweep.air_l(gas_l) / self._sweep.so2_l_per_mol
        return [gas_mol * self._by_temperature, gas_mol * self._by_pressure, -AIR_RELATIVE_U * air_mol]

    def _most_of(self, counted_ul: float) -> float:  # noqa: ARG002 - no count can make more than the charge
        return self.charge_mol

    def budget(self) -> tuple[tuple[str, float], ...]:
        """What each input adds to the standard uncertainty of delivered by the count, mol, the largest first."""
        parts = zip(PARTS, self._sensitivities(self.volume_ul), strict=True)
        return tuple(sorted(((name, abs(part)) for name, part in parts), key=lambda named: -named[1]))

    def _kept(self, t_s: float) -> Accounted:
        return self._balance.account(t_s, self.drops, self.delivered_mol, self._u_delivered_mol())

    def gas_l_per_min(self, t_s: float) -> float:
        """Gas that passes the counter, moist, L/min over the last 20 s."""
        return self.drip_per_min(t_s) * self.volume_ul * L_PER_UL

    def headspace_share(self) -> float:
        """Of what is held, the part that stands over the liquor."""
        return self._balance.headspace_share(self.delivered_mol)

    def forecast(self, t_s: float) -> Forecast:
        """Where the run is heading at the present rate of bubbles."""
        rate = self.drip_per_min(t_s)
        here_l = self._gas_l(self.counted_ul)
        bubble_l = self._gas_l(self.volume_ul)
        per_bubble_mol = self._sweep.so2_mol(here_l + bubble_l) - self._sweep.so2_mol(here_l)
        final_mol = max(self._balance.final_mol, self.delivered_mol)
        bubbles: int | None = None
        minutes: float | None = None
        if self.need_mol is not None and self.need_mol <= final_mol:
            left_l = self._sweep.gas_l(self.need_mol) - self._sweep.gas_l(self.delivered_mol)
            if self.delivered_mol == 0.0:
                left_l -= here_l
            bubbles = 0 if self.need_mol <= self.delivered_mol else max(1, ceil(left_l / bubble_l - 1e-9))
            if rate > 0.0 or bubbles == 0:
                minutes = bubbles / rate if bubbles else 0.0
        return Forecast(
            drip_per_min=rate,
            delivery_mol_per_min=per_bubble_mol * rate,
            final_delivered_mol=final_mol,
            still_to_come_mol=per_bubble_mol * rate * (self._lag_s / 60.0),
            need_mol=self.need_mol,
            drops_to_need=bubbles,
            minutes_to_need=minutes,
            acid_left_ml=0.0,
        )
