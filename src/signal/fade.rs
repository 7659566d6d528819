//! Raised-cosine fades: how a tone begins and ends without a click.

use std::f64::consts::PI;

/// Shortest fade of a tone, s.
pub const SHORTEST_S: f64 = 0.01;

/// Envelope of a part: 0 at its first and at its last frame, 1 between the fades.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Fades {
    frames: u64,
    rise_frames: u64,
    fall_frames: u64,
}

impl Fades {
    /// Envelope over `frames` frames that rises in `rise_s` and falls in `fall_s` seconds at `rate_hz`.
    ///
    /// A fade takes at most a quarter of the part.
    pub fn new(frames: u64, rise_s: f64, fall_s: f64, rate_hz: f64) -> Self {
        let length = |fade_s: f64| ((fade_s * rate_hz).round() as u64).clamp(1, (frames / 4).max(1));
        Self { frames, rise_frames: length(rise_s), fall_frames: length(fall_s) }
    }

    /// Fade that suits a tone of `hz`: [`SHORTEST_S`], but at least one period, s.
    pub fn seconds_for(hz: f64) -> f64 {
        SHORTEST_S.max(1.0 / hz)
    }

    /// Value at frame `n`, 0 to 1; 0 beyond the end.
    pub fn at(&self, n: u64) -> f64 {
        if n >= self.frames {
            return 0.0;
        }
        let remaining = self.frames - 1 - n;
        raised_cosine(n, self.rise_frames) * raised_cosine(remaining, self.fall_frames)
    }
}

fn raised_cosine(n: u64, frames: u64) -> f64 {
    if n >= frames { 1.0 } else { 0.5 - 0.5 * (PI * n as f64 / frames as f64).cos() }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn starts_and_ends_at_zero_and_is_one_between() {
        let fades = Fades::new(48_000, 0.01, 0.02, 48_000.0);
        assert_eq!((fades.at(0), fades.at(47_999), fades.at(48_000)), (0.0, 0.0, 0.0));
        assert_eq!((fades.at(480), fades.at(24_000), fades.at(47_039)), (1.0, 1.0, 1.0));
        assert_within!(fades.at(240), 0.5, 1e-12, "", "half-way up");
        assert_within!(fades.at(47_999 - 480), 0.5, 1e-12, "", "half-way down");
    }

    #[test]
    fn a_low_tone_fades_over_a_whole_period() {
        assert_eq!(Fades::seconds_for(20.0), 0.05);
        assert_eq!(Fades::seconds_for(3_150.0), SHORTEST_S);
    }

    #[test]
    fn a_very_short_part_still_rises_and_falls() {
        for frames in 1..10 {
            let fades = Fades::new(frames, 1.0, 1.0, 48_000.0);
            assert_eq!((fades.at(0), fades.at(frames - 1)), (0.0, 0.0), "{frames} frames");
        }
    }
}
