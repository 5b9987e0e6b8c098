"""Physical constants, one a line, with unit and source. No physiology here (see ``parameters.py``)."""

ZERO_CELSIUS_K = 273.15  # [K] ice point, exact by definition
STEFAN_BOLTZMANN = 5.670374419e-8  # [W/m²K⁴] CODATA 2018, exact
GRAVITY = 9.81  # [m/s²] rounded standard gravity 9.80665
STANDARD_PRESSURE_KPA = 101.325  # [kPa] standard atmosphere
SPECIFIC_HEAT_WATER = 4186.0  # [J/kgK] liquid water near 15 °C; handbook value (4180 at 35 °C)
SPECIFIC_HEAT_ICE = 2100.0  # [J/kgK] near 0 °C; handbook value
LATENT_HEAT_FUSION = 334.0e3  # [J/kg] ice at 0 °C; handbook value
LATENT_HEAT_SWEAT = 2426.0e3  # [J/kg] sweat at skin temperature; Wenger 1972
LEWIS_RELATION = 16.5  # [K/kPa] evaporative over convective coefficient at sea level; ASHRAE Fundamentals
CLO = 0.155  # [m²K/W] one clo, by definition
