"""What is known of errors before a log is seen: how far intervals reach, how well meters count."""

from __future__ import annotations

import math
from statistics import NormalDist

REACH = NormalDist().inv_cdf(0.95)
"""Standard uncertainties from the middle of a normal 90 % interval to either end."""

# A meter's calibration is accepted within 5 % of what it is set to (Field and Solie, Introduction
# to Agricultural Engineering Technology, stationary calibration), so anywhere within that: the
# standard uncertainty of a uniform distribution (JCGM 100:2008, 4.3.7).
METER_WITHIN = 0.05
"""How far off a meter may be, as a share of what it counts: anywhere within, alike."""
METER_CALIBRATION = METER_WITHIN / math.sqrt(3)
"""Relative standard uncertainty of what a meter counts, the same for all it counts."""
