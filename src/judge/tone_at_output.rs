//! The level tone as a millivoltmeter read it at the deck's output: what ties levels of a return to volts.

use crate::reading::Pair;

/// What such a millivoltmeter is usually wrong by at the level tone (k = 2): so much of the value, and so much at least, mV
/// (common practice, no source).
pub(crate) const MILLIVOLTMETER: (f64, f64) = (0.03, 1.0);
/// What can be meant, mV rms: beyond it a number is a slip of the pen.
pub(crate) const SANE_MV: (f64, f64) = (1.0, 20_000.0);
/// What can be meant, dBFS.
pub(crate) const SANE_DBFS: (f64, f64) = (-80.0, 0.0);

/// Where the tone stood in a return while its millivolts were read.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum ToneInReturn {
    /// The return that is judged was recorded meanwhile: its own level tone is meant.
    This,
    /// At this level of another return.
    Dbfs {
        /// dBFS.
        dbfs: f64,
        /// Expanded uncertainty, dB.
        uncertainty_db: f64,
    },
}

/// The level tone of one channel at the deck's output. It holds as long as the sound card's input level is not touched.
#[derive(Debug, Clone, PartialEq)]
pub struct ToneAtOutput {
    /// mV rms, the sound card connected.
    pub mv: f64,
    /// Expanded uncertainty (k = 2), mV.
    pub uncertainty_mv: f64,
    /// Where that comes from, in words.
    pub gauge: String,
    /// The same tone in a return.
    pub at: ToneInReturn,
}

impl ToneAtOutput {
    /// `mv` with what was noted of the gauge, else with what is usual.
    pub(crate) fn new(mv: f64, within_mv: Option<f64>, at: ToneInReturn) -> Self {
        let (share, least) = MILLIVOLTMETER;
        let (uncertainty_mv, gauge) = match within_mv {
            Some(noted) => (noted, "as noted"),
            None => ((share * mv).max(least), "usual for such a gauge, common practice, no source"),
        };
        Self { mv, uncertainty_mv, gauge: gauge.to_owned(), at }
    }

    /// Expanded uncertainty of the millivolts, dB.
    pub(crate) fn uncertainty_db(&self) -> f64 {
        20.0 * (1.0 + self.uncertainty_mv / self.mv).log10()
    }
}

/// What a limits file says of the level tone: each number once for both channels, or as `[left, right]`.
#[derive(Debug, Clone, Default)]
pub(crate) struct ToneTold {
    pub(crate) mv: Option<[f64; 2]>,
    pub(crate) dbfs: Option<[f64; 2]>,
    pub(crate) within_mv: Option<[f64; 2]>,
}

impl ToneTold {
    /// `[left, right]`; `None` if nothing is told.
    ///
    /// # Errors
    /// Key and what must stand beside it.
    pub(crate) fn tones(&self) -> Result<[Option<ToneAtOutput>; 2], (&'static str, &'static str)> {
        match (self.mv, self.dbfs) {
            (Some(mv), Some(dbfs)) => Ok([0, 1].map(|side| {
                let at = ToneInReturn::Dbfs { dbfs: dbfs[side], uncertainty_db: 0.0 };
                Some(ToneAtOutput::new(mv[side], self.within_mv.map(|within| within[side]), at))
            })),
            (Some(_), None) => {
                Err(("level_tone_mv", "level_tone_dbfs: what the same tone read in the return meanwhile"))
            }
            (None, Some(_)) => {
                Err(("level_tone_dbfs", "level_tone_mv: what the same tone read at the output meanwhile"))
            }
            (None, None) if self.within_mv.is_some() => Err(("level_tone_within_mv", "level_tone_mv")),
            (None, None) => Ok([None, None]),
        }
    }
}

/// One number for both channels, or `[left, right]`; `None` for anything else, or a number that is out of `allowed`.
pub(crate) fn one_or_pair(value: &toml::Value, allowed: (f64, f64)) -> Option<[f64; 2]> {
    let number = |value: &toml::Value| {
        let number = value.as_float().or_else(|| value.as_integer().map(|whole| whole as f64))?;
        (allowed.0..=allowed.1).contains(&number).then_some(number)
    };
    match value.as_array().map(Vec::as_slice) {
        Some([left, right]) => Some([number(left)?, number(right)?]),
        Some(_) => None,
        None => number(value).map(|both| [both; 2]),
    }
}

/// A figure of each channel that has one.
pub(crate) fn of_pair<T>(pair: [Option<T>; 2], of: impl Fn(T) -> f64) -> Pair {
    pair.map(|one| one.map(&of))
}
