"""Fits the sections of the pink filter in src/signal/noise.rs and prints its tables.

Made with Python 3, numpy 2.4.6, scipy 1.17.1. Looked at by: the largest error printed for each rate (dB, 19.5 Hz to
20.5 kHz) and the Welch spectrum of a written programme. The tables are frozen; this script only says where they come
from. Another version of scipy may differ in the last digits.
"""

import numpy as np
from scipy.optimize import least_squares

SECTIONS = 7
BLOCK_HZ = 8.0

for rate_hz in (44100, 48000, 96000):
    hz = np.geomspace(19.5, 20500, 900)
    delay = np.exp(-2j * np.pi * hz / rate_hz)
    blocking_pole = np.exp(-2 * np.pi * BLOCK_HZ / rate_hz)

    def split(x):
        # tanh keeps poles and zeros inside the unit circle.
        return np.tanh(x[:SECTIONS]), np.tanh(x[SECTIONS : 2 * SECTIONS])

    def error_db(x):
        poles, zeros = split(x)
        h = (1 - delay) / (1 - blocking_pole * delay)
        for pole in poles:
            h = h / (1 - pole * delay)
        for zero in zeros:
            h = h * (1 - zero * delay)
        return 20 * np.log10(abs(h)) + 10 * np.log10(hz) - x[-1]

    start = np.log(np.geomspace(15, rate_hz * 0.6, SECTIONS))
    step = start[1] - start[0]
    place = lambda log_hz: np.arctanh(np.exp(-2 * np.pi * np.exp(log_hz) / rate_hz))
    x0 = np.concatenate([place(start), place(start + 0.5 * step), [0.0]])
    x0[-1] = np.mean(error_db(x0))
    fit = least_squares(error_db, x0, max_nfev=5000, xtol=1e-15, ftol=1e-15)
    poles, zeros = (np.sort(part)[::-1] for part in split(fit.x))
    print(rate_hz, "largest error", abs(fit.fun).max(), "dB")
    print((1.0, round(float(blocking_pole), 9)))
    for zero, pole in zip(zeros, poles):
        print((round(float(zero), 9), round(float(pole), 9)))
