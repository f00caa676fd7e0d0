"""Physical constants in SI units (CODATA 2022; tests/test_against_codata.py compares them with scipy's)."""

import math

C0 = 299_792_458.0  # m/s
MU0 = 1.25663706127e-6  # H/m
EPS0 = 8.8541878188e-12  # F/m
ETA0 = math.sqrt(MU0 / EPS0)  # ohm
