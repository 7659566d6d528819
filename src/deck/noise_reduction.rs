//! A treble compander, the kind of noise reduction that decks have: recording lifts quiet treble, playback lowers it.
//!
//! Main path plus a side path: `y = x + lift * share * s`, where `s` is the treble above a corner that slides upwards with
//! its own level while its share falls, so that loud treble gets nothing. Playback solves the same equation for `x`; with
//! the same levels the two undo each other. The law is from memory and rounded, not that of a certain kind: 9 dB and more of
//! treble at -40 dB and below, at -20 dB 4 dB at 10 kHz and 3.5 dB at 3150 Hz, next to nothing at 0 dB.

use super::{DeckFile, NoiseReductionOn, ratio_of_db};

/// Corner of the side path for quiet signals, Hz.
const CORNER_HZ: f64 = 1200.0;
/// The corner moves to at most this, Hz.
const HIGHEST_HZ: f64 = 18_000.0;
/// Level of the side path, re the reference level, at which the corner has risen to twice its place and the share has
/// fallen to a half, dB.
const KNEE_DB: f64 = -26.0;
/// Power by which the share falls with the side path's level; the corner follows in proportion.
const FALLING: f64 = 1.3;
/// Time constants of the level, s: rising and falling.
const TIMES_S: [f64; 2] = [0.002, 0.06];

/// One channel's compander, for recording or playback.
pub(crate) struct Compander {
    plays_back: bool,
    /// Gain of the side path.
    lift: f64,
    knee: f64,
    rate_hz: f64,
    rise: f64,
    fall: f64,
    level: f64,
    /// State of the sliding high-pass: last input and last output.
    last_in: f64,
    last_out: f64,
}

impl Compander {
    /// The compander while recording, if the deck has it on then.
    pub(crate) fn record(file: &DeckFile, rate_hz: f64) -> Option<Self> {
        let reduction = file.electronics.noise_reduction?;
        (reduction.on != NoiseReductionOn::PlaybackOnly)
            .then(|| Self::new(file, reduction.most_db, rate_hz, false))
    }

    /// The compander while playing back, if the deck has it on then.
    pub(crate) fn playback(file: &DeckFile, rate_hz: f64) -> Option<Self> {
        let reduction = file.electronics.noise_reduction?;
        (reduction.on != NoiseReductionOn::RecordOnly)
            .then(|| Self::new(file, reduction.most_db, rate_hz, true))
    }

    fn new(file: &DeckFile, most_db: f64, rate_hz: f64, plays_back: bool) -> Self {
        let [rise, fall] = TIMES_S.map(|time_s| 1.0 - (-1.0 / (time_s * rate_hz)).exp());
        Self {
            plays_back,
            lift: ratio_of_db(most_db) - 1.0,
            // The level is a mean of magnitudes: 2 / pi of a sine's peak.
            knee: ratio_of_db(KNEE_DB + file.reference_dbfs) * std::f64::consts::FRAC_2_PI,
            rate_hz,
            rise,
            fall,
            level: 0.0,
            last_in: 0.0,
            last_out: 0.0,
        }
    }

    /// Works on a block in place.
    pub(crate) fn run(&mut self, samples: &mut [f64]) {
        for sample in samples {
            let over = self.level / self.knee;
            let corner_hz = (CORNER_HZ * (1.0 + over)).min(HIGHEST_HZ.min(0.4 * self.rate_hz));
            let lift = self.lift / (1.0 + over.powf(FALLING));
            // First-order high-pass, bilinear: out = b (in - last in) + a last out.
            let t = (std::f64::consts::PI * corner_hz / self.rate_hz).tan();
            let (a, b) = ((1.0 - t) / (1.0 + t), 1.0 / (1.0 + t));
            let state = a * self.last_out - b * self.last_in;
            let inner = if self.plays_back { (*sample - lift * state) / (1.0 + lift * b) } else { *sample };
            let side = b * inner + state;
            (self.last_in, self.last_out) = (inner, side);
            *sample = if self.plays_back { inner } else { inner + lift * side };
            let size = side.abs();
            self.level += (size - self.level) * if size > self.level { self.rise } else { self.fall };
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::deck::NoiseReduction;
    use crate::signal::statistics::rms;
    use crate::signal::test_signals::sine;

    fn gain_db(on: NoiseReductionOn, hz: f64, db: f64) -> f64 {
        let mut file = DeckFile::default();
        file.electronics.noise_reduction = Some(NoiseReduction { on, most_db: 10.0 });
        let peak = ratio_of_db(file.reference_dbfs + db);
        let mut samples = sine(peak, hz, 48_000.0, 48_000);
        if let Some(mut compander) = Compander::record(&file, 48_000.0) {
            compander.run(&mut samples);
        }
        if let Some(mut compander) = Compander::playback(&file, 48_000.0) {
            compander.run(&mut samples);
        }
        20.0 * (rms(&samples[24_000..]) * 2f64.sqrt() / peak).log10()
    }

    #[test]
    fn quiet_treble_is_lifted_or_lowered_and_loud_treble_left_alone() {
        use NoiseReductionOn::{PlaybackOnly, RecordOnly};
        // Ranges around what is remembered of such companders; from memory.
        for (hz, db, least, most) in [
            (10_000.0, -60.0, 9.0, 10.1),
            (10_000.0, -40.0, 7.0, 10.0),
            (10_000.0, -20.0, 1.5, 6.0),
            (3150.0, -20.0, 1.0, 5.0),
            (10_000.0, 0.0, -0.2, 1.0),
            (3150.0, 0.0, -0.2, 1.0),
            (315.0, -20.0, -0.2, 1.5),
            (100.0, -40.0, -0.2, 1.5),
        ] {
            for (on, sign) in [(RecordOnly, 1.0), (PlaybackOnly, -1.0)] {
                let got = sign * gain_db(on, hz, db);
                assert!(got > least && got < most, "{on:?} {hz} Hz at {db} dB: {got}");
            }
        }
    }

    #[test]
    fn playback_undoes_recording() {
        for (hz, db) in [(10_000.0, -40.0), (5000.0, -20.0), (400.0, -20.0), (3150.0, 0.0)] {
            assert_within!(gain_db(NoiseReductionOn::Both, hz, db), 0.0, 1e-9, "dB", "{hz} {db}");
        }
    }
}
