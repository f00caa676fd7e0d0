"""One antenna as all its outings know it: every dip and sweep read makes the next prediction surer.

outing.py     what was typed and what was read, each time it was hung
outing.py     what may be off: of the antenna (goes along), of the site (stays), of how it hung (new each time)
nearby.py     dips and sweeps of set-ups near the one typed, without further solves
posterior.py  all outings together: the most likely values, their covariance, predictions from them
errors.py     how far off readings and the model itself are
"""
