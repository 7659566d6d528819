"""Makes the reference numbers for the delay between channels with numpy and scipy.

Versions: Python 3.11.7, numpy 2.4.6, scipy 1.17.1 (requirements.txt). Run from the repository's root:

    python3 tests/reference/skew_reference.py

It writes skew_reference.tsv beside itself, always the same bytes with the same versions. How it was looked at: the true
delay stands beside the one that scipy's correlation finds, and the script fails if they part by more than 0.1 us.

The signal can be made again anywhere, because nothing in it is random. noise(n) as in make_signal_reference.py. u is
noise with seed 1 at 384 kHz, three times summed over 16 neighbours (u[n] + ... + u[n+15]), times 64 / 16^3. Left is u[8 n + 64], right is u[8 n + 64 - shift], n = 0..575999 (12 s at 48 kHz): right lags
by shift / 384 kHz. Each channel has noise of its own, seeds 2 and 3, times 0.02.

a) For each shift, the lag of the maximum of scipy.signal.correlate(right, left, mode="full"), found between the samples
   by the maximum of its band-limited interpolation (Fourier series of the 64 lags around the peak would leak; the
   cross-spectrum of the whole is evaluated instead: sum of Re(S e^(j w tau)) over all bins, by
   scipy.optimize.minimize_scalar within half a sample of the whole-sample peak).
b) For shift 13, scipy.signal.csd and welch (periodic Hann of 1920, half overlap, no detrending) over the first 24
   segments, summed over bands: phase in rad and coherence. A band holds the bins from ceil(low / 25) to below
   ceil(high / 25).
"""

import pathlib

import numpy as np
from scipy import fft, optimize, signal

RATE = 48_000
COUNT = 576_000
SHIFTS = [0, 1, 5, 13, -3, -22, 31]
BANDS = [(600, 800), (1000, 1500), (3000, 3500), (8000, 9000)]


def noise(count, seed):
    out = np.empty(count)
    x = seed
    for n in range(count):
        x = (x * 6364136223846793005 + 1442695040888963407) % 2**64
        out[n] = (x >> 11) * 2.0**-52 - 1
    return out


def summed(x):
    total = np.cumsum(np.concatenate([[0.0], x]))
    return total[16:] - total[:-16]


def main():
    u = noise(8 * COUNT + 256, 1)
    for _ in range(3):
        u = summed(u)
    u *= 64 / 16**3
    own = [0.02 * noise(COUNT, seed) for seed in (2, 3)]
    index = 8 * np.arange(COUNT) + 64
    left = u[index] + own[0]
    lines = []
    for shift in SHIFTS:
        right = u[index - shift] + own[1]
        lag = int(np.argmax(signal.correlate(right, left, mode="full", method="fft"))) - (COUNT - 1)
        cross = fft.rfft(right, 2 * COUNT) * np.conj(fft.rfft(left, 2 * COUNT))
        omega = 2 * np.pi * fft.rfftfreq(2 * COUNT, 1 / RATE)
        at = lambda tau: -np.sum((cross * np.exp(1j * omega * tau)).real)
        found = optimize.minimize_scalar(
            at, bounds=((lag - 0.5) / RATE, (lag + 0.5) / RATE), method="bounded", options={"xatol": 1e-10}
        ).x
        true = shift / (8 * RATE)
        assert abs(found - true) < 1e-7, (shift, found, true)
        lines.append(f"{shift}\tcorrelation\t\t\t{true * 1e6:.9g}\t{found * 1e6:.6f}\t\t")
    right = u[index - 13] + own[1]
    n = 1920 + 23 * 960
    options = dict(fs=RATE, window="hann", nperseg=1920, noverlap=960, detrend=False)
    cross = signal.csd(left[:n], right[:n], **options)[1]
    powers = [signal.welch(x[:n], **options)[1] for x in (left, right)]
    for low, high in BANDS:
        bins = slice(-(-low // 25), -(-high // 25))
        total = cross[bins].sum()
        coherence = abs(total) ** 2 / (powers[0][bins].sum() * powers[1][bins].sum())
        lines.append(f"13\tband\t{low}\t{high}\t\t\t{np.angle(total):.12g}\t{coherence:.12g}")
    head = [
        "# Made by tests/reference/skew_reference.py with numpy 2.4.6 and scipy 1.17.1; its head says what the columns are.",
        "# First samples of the left channel: " + ", ".join(f"{x:.15g}" for x in left[:4]),
        "shift\twhat\tlow_hz\thigh_hz\ttrue_us\tcorrelation_us\tphase_rad\tcoherence",
    ]
    path = pathlib.Path(__file__).with_suffix(".tsv")
    path.write_text("\n".join(head + lines) + "\n")


main()
