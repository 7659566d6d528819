"""Flutter figures by scipy, for tests/reference_flutter.rs, and the fit of the quasi-peak indicator.

Made with Python 3.11.7, numpy 2.4.6, scipy 1.17.1 (requirements.txt). Run from anywhere:

    python3 tests/reference/make_flutter_reference.py           writes flutter_figures_reference.tsv, flutter_indicator_fit.tsv
    python3 tests/reference/make_flutter_reference.py --search  also searches the indicator's time constants (a minute or two)

Figures: tones of 16 s, t = n / 48000, x(n) = 0.5 sin(2 pi 3150 (t + m(t))) + 0.0005 noise(n) (noise and seeds as in
make_signal_reference.py), m(t) = -sum a_i cos(2 pi f_i t + p_i) / (2 pi f_i): the frequency is
3150 (1 + sum a_i sin(2 pi f_i t + p_i)) Hz. scipy.signal.hilbert of the whole tone, multiplied by exp(-j 2 pi 3150 t), Kaiser
low-pass (pass 250 Hz, stop 350 Hz, 100 dB), unwrapped angle, difference of neighbours, every 24th value (2 kHz). In percent of the mean
frequency; best parabola off (numpy.polyfit); 0.1 to 200 Hz by a DFT over the tone, weighted by the
table's rows (scipy's PchipInterpolator over log frequency) with the phase of scipy.signal.freqs_zpk.
From 1.5223 to 14.4789 s (what the meter measures): rms, peak, and the magnitude exceeded 5 % of the time (numpy.quantile). Nothing of the library's way
(decimating filter, differentiator of eighth order, noise subtracted) is used.

Indicator: the model of src/measure/flutter_indicator.rs, written here once more with one loop at 2 kHz, the weighting by the DFT of
one second (which the pulses repeat). The table holds what it shows for every row of tests/tables/iec-60386-quasi-peak.tsv.
"""

import pathlib
import sys

import numpy as np
from scipy import interpolate, optimize, signal

from make_signal_reference import FLUTTER_POLES, FLUTTER_ZEROS, RATE, column, noise

HERE = pathlib.Path(__file__).resolve().parent
HEAD = "# Made by make_flutter_reference.py (numpy 2.4.6, scipy 1.17.1), which says how. Do not edit by hand.\n"
CARRIER = 3150.0
SECONDS = 16
# Name, seed, lines (Hz, percent peak, phase in rad). The same list is in tests/reference_flutter.rs.
SIGNALS = [
    ("one line", 11, [(4.0, 0.1, 0.0)]),
    ("wow and flutter", 12, [(0.8, 0.12, 0.4), (6.0, 0.04, 1.0), (9.3, 0.05, 2.0), (61.0, 0.02, 3.0)]),
    ("many parts", 13, [(0.55, 0.05, 0.0), (1.7, 0.04, 1.1), (2.43, 0.06, 2.2), (4.86, 0.03, 3.3), (12.7, 0.03, 4.4),
                        (25.0, 0.02, 5.5), (98.3, 0.02, 0.6)]),
    ("fast only", 14, [(33.3, 0.04, 0.0), (50.0, 0.05, 1.0), (147.0, 0.03, 2.0)]),
]
# Charge, discharge, needle (s), share of the larger charge.
INDICATOR = (0.045, 0.6, 0.13, 0.75)


def weighting(hz):
    _, h = signal.freqs_zpk(-np.array(FLUTTER_ZEROS), -np.array(FLUTTER_POLES), 1.0, worN=hz)
    name = "iec-60386-flutter-weighting.tsv"
    x, y = np.log(column(name, "modulation_hz")), column(name, "response_db")
    # Beyond the table's last row the slope of the last two goes on: short pulses reach there.
    above = y[-1] + (y[-1] - y[-2]) / (x[-1] - x[-2]) * (np.log(hz) - x[-1])
    level = np.where(hz > 200, above, interpolate.PchipInterpolator(x, y)(np.clip(np.log(hz), x[0], x[-1])))
    return np.where(hz >= 0.1, 10 ** (level / 20), 0) * h / abs(h)


def figures(seed, lines):
    t = np.arange(SECONDS * RATE) / RATE
    moved = -sum(a / 100 * np.cos(2 * np.pi * f * t + p) / (2 * np.pi * f) for f, a, p in lines)
    x = 0.5 * np.sin(2 * np.pi * CARRIER * (t + moved)) + 0.0005 * noise(len(t), seed)
    taps, beta = signal.kaiserord(100, 100 / (RATE / 2))
    low_pass = signal.firwin(taps | 1, 300, window=("kaiser", beta), fs=RATE)
    base = signal.fftconvolve(signal.hilbert(x) * np.exp(-2j * np.pi * CARRIER * t), low_pass, mode="same")
    hz = np.diff(np.unwrap(np.angle(base))) * RATE / (2 * np.pi)
    edge = int(0.1 * RATE)  # the low-pass and the transform's own ends
    hz, at = hz[edge:-edge:24], (np.arange(len(hz)) + 0.5)[edge:-edge:24] / RATE
    percent = 100 * (hz - hz.mean()) / (CARRIER + hz.mean())
    percent = percent - np.polyval(np.polyfit(at, percent, 2), at)
    # Mirrored, as no end should jump.
    mirrored = np.concatenate([percent[::-1], percent, percent[::-1], percent])
    bins = np.fft.rfft(mirrored)
    f = np.fft.rfftfreq(len(mirrored), 1 / 2000)
    inside = (f > 0.0999) & (f < 200.5)
    middle = slice(len(percent), 2 * len(percent))
    keep = (at > 1.5223) & (at < 14.4789)
    flat = np.fft.irfft(np.where(inside, bins, 0), len(mirrored))[middle][keep]
    response = np.zeros(len(f), complex)
    response[inside] = weighting(f[inside])
    weighted = np.fft.irfft(bins * response, len(mirrored))[middle][keep]
    rms = lambda y: np.sqrt(np.mean(y**2))
    return {"unweighted_rms_percent": rms(flat), "unweighted_peak_percent": abs(flat).max(),
            "weighted_rms_percent": rms(weighted), "two_sigma_percent": np.quantile(abs(weighted), 0.95)}, x[:4]


def shown(values, constants, rate=2000):
    charge, discharge, needle, larger = constants
    reached = [1 - np.exp(-1 / (rate * tau)) for tau in (charge, discharge, needle)]
    up, down, at, out = 0.0, 0.0, 0.0, np.empty(len(values))
    for n, x in enumerate(values.tolist()):
        up *= 1 - reached[1]
        down *= 1 - reached[1]
        up += reached[0] * max(x - up, 0.0)
        down += reached[0] * max(-x - down, 0.0)
        at += reached[2] * (larger * max(up, down) + (1 - larger) * min(up, down) - at)
        out[n] = at
    return out


def table():
    lines = (HERE.parent / "tables" / "iec-60386-quasi-peak.tsv").read_text().splitlines()
    rows = [line.split("\t") for line in lines if line and line[0] != "#"]
    return [dict(zip(rows[0], row)) for row in rows[1:]]


def indications(constants):
    t = np.arange(2000) / 2000
    hundred = shown(np.tile(np.sin(2 * np.pi * 4 * t), 6), constants)[8000:].max()
    f = np.fft.rfftfreq(2000, 1 / 2000)
    response = np.zeros(len(f), complex)
    response[1:] = weighting(f[1:])
    out = []
    for row in table():
        pulse = 2.0 * (t < float(row["pulse_ms"]) / 1000)
        late = shown(np.tile(np.fft.irfft(np.fft.rfft(pulse) * response, 2000), 8), constants)[10000:]
        out.append(100 * (late.max() / hundred if row["kind"] == "rise" else late.min() / late.max()))
    return np.array(out)


def main():
    rows, starts = [], []
    for name, seed, lines in SIGNALS:
        found, first = figures(seed, lines)
        starts.append(f"# {name}: first samples " + ", ".join(f"{v:.15g}" for v in first))
        # Theory: amplitudes and weights of the lines (over no whole number of periods, and with the noise on top).
        gains = abs(weighting(np.array([f for f, _, _ in lines])))
        for kind, g in [("unweighted", np.ones(len(lines))), ("weighted", gains)]:
            theory = np.sqrt(sum((a * w) ** 2 for (_, a, _), w in zip(lines, g)) / 2)
            got = found[f"{kind}_rms_percent"]
            assert abs(got - theory) < 0.02 * theory, (name, kind, got, theory)
        rows += [f"{name}\t{kind}\t{value:.9g}" for kind, value in found.items()]
    (HERE / "flutter_figures_reference.tsv").write_text(
        HEAD + "\n".join(starts) + "\nsignal\tquantity\tvalue\n" + "\n".join(rows) + "\n")

    found = indications(INDICATOR)
    rows = []
    for row, got in zip(table(), found):
        want, within = float(row["indication_percent"]), float(row["tolerance_plus_percent"])
        assert abs(got - want) <= within, (row, got)
        rows.append(f"{row['kind']}\t{row['pulse_ms']}\t{want:g}\t{got:.4f}")
    (HERE / "flutter_indicator_fit.tsv").write_text(
        HEAD + "# Constants (charge s, discharge s, needle s, share of the larger): "
        + ", ".join(map(str, INDICATOR)) + "\nkind\tpulse_ms\ttable_percent\tshown_percent\n" + "\n".join(rows) + "\n")
    if "--search" in sys.argv:
        want = np.array([float(row["indication_percent"]) for row in table()])
        within = np.array([float(row["tolerance_plus_percent"]) for row in table()])
        miss = lambda taus: abs((indications((*np.exp(taus), INDICATOR[3])) - want) / within).max()
        best = optimize.minimize(miss, np.log(INDICATOR[:3]), method="Nelder-Mead", options={"maxiter": 60})
        print("largest share of a tolerance:", miss(np.log(INDICATOR[:3])), "as built;", best.fun, "at", np.exp(best.x))


if __name__ == "__main__":
    main()
