"""Frequency and flutter of steady tones in a recording without slates, by numpy and scipy, beside what a reading says.

Versions: numpy 2.4.6, scipy 1.17.1 (requirements.txt). Run by hand; nothing of a recording is kept here:

    deckproof read RECORDING.wav --unslated --json reading.json
    python3 tests/reference/leaders.py RECORDING.wav reading.json

Method, for each tone that the reading found, in the reading's own window less 0.3 s at either end: times exp(-j 2 pi f t),
Butterworth low-pass of order 4 at 1.25 times the highest rate, forwards and backwards over the whole file, unwrapped angle,
difference of neighbours, best parabola subtracted. Raw: rms up to the highest rate by the periodogram. Freed: less what hiss
makes, whose density of frequency grows with the square of the rate, as read from 1.1 to 1.6 times the highest rate (from a
demodulation with a wider low-pass). The highest rate is the reading's (200 Hz, a quarter of a low tone's frequency).
"""

import json
import sys

import numpy as np
from scipy import signal
from scipy.io import wavfile


def deviation(x, rate, hz, half_hz):
    t = np.arange(len(x)) / rate
    sos = signal.butter(4, half_hz, fs=rate, output="sos")
    base = signal.sosfiltfilt(sos, x * np.exp(-2j * np.pi * hz * t))
    return hz + np.diff(np.unwrap(np.angle(base))) * rate / (2 * np.pi)


def without_parabola(part):
    k = np.linspace(-1, 1, len(part))
    return part - np.polyval(np.polyfit(k, part, 2), k)


def density(part, rate):
    power = np.abs(np.fft.rfft(part * np.sqrt(8 / 3) * np.hanning(len(part)))) ** 2 * 2 / (len(part) * rate)
    return np.fft.rfftfreq(len(part), 1 / rate), power


def figures(x, rate, hz, highest_hz, from_s, to_s):
    wide = deviation(x, rate, hz, 2.2 * highest_hz)
    inside = slice(round(from_s * rate), round(to_s * rate))
    mean_hz = wide[inside].mean()
    part = 100 * without_parabola(wide[inside]) / mean_hz
    at_hz, power = density(part, rate)
    step = at_hz[1]
    band = (at_hz >= 0.1) & (at_hz <= highest_hz)
    beyond = (at_hz >= 1.1 * highest_hz) & (at_hz <= 1.6 * highest_hz)
    # The median of an exponential variate is ln 2 of its mean.
    per_square = np.median(power[beyond] / at_hz[beyond] ** 2) / np.log(2)
    raw = power[band].sum() * step
    freed = max(raw - (per_square * at_hz[band] ** 2).sum() * step, 0)
    return mean_hz, np.sqrt(raw), np.sqrt(freed)


def main(recording, reading):
    rate, x = wavfile.read(recording)
    x = (x - 128.0) / 128 if x.dtype == np.uint8 else x / 32768.0
    x = x if x.ndim == 1 else x.mean(axis=1)
    with open(reading) as file:
        read = json.load(file)
    flutter = read["flutter"]
    highest_hz = flutter["band_hz"][2] if flutter else 200.0
    print("from s\tto s\tHz\tHz scipy\t% rms raw\t% rms freed")
    for found in read["found"]:
        if found["kind"] != "tone" or found["hz"] < 300 or found["to_s"] - found["from_s"] < 1.5:
            continue
        window = found["from_s"] + 0.3, found["to_s"] - 0.3
        mean_hz, raw, freed = figures(x, rate, found["hz"], highest_hz, *window)
        print(f"{found['from_s']:.3f}\t{found['to_s']:.3f}\t{found['hz']:.2f}\t{mean_hz:.2f}\t{raw:.4f}\t{freed:.4f}")
    if not flutter:
        return
    squares, total_s = np.zeros(2), 0.0
    pieces = flutter["stretches"] or [{"from_s": flutter["measured_from_s"], "to_s": flutter["measured_to_s"]}]
    for piece in pieces:
        hz = min((f for f in read["found"] if f["kind"] == "tone"), key=lambda f: abs((f["from_s"] + f["to_s"]) / 2
                 - (piece["from_s"] + piece["to_s"]) / 2))["hz"]
        _, raw, freed = figures(x, rate, hz, highest_hz, piece["from_s"], piece["to_s"])
        length_s = piece["to_s"] - piece["from_s"]
        squares += length_s * np.array([raw, freed]) ** 2
        total_s += length_s
    raw, freed = np.sqrt(squares / total_s)
    print(f"flutter over {total_s:.1f} s: read {flutter['unweighted_rms_percent']:.4f}, raw {raw:.4f}, freed {freed:.4f}")


if __name__ == "__main__":
    if len(sys.argv) != 3:
        sys.exit("usage: leaders.py RECORDING.wav READING.json")
    main(*sys.argv[1:])
