"""Trials of the statistics behind `src/measure/same_tape.rs`: known common and own parts, how often k = 2 holds the truth.

Run: python3 same_tape_trials.py > same_tape_trials.tsv (numpy 2.4.6, scipy 1.17.1). It sets the factors CALIBRATED and CORRELATED; a
person read the table: every share of held truths should be 0.9 or more (60 trials).
"""

import numpy as np
import scipy.signal.windows as windows

RATE, LENGTH_S, TRIALS = 500.0, 64.0, 60
CALIBRATED, CORRELATED = 1.4, 2.5
N = int(RATE * LENGTH_S)
T = np.arange(N) / RATE
F = np.fft.rfftfreq(N, 1 / RATE)
RNG = np.random.default_rng(1)
WINDOW = windows.tukey(N, 0.1)
WINDOW /= np.sqrt(np.mean(WINDOW**2))


def one_over_f(rms, low=0.2, high=200):
    z = np.zeros(len(F), complex)
    band = (F >= low) & (F <= high)
    z[band] = (RNG.normal(size=band.sum()) + 1j * RNG.normal(size=band.sum())) / np.sqrt(F[band])
    x = np.fft.irfft(z, N)
    return x / np.std(x) * rms


def lines(rows):
    return sum((p * np.sin(2 * np.pi * hz * T + RNG.uniform(0, 2 * np.pi)) for hz, p in rows), np.zeros(N))


def ball(m):
    return {1: 2, 2: np.pi}.get(m) or ball(m - 2) * 2 * np.pi / m


def chance(n, agreement):
    if n == 2:
        return np.arccos(np.clip(2 * agreement - 1, -1, 1)) / np.pi
    close = ball(n - 1) * (n * n * np.maximum(1 - agreement, 0)) ** ((n - 1) / 2)
    close /= np.sqrt(float(n) ** (n - 2)) * (2 * np.pi) ** (n - 1)
    return np.minimum(close, np.exp(-n * agreement))


def shares(playings, low=0.1, high=200):
    n = len(playings)
    band = (F >= low) & (F <= high)
    z = np.array([np.fft.rfft(x * WINDOW) * np.sqrt(2) / N for x in playings])[:, band]
    mean = z.mean(0)
    own = (abs(z - mean) ** 2).sum(0) / (n - 1)
    common = abs(mean) ** 2 - own / n
    all_of = np.mean(abs(z) ** 2, 0)
    p = chance(n, abs(mean) ** 2 / np.maximum(all_of, 1e-300))
    kept = np.maximum(common, 0)
    variance = CALIBRATED * (own**2 / (n * (n - 1)) + 2 * (kept + own / n) * (own + p * all_of) / n + p * kept**2)
    own_variance = variance + CALIBRATED * 2 * kept * own
    uncertainty = [2 * np.sqrt(CORRELATED * v.sum()) for v in (variance, own_variance)]
    return common.sum(), uncertainty[0], (abs(z) ** 2).sum(1) - common.sum(), uncertainty[1]


CASES = {
    "noise in both": (0.05, 0.05, [], []),
    "a line in both at one rate": (0.03, 0.03, [(4.1, 0.08)], [(4.1, 0.08), (9.3, 0.05)]),
    "lines of the playback": (0.02, 0.03, [], [(4.1, 0.12), (24, 0.05)]),
    "a line of the recording": (0.02, 0.03, [(4.1, 0.12)], []),
    "hardly any recording": (0.005, 0.08, [], [(4.1, 0.1)]),
}
print("playings\tcase\trecording_held\tplayback_held\trecording_uncertainty_over_power")
for n in (2, 3, 4, 6):
    for name, (common_rms, own_rms, common_lines, own_lines) in CASES.items():
        held, own_held, wide = 0, 0, []
        for _ in range(TRIALS):
            tape = one_over_f(common_rms) + lines(common_lines)
            own = [one_over_f(own_rms) + lines(own_lines) for _ in range(n)]
            power, uncertainty, owns, own_uncertainty = shares([tape + x for x in own])
            held += abs(power - np.var(tape)) <= uncertainty
            own_held += np.mean(abs(owns - np.array([np.var(x) for x in own])) <= own_uncertainty)
            wide.append(uncertainty / np.var(tape))
        print(f"{n}\t{name}\t{held / TRIALS:.2f}\t{own_held / TRIALS:.2f}\t{np.mean(wide):.2f}")
