"""A device of one's own: forearm sleeves with a salt hydrate that melts between 24 and 28 °C.

Nothing of the package changes for it: a frozen dataclass with a name and rows, worn like any other device, at compiled
speed. Numbers are invented for the example. Run: python examples/salt_hydrate_sleeve.py
"""

import dataclasses

import thermosim as ts
from thermosim.cooling import Worn, boundary_row


@dataclasses.dataclass(frozen=True)
class SaltHydrateSleeve:
    """Sealed pouches round both forearms; the filling melts over a range, not at a point."""

    filling_kg: float = 0.4  # both arms
    melt_low_C: float = 24.0
    melt_high_C: float = 28.0
    name: str = "salt_hydrate_sleeve"

    def rows(self):
        """Return the one row; units are in the names."""
        return boundary_row(
            "forearms", area_m2=0.05, contact_W_m2K=45.0, charge_kg=self.filling_kg, charge_C=18.0,
            melt_low_C=self.melt_low_C, melt_high_C=self.melt_high_C, latent_J_kg=185e3, solid_J_kgK=1900.0,
            liquid_J_kgK=2300.0, dry_mass_kg=0.1, dry_J_K=140.0, outer_conductance_W_m2K=10.0, outer_J_K=75.0,
            outer_absorptance=0.6, outer_wet_kg=0.01, outer_hold_kg=0.01,
        )  # fmt: skip


if __name__ == "__main__":
    runner, effort = ts.Runner(mass_kg=63, height_m=1.71), ts.Effort.steady(speed_m_s=2.8, minutes=40)
    weather = ts.Weather.steady(air_temperature_C=30, relative_humidity_pct=75)
    run = ts.simulate(runner, effort, weather, cooling=[Worn(SaltHydrateSleeve(), from_min=5)])
    kJ = float(run.device_power.sel(side="skin").isel(device=0).integrate("time")) / 1000
    print(f"{kJ:.0f} kJ from the skin, coldest skin under it {float(run.device_skin_temperature.min()):.1f} °C")
