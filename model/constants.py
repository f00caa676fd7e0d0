"""Physical constants in SI units (CODATA 2018, as given in scipy.constants)."""

import math

from scipy import constants

C0: float = constants.speed_of_light  # m/s
MU0: float = constants.mu_0  # H/m
EPS0: float = constants.epsilon_0  # F/m
ETA0: float = math.sqrt(MU0 / EPS0)  # ohm
