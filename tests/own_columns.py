"""Functions of a user's own, in a module that worker processes can import."""

SCALE = 2.0


def helper(x):
    return SCALE * x


def middle(band, solve):
    z = solve((band.lower + band.upper) / 2).impedance
    return {"middle_x_ohm": z.imag, "doubled": helper(z.real), "capacitive": z.imag < 0}


def broken(band, solve):
    return {"ratio": 1 / 0}


def taken(band, solve):
    return {"dip_mhz": 1.0}


def no_mapping(band, solve):
    return 3.0
