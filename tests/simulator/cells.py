"""Load cells for tests, told by their angles in degrees."""

import math

from simulator.sensing_and_control import LoadCell


def cell(wrap=120.0, bisector=-90.0, sensing=None, mass=10.0, cells=2):
    return LoadCell(
        wrap_angle=math.radians(wrap),
        bisector_angle=math.radians(bisector),
        sensing_angle=math.radians(bisector if sensing is None else sensing),
        roller_mass=mass,
        rated_load=500.0,
        filter_time=0.1,
        cells=cells,
    )
