//! What the sound card and its user do: trim, automatic gain, noise suppression, mono, clipping.

use super::{DeckFile, Mono, ratio_of_db};

/// The sound card's input; it keeps the state of its automatic gain.
pub(crate) struct Card {
    trim: f64,
    gain: Option<Riding>,
    gate: Option<Gate>,
    mono: Option<Mono>,
    clip: Option<f64>,
}

/// Noise suppression: shuts while the mean magnitude is low.
struct Gate {
    below: f64,
    least: f64,
    /// Time constants of magnitude, opening and shutting.
    rates: [f64; 3],
    magnitude: f64,
    gain: f64,
}

/// Time constants of the gate, s: of the magnitude, of opening, of shutting.
const GATE_S: [f64; 3] = [0.01, 0.005, 0.2];

struct Riding {
    attack: f64,
    release: f64,
    target: f64,
    most: f64,
    envelope: f64,
}

impl Card {
    /// The card of `file` at `rate_hz`.
    pub(crate) fn new(file: &DeckFile, rate_hz: f64) -> Self {
        let capture = &file.capture;
        let gain = capture.automatic_gain.map(|gain| Riding {
            attack: 1.0 - (-1000.0 / (gain.attack_ms * rate_hz)).exp(),
            release: 1.0 - (-1.0 / (gain.release_s * rate_hz)).exp(),
            target: ratio_of_db(gain.target_dbfs),
            most: ratio_of_db(gain.most_db),
            envelope: ratio_of_db(gain.target_dbfs),
        });
        Self {
            trim: ratio_of_db(capture.trim_db),
            gain,
            gate: capture.noise_suppression.map(|suppression| Gate {
                below: ratio_of_db(suppression.below_dbfs),
                least: ratio_of_db(-suppression.most_db),
                rates: GATE_S.map(|time_s| 1.0 - (-1.0 / (time_s * rate_hz)).exp()),
                magnitude: 0.0,
                gain: 1.0,
            }),
            mono: capture.mono,
            clip: capture.clip_dbfs.map(ratio_of_db),
        }
    }

    /// Takes in a block in place.
    pub(crate) fn run(&mut self, left: &mut [f64], right: &mut [f64]) {
        for (l, r) in left.iter_mut().zip(right) {
            *l *= self.trim;
            *r *= self.trim;
            if let Some(riding) = &mut self.gain {
                let gain = riding.next(l.abs().max(r.abs()));
                *l *= gain;
                *r *= gain;
            }
            if let Some(gate) = &mut self.gate {
                let gain = gate.next(l.abs().max(r.abs()));
                *l *= gain;
                *r *= gain;
            }
            match self.mono {
                None => {}
                Some(Mono::Left) => *r = *l,
                Some(Mono::Right) => *l = *r,
                Some(Mono::Sum) => {
                    *l = (*l + *r) / 2.0;
                    *r = *l;
                }
            }
            if let Some(clip) = self.clip {
                *l = l.clamp(-clip, clip);
                *r = r.clamp(-clip, clip);
            }
        }
    }
}

impl Riding {
    fn next(&mut self, peak: f64) -> f64 {
        let rate = if peak > self.envelope { self.attack } else { self.release };
        self.envelope += (peak - self.envelope) * rate;
        (self.target / self.envelope.max(1e-9)).min(self.most)
    }
}

impl Gate {
    fn next(&mut self, peak: f64) -> f64 {
        let [magnitude, open, shut] = self.rates;
        self.magnitude += (peak - self.magnitude) * magnitude;
        let aim = if self.magnitude < self.below { self.least } else { 1.0 };
        self.gain += (aim - self.gain) * if aim > self.gain { open } else { shut };
        self.gain
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::deck::{AutomaticGain, NoiseSuppression};
    use crate::signal::statistics::rms;

    #[test]
    fn noise_suppression_lowers_what_is_quiet_only() {
        let mut file = DeckFile::default();
        file.capture.noise_suppression = Some(NoiseSuppression { below_dbfs: -50.0, most_db: 20.0 });
        for (peak, want) in [(0.1, 0.1), (0.0005, 0.00005)] {
            let mut card = Card::new(&file, 48_000.0);
            let mut left: Vec<f64> = (0..96_000).map(|n| peak * (0.1 * f64::from(n)).sin()).collect();
            let mut right = left.clone();
            card.run(&mut left, &mut right);
            let got = left[72_000..].iter().copied().fold(0.0, f64::max);
            assert_within!(got / want, 1.0, 0.01, "");
        }
    }

    #[test]
    fn automatic_gain_evens_out_levels() {
        let mut file = DeckFile::default();
        let gain = AutomaticGain { attack_ms: 10.0, release_s: 0.3, target_dbfs: -6.0, most_db: 30.0 };
        file.capture.automatic_gain = Some(gain);
        let mut card = Card::new(&file, 48_000.0);
        let mut rms = |peak: f64| {
            let mut left: Vec<f64> = (0..96_000).map(|n| peak * (0.1 * f64::from(n)).sin()).collect();
            let mut right = left.clone();
            card.run(&mut left, &mut right);
            rms(&left[72_000..])
        };
        let (loud, soft) = (rms(0.5), rms(0.05));
        assert_within!(20.0 * (loud / soft).log10(), 0.0, 0.2, "dB");
    }

    #[test]
    fn clips_at_its_level_and_makes_mono() {
        let mut file = DeckFile::default();
        file.capture.clip_dbfs = Some(-6.0);
        file.capture.mono = Some(Mono::Sum);
        let (mut left, mut right) = ([1.0, 0.2], [0.8, 0.0]);
        Card::new(&file, 48_000.0).run(&mut left, &mut right);
        assert_eq!(left, right);
        assert_eq!(left, [ratio_of_db(-6.0), 0.1]);
    }
}
