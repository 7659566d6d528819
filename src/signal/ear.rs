//! A figure for the ear: whoever has both hands in a deck hears how far it is off.
//!
//! A soft sine falls from [`FAR_HZ`] to [`NEAR_HZ`] as the figure nears its target, and pulses while it is within its limit.

use std::f64::consts::{PI, TAU};

/// Pitch of a figure that is far off, Hz.
const FAR_HZ: f64 = 880.0;
/// Pitch of a figure that is at its limit, and within, Hz.
const NEAR_HZ: f64 = 220.0;
/// Distance at which the pitch is highest, limits.
const FAR_LIMITS: f64 = 32.0;
/// Level while it sounds, dBFS.
const LEVEL_DBFS: f64 = -30.0;
/// The highest level that can be asked for, dBFS: some have headphones on.
const LOUDEST_DBFS: f64 = -20.0;
/// A new pitch is reached in this time, s.
const GLIDE_S: f64 = 0.05;
/// From silence to the full level when it sounds for the first time, s.
const FIRST_S: f64 = 1.0;
/// From silence to the full level later, and back, s.
const FADE_S: f64 = 0.1;
/// Pulses within the limit, a second.
const PULSES_HZ: f64 = 4.0;

/// How far a figure is off, in limits.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Aim(f64);

impl Aim {
    /// How far `value` is from `target`, by what `limit` allows either way; all in one unit.
    ///
    /// `None` where target or limit are not known or no numbers: then there is nothing to aim at.
    pub fn new(value: f64, target: Option<f64>, limit: Option<f64>) -> Option<Self> {
        let limits = (value - target?).abs() / limit.filter(|limit| *limit > 0.0)?;
        limits.is_finite().then_some(Self(limits))
    }

    /// Whether it is within its limit.
    pub fn is_within(self) -> bool {
        self.0 <= 1.0
    }

    /// Pitch, Hz: it falls evenly in octaves while the distance falls evenly in octaves.
    pub fn pitch_hz(self) -> f64 {
        let share = self.0.clamp(1.0, FAR_LIMITS).ln() / FAR_LIMITS.ln();
        NEAR_HZ * (FAR_HZ / NEAR_HZ).powf(share)
    }
}

/// The sound, frame by frame. It holds its state from one block to the next and allocates nothing.
#[derive(Debug, Clone)]
pub struct Ear {
    rate_hz: f64,
    /// Highest amplitude.
    amplitude: f64,
    /// What is aimed at; `None` is silence.
    aim: Option<Aim>,
    /// Periods since the beginning, 0 to 1.
    phase: f64,
    /// Octaves above [`NEAR_HZ`]: now, at the end of the glide, and each frame.
    octaves: f64,
    octaves_to: f64,
    octaves_a_frame: f64,
    /// 0 to 1: how far it is faded in, how far the first time, how deep it pulses.
    faded: f64,
    risen: f64,
    depth: f64,
    /// Place within a pulse, 0 to 1.
    pulse: f64,
}

impl Ear {
    /// An ear at `rate_hz`, silent so far.
    pub fn new(rate_hz: f64) -> Self {
        Self {
            rate_hz,
            amplitude: 10f64.powf(LEVEL_DBFS / 20.0),
            aim: None,
            phase: 0.0,
            octaves: 0.0,
            octaves_to: 0.0,
            octaves_a_frame: 0.0,
            faded: 0.0,
            risen: 0.0,
            depth: 0.0,
            pulse: 0.0,
        }
    }

    /// At this level, dBFS (that of its sine without pulses), but never above -20 dBFS.
    #[must_use]
    pub fn at_dbfs(mut self, level_dbfs: f64) -> Self {
        // A number that is none changes nothing.
        if level_dbfs.is_finite() {
            self.amplitude = 10f64.powf(level_dbfs.min(LOUDEST_DBFS) / 20.0);
        }
        self
    }

    /// What is heard from now on; `None`: silence.
    pub fn aim(&mut self, aim: Option<Aim>) {
        self.aim = aim;
        let Some(aim) = aim else { return };
        self.octaves_to = (aim.pitch_hz() / NEAR_HZ).log2();
        if self.faded == 0.0 {
            // Nothing sounds: it begins at its pitch.
            self.octaves = self.octaves_to;
        }
        self.octaves_a_frame = (self.octaves_to - self.octaves) / (GLIDE_S * self.rate_hz).max(1.0);
    }

    /// The next frames of one channel, all of `block`.
    pub fn fill(&mut self, block: &mut [f64]) {
        for frame in block {
            *frame = self.next_frame();
        }
    }

    fn next_frame(&mut self) -> f64 {
        let a_frame = |seconds: f64| 1.0 / (seconds * self.rate_hz).max(1.0);
        let (fade, first) = (a_frame(FADE_S), a_frame(FIRST_S));
        self.faded = towards(self.faded, self.aim.is_some().into(), fade);
        self.risen = towards(self.risen, if self.faded > 0.0 { 1.0 } else { self.risen }, first);
        self.depth = towards(self.depth, self.aim.is_some_and(Aim::is_within).into(), fade);
        // Whatever remains is less than a step.
        let remains = self.octaves_to - self.octaves;
        self.octaves +=
            if remains.abs() <= self.octaves_a_frame.abs() { remains } else { self.octaves_a_frame };
        self.phase = (self.phase + NEAR_HZ * self.octaves.exp2() / self.rate_hz).fract();
        self.pulse = (self.pulse + PULSES_HZ / self.rate_hz).fract();
        let pulses = 1.0 - self.depth * (0.5 + 0.5 * (TAU * self.pulse).cos());
        // Both rise and fall softly at their ends.
        self.amplitude * soft(self.faded) * soft(self.risen) * pulses * (TAU * self.phase).sin()
    }
}

/// `from`, by at most `step` nearer to `to`.
fn towards(from: f64, to: f64, step: f64) -> f64 {
    from + (to - from).clamp(-step, step)
}

/// 0 to 1, level at both ends.
fn soft(share: f64) -> f64 {
    0.5 - 0.5 * (PI * share).cos()
}

#[cfg(test)]
mod tests {
    use super::*;

    const RATE_HZ: f64 = 48_000.0;

    /// So many seconds of an ear that aims at `off` limits.
    fn heard(ear: &mut Ear, off: Option<f64>, s: f64) -> Vec<f64> {
        ear.aim(off.and_then(|off| Aim::new(off, Some(0.0), Some(1.0))));
        let mut frames = vec![0.0; (s * RATE_HZ) as usize];
        ear.fill(&mut frames);
        frames
    }

    fn rms_dbfs(frames: &[f64]) -> f64 {
        let square = frames.iter().map(|x| x * x).sum::<f64>() / frames.len() as f64;
        10.0 * (2.0 * square).log10()
    }

    /// Crossings of zero upwards.
    fn periods(frames: &[f64]) -> usize {
        frames.windows(2).filter(|pair| pair[0] < 0.0 && pair[1] >= 0.0).count()
    }

    #[test]
    fn the_pitch_falls_as_the_figure_nears_its_target() {
        let pitches: Vec<f64> = (0..400)
            .map(|k| Aim::new(400.0 - f64::from(k), Some(0.0), Some(2.0)).unwrap().pitch_hz())
            .collect();
        assert!(pitches.windows(2).all(|pair| pair[1] <= pair[0]), "{pitches:?}");
        assert_eq!((pitches[0], pitches[399]), (880.0, 220.0));
        // Half-way in octaves of distance is half-way in octaves of pitch.
        assert_within!(Aim::new(-8.0, Some(0.0), Some(2f64.sqrt())).unwrap().pitch_hz(), 440.0, 1e-9, "Hz");
        let mut ear = Ear::new(RATE_HZ);
        heard(&mut ear, Some(1e9), 1.2);
        // One crossing more or less by where the second begins.
        assert!((879..=881).contains(&periods(&heard(&mut ear, Some(1e9), 1.0))));
        heard(&mut ear, Some(1.1), 0.2);
        let far = periods(&heard(&mut ear, Some(1.1), 1.0));
        assert!((220..=230).contains(&far), "{far}");
    }

    #[test]
    fn it_pulses_within_the_limit_and_only_there() {
        for (off, pulses) in [(0.0, true), (0.99, true), (-1.0, true), (1.01, false), (-30.0, false)] {
            let mut ear = Ear::new(RATE_HZ);
            heard(&mut ear, Some(off), 1.5);
            // Each of 1/50 s, a few periods at least.
            let blocks = heard(&mut ear, Some(off), 1.0);
            let levels: Vec<f64> = blocks.chunks(960).map(rms_dbfs).collect();
            let [least, most] = [f64::min, f64::max].map(|pick| levels.iter().copied().reduce(pick).unwrap());
            assert_eq!(most - least > 20.0, pulses, "{off}: {least} to {most} dBFS");
            assert!(pulses || most - least < 1.0, "{off}: {least} to {most} dBFS");
        }
    }

    #[test]
    fn it_begins_softly_and_never_gets_loud() {
        let mut ear = Ear::new(RATE_HZ);
        let first = heard(&mut ear, Some(20.0), 1.0);
        assert!(rms_dbfs(&first[..4800]) < -50.0, "{}", rms_dbfs(&first[..4800]));
        assert_within!(rms_dbfs(&heard(&mut ear, Some(20.0), 1.0)), -30.0, 0.01, "dBFS");
        for (asked, most) in [(0.0, -20.0), (-20.0, -20.0), (-40.0, -40.0), (f64::NAN, -30.0)] {
            let mut ear = Ear::new(RATE_HZ).at_dbfs(asked);
            let mut highest = 0.0f64;
            for off in [Some(1e300), Some(0.0), None, Some(3.0), Some(0.5)] {
                highest = heard(&mut ear, off, 1.0).iter().fold(highest, |most, x| most.max(x.abs()));
            }
            assert_within!(20.0 * highest.log10(), most, 0.01, "dBFS", "{asked}");
        }
    }

    #[test]
    fn without_a_figure_or_a_target_it_is_silent() {
        for (value, target, limit) in [
            (1.0, None, Some(1.0)),
            (1.0, Some(0.0), None),
            (1.0, Some(0.0), Some(0.0)),
            (1.0, Some(0.0), Some(-1.0)),
            (f64::NAN, Some(0.0), Some(1.0)),
            (f64::INFINITY, Some(0.0), Some(1.0)),
            (1.0, Some(f64::NAN), Some(1.0)),
            (1.0, Some(0.0), Some(f64::NAN)),
        ] {
            assert_eq!(Aim::new(value, target, limit), None, "{value} {target:?} {limit:?}");
        }
        let mut ear = Ear::new(RATE_HZ);
        assert!(heard(&mut ear, None, 1.0).iter().all(|x| *x == 0.0));
        heard(&mut ear, Some(3.0), 1.0);
        // A fade, then nothing.
        let gone = heard(&mut ear, None, 1.0);
        assert!(gone[4801..].iter().all(|x| *x == 0.0));
    }

    #[test]
    fn no_change_makes_a_click() {
        let mut ear = Ear::new(RATE_HZ).at_dbfs(-20.0);
        let mut all = Vec::new();
        for off in [Some(40.0), Some(0.2), Some(7.0), None, Some(0.9), Some(1.1), Some(0.9), None, Some(90.0)]
        {
            all.extend(heard(&mut ear, off, 0.37));
        }
        // The steepest sine at the highest pitch, and 2 % for the fades.
        let steepest = 0.1 * TAU * FAR_HZ / RATE_HZ * 1.02;
        let jump = all.windows(2).map(|pair| (pair[1] - pair[0]).abs()).fold(0.0, f64::max);
        assert!(jump < steepest, "{jump} of {steepest}");
        // Nor does its slope jump: twice the steepest curve, for the pulses that begin.
        let bent = all.windows(3).map(|w| (w[2] - 2.0 * w[1] + w[0]).abs()).fold(0.0, f64::max);
        assert!(bent < 2.0 * 0.1 * (TAU * FAR_HZ / RATE_HZ).powi(2), "{bent}");
    }

    #[test]
    fn blocks_of_any_size_sound_the_same() {
        let mut whole = Ear::new(44_100.0);
        let mut pieces = whole.clone();
        for off in [5.0, 0.5] {
            let aim = Aim::new(off, Some(0.0), Some(1.0));
            whole.aim(aim);
            pieces.aim(aim);
            let mut want = vec![0.0; 30_000];
            let mut got = want.clone();
            whole.fill(&mut want);
            got.chunks_mut(77).for_each(|piece| pieces.fill(piece));
            assert_eq!(got, want);
        }
    }
}
