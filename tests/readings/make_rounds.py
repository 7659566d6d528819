"""Makes rounds.json in this folder: a trimming, a bias sweep and a noise reduction in one reading. All values are
invented; no deck was measured.

Run: python3 make_rounds.py (Python 3.11 or later, no packages) after make.py. The findings are filled in by
`DECKPROOF_BLESS=1 cargo test --lib findings_and_work_of`, and were read through by a person after that.
"""

import json
import pathlib

HERE = pathlib.Path(__file__).parent
reading = json.loads((HERE / "healthy.json").read_text())
for key in ["response", "azimuth", "flutter", "noise", "distortion", "intermodulation", "saturation", "erasing"]:
    reading[key] = None
reading["separation"] = []
reading["recipe"] = {"name": "bias-sweep", "code": "1A2B"}
reading["capture"]["file"] = "return-trim.wav"
reading["capture"]["slates_found"] = 12
reading["circumstances"].update(recorded_on="this-deck", heads=3)
reading["findings"] = []
reading["level"] = reading["level"][:1]


def pair(f):
    return [round(f(0), 3), round(f(1), 3)]


def low(n, side):
    return -0.1 - 0.03 * (n - 7 - side / 2) ** 2


def tilt(n, side, hz):
    return (3.1 - 0.5 * n + 0.4 * side) * (1.25 if hz > 12000 else 1)


ROUNDS = range(1, 11)
rounds, bias, steps = [], [], []
for n in ROUNDS:
    at = round(14.7 + 14.5 * n, 2)
    level = pair(lambda side: -0.2 - 0.02 * (n - 8) ** 2 - 0.1 * side)
    before = pair(lambda side: -0.2 - 0.02 * (n - 9) ** 2 - 0.1 * side)
    rounds.append({
        "round": n, "at_s": at, "level_hz": 315.0,
        "reference_dbfs": [round(db - 12, 3) for db in level],
        "level_db": level, "level_uncertainty_db": [0.03, 0.03],
        "level_difference_db": round(level[0] - level[1], 3),
        "change_db": [None, None] if n == 1 else [round(a - b, 3) for a, b in zip(level, before)],
        "moved_at_s": round(at + 0.6, 2) if n == 4 else None,
        "moved": "the tone of 315 Hz moved by +0.9 dB on the left channel while it sounded" if n == 4 else None,
    })
    for hz in [10000.0, 15000.0]:
        # The round with a step in its first tone keeps the rest.
        bias.append({
            "round": n, "at_s": at, "low_hz": 1000.0, "high_hz": hz, "programme_db": -20.0,
            "low_db": pair(lambda side: low(n, side)),
            "high_db": pair(lambda side: low(n, side) + tilt(n, side, hz)),
            "difference_db": pair(lambda side: tilt(n, side, hz)),
            "uncertainty_db": [0.06, 0.07],
            "change_db": [None, None] if n == 1 else pair(lambda side: tilt(n, side, hz) - tilt(n - 1, side, hz)),
        })
    steps.append({
        "round": n, "at_s": at, "level_db": level, "low_db": pair(lambda side: low(n, side)),
        "low_uncertainty_db": [0.04, 0.04],
        "high": [{
            "hz": hz, "db": pair(lambda side: low(n, side) + tilt(n, side, hz)), "uncertainty_db": [0.05, 0.06],
            "past_peak_db": pair(lambda side: 0.09 * (n - 3 + side / 2) * abs(n - 3 + side / 2)),
        } for hz in [10000.0, 15000.0]],
        "k3_percent": [round(0.8 + 0.05 * (n - 7.3) ** 2, 3), None if n == 4 else round(0.9 + 0.05 * (n - 7.6) ** 2, 3)],
        "k3_uncertainty_percent": [0.02, None if n == 4 else 0.02],
        "noise_a_weighted_db": pair(lambda side: -55.2 + 0.02 * (n - 6) ** 2 + 0.3 * side),
        "noise_uncertainty_db": [0.15, 0.15],
    })
reading["rounds"] = rounds
reading["bias"] = bias
reading["bias_sweep"] = {
    "level_hz": 315.0, "low_hz": 1000.0,
    "noise_reference": "the level tone of 315 Hz before the rounds, converted to 0 dB of the programme",
    "steps": steps, "rising": True,
    "peaks": [
        {"hz": 1000.0, "round": [7.0, None], "uncertainty_rounds": [0.6, None], "db": [-0.1, None]},
        {"hz": 10000.0, "round": [3.0, 2.5], "uncertainty_rounds": [0.2, 0.3], "db": [1.1, 1.4]},
        {"hz": 15000.0, "round": [2.8, 2.4], "uncertainty_rounds": [0.2, 0.3], "db": [1.3, 1.7]},
    ],
    "balance": [
        {"high_hz": 10000.0, "round": [6.2, 7.0], "uncertainty_rounds": [0.12, 0.14], "best_round": [6, 7]},
        {"high_hz": 15000.0, "round": [6.2, 7.0], "uncertainty_rounds": [0.1, 0.12], "best_round": [6, 7]},
    ],
    "lowest_k3_round": [7.3, 7.6], "lowest_k3_uncertainty_rounds": [0.3, 0.4],
}
rows, bands = [], []
for db in [-10.0, -20.0, -30.0, -40.0]:
    for hz in [130.0, 400.0, 1000.0, 2500.0, 5000.0, 10000.0, 14000.0]:
        off = [0.02, -0.03] if hz < 1000 else [(-10 - db) / 20 * (hz / 10000) ** 0.5, (10 + db) / 60]
        rows.append({
            "programme_db": db, "hz": hz, "out_db": [0.1, -0.2],
            "in_db": [round(0.1 + off[0], 3), round(-0.2 + off[1], 3)],
            "mistracking_db": [round(x, 3) for x in off], "uncertainty_db": [0.06, 0.06],
        })
    for low_hz, high_hz in [(20.0, 500.0), (500.0, 3000.0), (3000.0, 20000.0)]:
        of_band = [row for row in rows if row["programme_db"] == db and low_hz <= row["hz"] < high_hz]
        worst = [max(of_band, key=lambda row: abs(row["mistracking_db"][side])) for side in [0, 1]]
        bands.append({
            "programme_db": db, "from_hz": low_hz, "to_hz": high_hz,
            "mean_db": [round(sum(row["mistracking_db"][side] for row in of_band) / len(of_band), 3) for side in [0, 1]],
            "worst_db": [worst[side]["mistracking_db"][side] for side in [0, 1]],
            "worst_hz": [worst[side]["hz"] for side in [0, 1]],
        })
reading["noise_reduction"] = {
    "rows": rows, "bands": bands, "noise_out_dbfs": [-67.1, -66.8], "noise_in_dbfs": [-76.0, -75.9],
    "noise_lowered_db": [8.9, 9.1], "noise_uncertainty_db": [0.2, 0.2], "switched": True,
}
reading["warnings"] = [{"id": "turned-in-tone", "text": "A level moved while a tone sounded (round 4: the tone of 315 Hz)"}]
(HERE / "rounds.json").write_text(json.dumps(reading, indent=2) + "\n")
