"""Makes the reference numbers for the signal room with numpy and scipy.

Versions: Python 3.11.7, numpy 2.4.6, scipy 1.17.1 (requirements.txt). Run from the repository's root:

    python3 tests/reference/make_signal_reference.py

It writes, beside itself, welch_reference.tsv, flutter_reference.tsv, weighting_reference.tsv,
third_octave_reference.tsv and low_pass_reference.tsv, always the same bytes with the same versions. How they were
looked at: every file carries the value that theory expects beside the computed one where there is one, and the script
fails if they part.

The test signals can be made again anywhere, because nothing in them is random:

  noise(n)  x[0] = seed, x[n+1] = x[n] * 6364136223846793005 + 1442695040888963407 mod 2^64 (unsigned 64 bits);
            noise(n) = (x[n+1] >> 11) * 2^-52 - 1: uniform in [-1, 1), variance 1/3. The first value uses x[1].
  sine(n)   sin(2 pi ((hz * n) mod rate) / rate) with whole hz, n and rate, reduced as integers.

a) welch: 48 kHz, 131072 samples, 0.5 sine(315) + 0.1 sine(1000) + 0.05 sine(10000) + 0.01 noise, seed 1.
   scipy.signal.welch, periodic Hann of 8192, 50 % overlap, no detrending, one-sided density (1/Hz). Band power is the
   sum of density * bin width over the bins from_bin..=to_bin.
b) flutter: 48 kHz, 24 s, t = n / 48000, 0.5 sin(2 pi 3150 (t - sum a_i cos(2 pi f_i t) / (2 pi f_i))) + 0.0005 noise,
   seed 2; so the frequency is 3150 (1 + sum a_i sin(2 pi f_i t)) Hz. Lines: 0.8 Hz with a = 0.0005, 6 Hz with 0.001.
   Quadrature demodulation at 3150 Hz: times exp(-j 2 pi 3150 t), linear-phase Kaiser low-pass (pass 250 Hz, stop
   750 Hz, 100 dB), unwrapped angle, difference of neighbours, every 24th value (2 kHz), from 2 to 22 s: whole periods
   of both lines. Its DFT, limited to 0.1 to 200 Hz inclusive, gives rms and line amplitudes; the weighted rms is the
   same with every bin times the flutter weighting model's magnitude.
c) weighting: flutter weighting model and A-weighting by scipy.signal.freqs_zpk, ITU-R BS.468 network by
   scipy.signal.freqs, at the tables' frequencies; 0 dB at 4 Hz and at 1 kHz.
d) third octaves: 48 kHz, 524288 samples of noise, seed 3, through six digital sections
   (1 - exp(-2 pi z_k / rate) q) / (1 - exp(-2 pi p_k / rate) q), q = one sample's delay, p_k = 5 * 4^k Hz, z_k = 2 p_k,
   k = 0..5: noise that falls 3 dB an octave with a small ripple. Band level: Welch as in a) with 32768, the density
   taken as constant over each bin's width and integrated between the exact edges; dB re 1. expected_db is the
   integral of the filter's power response times 1/3 (no estimation noise).
e) low-pass: Kaiser designs by scipy.signal.firwin, their real (zero-phase) response by scipy.signal.freqz. Length
   2 ceil((A - 8) / (2.285 * 2 pi transition / rate) / 2) + 1 for A dB (Oppenheim and Schafer, 7.5.3), corner in the
   middle of the transition, beta by scipy.signal.kaiser_beta. The library counts the window's two outermost values,
   which are 1/I0(beta), as lying just outside the taps: so firwin is asked for two taps more, which are cut off again
   and the rest scaled to a sum of 1.
"""

import pathlib

import numpy as np
from scipy import signal

HERE = pathlib.Path(__file__).resolve().parent
TABLES = HERE.parent / "tables"
RATE = 48000
HEAD = "# Made by make_signal_reference.py (numpy 2.4.6, scipy 1.17.1), which says how. Do not edit by hand.\n"

# As in src/trade; the tests there hold them against the tables.
FLUTTER_ZEROS = [0.0] * 3 + [0.1393901923, 1.402018445, 6.294906993, 72.74460357]
FLUTTER_POLES = [0.4272866813] * 4 + [3.253633328] * 2 + [13.2379455, 89.8857103]
A_POLES = [20.598997, 20.598997, 107.65265, 737.86223, 12194.217, 12194.217]
# BS.468 network, powers of s/(2 pi) in Hz, highest first.
NETWORK = [4.737338981378384e-24, 1.306612257412824e-19, 2.043828333606125e-15, 2.118150887518656e-11,
           1.363894795463638e-7, 5.559488023498642e-4, 1.0]


def noise(count, seed):
    x, out = seed, np.empty(count)
    for n in range(count):
        x = (x * 6364136223846793005 + 1442695040888963407) & 0xFFFFFFFFFFFFFFFF
        out[n] = (x >> 11) * 2.0**-52 - 1.0
    return out


def sine(hz, count):
    n = np.arange(count, dtype=np.int64)
    return np.sin(2 * np.pi * ((hz * n) % RATE) / RATE)


def db(power):
    return 10 * np.log10(power)


def zpk_db(zeros, poles, hz, reference_hz):
    _, h = signal.freqs_zpk(-np.array(zeros), -np.array(poles), 1.0, worN=np.append(hz, reference_hz))
    level = 20 * np.log10(np.abs(h))
    return level[:-1] - level[-1]


def column(table, name):
    rows = [line.split("\t") for line in (TABLES / table).read_text().splitlines() if line and line[0] != "#"]
    at = rows[0].index(name)
    return np.array([float(row[at]) for row in rows[1:]])


def write(name, head, heads, rows):
    with open(HERE / name, "w") as out:
        out.write(HEAD + "".join(f"# {line}\n" for line in head) + "\t".join(heads) + "\n")
        for row in rows:
            out.write("\t".join(cell if isinstance(cell, str) else f"{cell:.12g}" for cell in row) + "\n")


def check(got, want, within, what):
    assert abs(got - want) <= within, f"{what}: {got}, theory {want} +- {within}"


def welch():
    count = 131072
    x = 0.5 * sine(315, count) + 0.1 * sine(1000, count) + 0.05 * sine(10000, count) + 0.01 * noise(count, 1)
    hz, density = signal.welch(x, RATE, window="hann", nperseg=8192, noverlap=4096, detrend=False, scaling="density")
    width = hz[1]
    noise_density = 0.01**2 / 3 / (RATE / 2)
    rows = []
    for what, low, high, tone in [("315 Hz", 45, 63, 0.5), ("1 kHz", 161, 181, 0.1), ("10 kHz", 1697, 1717, 0.05),
                                  ("noise 2 to 9 kHz", 342, 1536, 0.0), ("noise 11 to 23 kHz", 1878, 3925, 0.0)]:
        power = density[low:high + 1].sum() * width
        theory = tone**2 / 2 + noise_density * width * (high - low + 1)
        # A tone's skirts outside the band and the noise of the estimate.
        check(db(power), db(theory), 0.01 if tone else 0.3, what)
        rows.append((what, str(low), str(high), power, theory))
    starts = ", ".join(f"{v:.15g}" for v in x[:4])
    write("welch_reference.tsv", [f"a) band powers. The first samples of the signal: {starts}",
                                  f"Mean square of all samples: {np.mean(x**2):.15g}"],
          ["band", "from_bin", "to_bin", "power", "theory"], rows)


def flutter():
    count, carrier, lines = 24 * RATE, 3150.0, [(0.8, 0.0005), (6.0, 0.001)]
    t = np.arange(count) / RATE
    bent = t - sum(a * np.cos(2 * np.pi * f * t) / (2 * np.pi * f) for f, a in lines)
    x = 0.5 * np.sin(2 * np.pi * carrier * bent) + 0.0005 * noise(count, 2)
    taps, beta = signal.kaiserord(100, 500 / (RATE / 2))
    taps |= 1
    low_pass = signal.firwin(taps, 500, window=("kaiser", beta), fs=RATE)
    base = signal.fftconvolve(x * np.exp(-2j * np.pi * carrier * t), low_pass, mode="same")
    # The difference belongs half a sample later than its first value: of no consequence for amplitudes.
    deviation = np.diff(np.unwrap(np.angle(base))) * RATE / (2 * np.pi * carrier)
    part = deviation[2 * RATE:22 * RATE:24]
    spectrum = np.fft.rfft(part) / len(part)
    hz = np.fft.rfftfreq(len(part), 24 / RATE)
    inside = (hz > 0.0999) & (hz < 200.0001)
    amplitude = 2 * np.abs(spectrum) * 100
    weight = np.zeros_like(hz)
    weight[inside] = 10 ** (zpk_db(FLUTTER_ZEROS, FLUTTER_POLES, hz[inside], 4.0) / 20)
    rows = []

    def say(what, got, theory, within):
        check(got, theory, within, what)
        rows.append((what, got, theory))

    say("mean_error_percent", 100 * part.mean(), 0.0, 1e-5)
    say("unweighted_rms_percent", np.sqrt(np.sum(amplitude[inside] ** 2) / 2),
        100 * np.sqrt(sum(a * a for _, a in lines) / 2), 0.002)
    gains = 10 ** (zpk_db(FLUTTER_ZEROS, FLUTTER_POLES, np.array([f for f, _ in lines]), 4.0) / 20)
    say("weighted_rms_percent", np.sqrt(np.sum((weight * amplitude)[inside] ** 2) / 2),
        100 * np.sqrt(sum((g * a) ** 2 for g, (_, a) in zip(gains, lines)) / 2), 0.001)
    for f, a in lines:
        say(f"line_{f:g}_hz_percent_peak", amplitude[round(f * 20)], 100 * a, 1e-4)
        say(f"line_{f:g}_hz_weighted_percent_peak", (weight * amplitude)[round(f * 20)],
            100 * a * gains[[l[0] for l in lines].index(f)], 1e-4)
    write("flutter_reference.tsv", ["b) quadrature demodulation. theory leaves out the noise, which adds to the rms.",
                                    "The first samples of the signal: " + ", ".join(f"{v:.15g}" for v in x[:4])],
          ["quantity", "value", "theory"], rows)


def weighting():
    rows = []
    hz = column("iec-60386-flutter-weighting.tsv", "modulation_hz")
    rows += [("flutter", f, v) for f, v in zip(hz, zpk_db(FLUTTER_ZEROS, FLUTTER_POLES, hz, 4.0))]
    hz = column("iec-61672-1-a-weighting.tsv", "exact_hz")
    rows += [("a", f, v) for f, v in zip(hz, zpk_db([0.0] * 4, A_POLES, hz, 1000.0))]
    hz = column("itu-r-468-weighting.tsv", "hz")
    _, h = signal.freqs([1.0, 0.0], NETWORK, worN=np.append(hz, 1000.0))
    level = 20 * np.log10(np.abs(h))
    rows += [("itu468", f, v) for f, v in zip(hz, level[:-1] - level[-1])]
    for (kind, f, got), want in zip(rows, np.concatenate([
            column("iec-60386-flutter-weighting.tsv", "response_db"), column("iec-61672-1-a-weighting.tsv", "a_db"),
            column("itu-r-468-weighting.tsv", "response_db")])):
        if f != 0.1:  # no tolerance there, and the model gives it up
            check(got, want, 0.25 if kind == "flutter" else 0.0505, f"{kind} {f} Hz")
    write("weighting_reference.tsv", ["c) responses of the analogue prototypes, dB."], ["curve", "hz", "db"], rows)


def third_octaves():
    count = 524288
    poles = 5.0 * 4.0 ** np.arange(6)
    x = noise(count, 3)
    zs, ps = np.exp(-2 * np.pi * 2 * poles / RATE), np.exp(-2 * np.pi * poles / RATE)
    for z, p in zip(zs, ps):
        x = signal.lfilter([1, -z], [1, -p], x)
    hz, density = signal.welch(x, RATE, window="hann", nperseg=32768, noverlap=16384, detrend=False, scaling="density")
    edges = np.concatenate([[0.0], hz[:-1] + hz[1] / 2, [RATE / 2]])
    running = np.concatenate([[0.0], np.cumsum(density * np.diff(edges))])
    rows = []
    for number in range(-14, 14):
        low, high = 1000 * 10 ** (0.1 * (number - 0.5)), 1000 * 10 ** (0.1 * (number + 0.5))
        power = np.interp(high, edges, running) - np.interp(low, edges, running)
        f = np.linspace(low, high, 4001)
        q = np.exp(-2j * np.pi * f / RATE)
        h2 = np.prod([np.abs((1 - z * q) / (1 - p * q)) ** 2 for z, p in zip(zs, ps)], axis=0)
        expected = np.trapezoid(h2, f) / 3 / (RATE / 2)
        # Four standard deviations of a power estimate from bandwidth times time, and 0.05 dB for the window's skirts.
        check(db(power), db(expected), 4 * 4.343 / np.sqrt((high - low) * count / RATE) + 0.05, f"band {number}")
        rows.append((str(number), 1000 * 10 ** (0.1 * number), db(power), db(expected)))
    write("third_octave_reference.tsv", ["d) third-octave levels of noise that falls 3 dB an octave, dB re 1.",
                                         "The first filtered samples: " + ", ".join(f"{v:.15g}" for v in x[:4])],
          ["x", "mid_hz", "level_db", "expected_db"], rows)


def low_passes():
    rows = []
    for rate, flat, transition, attenuation in [(48000, 500, 150, 100), (48000, 250, 500, 100),
                                                (96000, 1600, 300, 100), (44100, 1600, 300, 100),
                                                (1500, 16, 16, 60), (3000, 208, 208, 60)]:
        half = int(np.ceil((attenuation - 8) / (2.285 * 2 * np.pi * transition / rate) / 2))
        beta = signal.kaiser_beta(attenuation)
        taps = signal.firwin(2 * half + 3, flat + transition / 2, window=("kaiser", beta), fs=rate)[1:-1]
        taps /= taps.sum()

        def gain(hz):
            _, h = signal.freqz(taps, worN=np.asarray(hz, dtype=float), fs=rate)
            return (h * np.exp(2j * np.pi * np.asarray(hz) / rate * half)).real

        ripple = 10 ** (-attenuation / 20)
        worst_pass = np.max(np.abs(gain(np.linspace(0, flat, 2001)) - 1))
        worst_stop = np.max(np.abs(gain(np.linspace(flat + transition, rate / 2, 20001))))
        # Kaiser's formula for the length is an estimate: the stop band may miss it by 2 dB. Where the corner lies no
        # further from 0 Hz than the transition is wide, the mirrored edge's ripple adds to that of the pass band.
        check(worst_pass, 0, 2 * ripple, f"pass band of {flat} Hz at {rate}")
        check(worst_stop, 0, 10 ** (2 / 20) * ripple, f"stop band of {flat} Hz at {rate}")
        at = [0, flat / 4, flat / 2, 0.9 * flat, flat, flat + transition / 4, flat + transition / 2,
              flat + 3 * transition / 4, flat + transition, flat + 1.37 * transition, flat + 2 * transition,
              (flat + 2 * transition + rate / 2) / 2, rate / 2]
        rows += [(str(rate), str(flat), str(transition), str(attenuation), str(len(taps)), f, g)
                 for f, g in zip(at, gain(at))]
    write("low_pass_reference.tsv", ["e) real gain of Kaiser low-passes."],
          ["rate_hz", "flat_hz", "transition_hz", "attenuation_db", "taps", "hz", "gain"], rows)


if __name__ == "__main__":
    welch()
    flutter()
    weighting()
    third_octaves()
    low_passes()
