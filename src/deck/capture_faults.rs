//! What the sound card and its user do: trim, automatic gain, mono, clipping.

use super::{DeckFile, Mono, ratio_of_db};

/// The sound card's input; it keeps the state of its automatic gain.
pub(crate) struct Card {
    trim: f64,
    gain: Option<Riding>,
    mono: Option<Mono>,
    clip: Option<f64>,
}

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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::deck::AutomaticGain;

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
            (left[72_000..].iter().map(|x| x * x).sum::<f64>() / 24_000.0).sqrt()
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
