#!/usr/bin/env python3
"""Values of scipy.signal.resample_poly, and the worst ripple of its filter, for tests/truth/low_rates.rs.

Prints resample_reference.tsv. numpy and scipy as in requirements.txt.
"""

from math import gcd

import numpy as np
from scipy.signal import firwin, freqz, resample_poly

FULL_HZ = 48_000
x = (np.arange(1200) ** 2 % 101) / 101 - 0.5
print("# Made by resample_reference.py (numpy 2.4.6, scipy 1.17.1). Do not edit by hand.")
print("rate_hz\tindex\tvalue\tripple_db")
for rate_hz in (11_025, 16_000, 22_050, 24_000, 32_000):
    up, down = (hz // gcd(rate_hz, FULL_HZ) for hz in (rate_hz, FULL_HZ))
    taps = firwin(20 * max(up, down) + 1, 1 / max(up, down), window=("kaiser", 5.0))
    hz = np.linspace(10, 0.42 * rate_hz, 3000)
    gain = np.abs(freqz(taps, worN=hz, fs=FULL_HZ * up)[1])
    ripple_db = np.max(np.abs(20 * np.log10(gain)))
    y = resample_poly(x, up, down)
    for index in range(0, len(y) - 1, len(y) // 9):
        print(f"{rate_hz}\t{index}\t{y[index]:.12f}\t{ripple_db:.4f}")
