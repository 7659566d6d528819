"""Makes tones with known harmonics and difference tones, under wow and flutter, and measures them with numpy.

Versions: Python 3.11.7, numpy 2.4.6, scipy 1.17.1 (requirements.txt). Run from the repository's root:

    python3 tests/reference/distortion_reference.py

It writes distortion_reference.tsv beside itself, always the same bytes with the same versions. How it was looked at:
every row carries what theory expects beside what was measured, and the script fails if they part by more than 1 %.

Signals, 48 kHz, 144000 samples, t = n / 48000, noise as in make_signal_reference.py (seed in the table, factor 0.0008:
rms -63 dBFS of a full-scale sine):

  tape(t) = t + sum a_i / (2 pi f_i) sin(2 pi f_i t + p_i), for (f, a, p) in (0.8 Hz, 0.001, 0.3), (7 Hz, 0.001, 1.1),
            (60 Hz, 0.0005, 2.0), all a times `flutter`
  ladder:   x = 2 pi hz tape(t); 0.25 (T1 + k2 T2 + k3 T3 + k5 T5)(cos x) + noise. Chebyshev's polynomials of a cosine are
            its harmonics exactly: Tn(cos x) = cos(n x). The polynomials are computed by their recurrence, so the tone is
            really bent, not put together.
  twin:     u = 0.15 cos(2 pi f1 tape(t)) + 0.15 cos(2 pi f2 tape(t)); u + b u^2 - c u^3 + noise.
            By hand: the tone at f2 - f1 has b A^2, those at 2 f1 - f2 and 2 f2 - f1 have 3/4 c A^3 each, the tones
            themselves A - 9/4 c A^3 (A = 0.15).

Measured: numpy.linalg.lstsq of cosines and sines of the true phases (the script knows the tape, the library must follow
it), samples 0 to 144000 without a window. Harmonics are in percent of the root of the sum of the squares of fundamental and
harmonics; difference tones in percent of the sum of both tones' amplitudes, the two of third order added.
"""

import pathlib

import numpy as np
import scipy

HERE = pathlib.Path(__file__).parent
RATE, COUNT = 48000, 144000
HEAD = "# Made by distortion_reference.py (numpy 2.4.6, scipy 1.17.1), which says how. Do not edit by hand.\n"
LINES = [(0.8, 0.001, 0.3), (7.0, 0.001, 1.1), (60.0, 0.0005, 2.0)]
assert np.__version__ == "2.4.6" and scipy.__version__ == "1.17.1"


def noise(count, seed):
    x, out = seed, np.empty(count)
    for n in range(count):
        x = (x * 6364136223846793005 + 1442695040888963407) & 0xFFFFFFFFFFFFFFFF
        out[n] = (x >> 11) * 2.0**-52 - 1.0
    return out


def tape(flutter):
    t = np.arange(COUNT) / RATE
    return t + sum(flutter * a / (2 * np.pi * f) * np.sin(2 * np.pi * f * t + p) for f, a, p in LINES)


def amplitudes(samples, phases):
    columns = [f(x) for x in phases for f in (np.cos, np.sin)]
    found = np.linalg.lstsq(np.stack(columns, axis=1), samples, rcond=None)[0]
    return np.hypot(found[0::2], found[1::2])


def ladder(hz, k, flutter, seed):
    x = 2 * np.pi * hz * tape(flutter)
    t1 = np.cos(x)
    t2 = 2 * t1 * t1 - 1
    t3 = 2 * t1 * t2 - t1
    t4 = 2 * t1 * t3 - t2
    t5 = 2 * t1 * t4 - t3
    samples = 0.25 * (t1 + k[0] * t2 + k[1] * t3 + k[2] * t5) + 0.0008 * noise(COUNT, seed)
    found = amplitudes(samples, [n * x for n in range(1, 8)])
    percent = 100 * found / np.sqrt(np.sum(found**2))
    theory = 100 * np.array(k) / np.sqrt(1 + np.sum(np.square(k)))
    return samples, percent[[1, 2, 4]], theory


def twin(f1, f2, b, c, flutter, seed):
    place = tape(flutter)
    x, y = 2 * np.pi * f1 * place, 2 * np.pi * f2 * place
    u = 0.15 * np.cos(x) + 0.15 * np.cos(y)
    samples = u + b * u**2 - c * u**3 + 0.0008 * noise(COUNT, seed)
    tone1, tone2, second, below, above = amplitudes(samples, [x, y, y - x, 2 * x - y, 2 * y - x])
    percent = 100 * np.array([second, below + above]) / (tone1 + tone2)
    tone = 0.15 - 9 / 4 * c * 0.15**3
    return samples, percent, 100 * np.array([b * 0.15**2, 1.5 * c * 0.15**3]) / (2 * tone)


rows, beginning = [], None
for case, (hz, k, flutter, seed) in enumerate(
    [
        (315, (0.003, 0.003, 0.003), 1, 11),
        (315, (0.005, 0.03, 0.004), 1, 12),
        (315, (0.01, 0.1, 0.02), 3, 13),
        (333, (0.004, 0.01, 0.003), 3, 14),
        (1000, (0.003, 0.02, 0.004), 1, 15),
    ]
):
    samples, got, want = ladder(hz, k, flutter, seed)
    beginning = samples[:4] if beginning is None else beginning
    for order, value, theory in zip((2, 3, 5), got, want):
        assert abs(value / theory - 1) < 0.01, (case, order, value, theory)
        rows.append(("ladder", hz, 0, *k, flutter, seed, f"K{order}", value, theory))
for f1, f2, b, c, flutter, seed in [(10000, 10930, 0.1, 0.5, 1, 21), (13000, 13930, 0.05, 1.0, 1, 22), (10000, 10930, 0.2, 2.0, 3, 23)]:
    samples, got, want = twin(f1, f2, b, c, flutter, seed)
    for order, value, theory in zip(("second", "third"), got, want):
        assert abs(value / theory - 1) < 0.01, (f1, order, value, theory)
        rows.append(("twin", f1, f2, b, c, 0, flutter, seed, order, value, theory))
with open(HERE / "distortion_reference.tsv", "w") as out:
    out.write(HEAD)
    out.write("# The first samples of the first signal: " + ", ".join(f"{x:.15g}" for x in beginning) + "\n")
    out.write("signal\tf1_hz\tf2_hz\ta\tb\tc\tflutter\tseed\tquantity\tpercent\ttheory\n")
    for row in rows:
        out.write("\t".join(cell if isinstance(cell, str) else f"{cell:.12g}" for cell in row) + "\n")
