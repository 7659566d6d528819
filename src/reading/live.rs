//! What is shown while a deck is followed live: one picture of what is heard, and of one view's figures.
//!
//! Arrays of two are `[left, right]`. A value that cannot be told yet is `null`. Uncertainties are k = 2.

use super::figures::UnitKind;
use super::{Pair, Verdict};
use serde::{Deserialize, Serialize};

/// Value of [`Picture::format`].
pub const LIVE_FORMAT: &str = "deckproof-live/1";

/// What a view is about.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum View {
    /// Phase between the channels, delay, angle of the head.
    Azimuth,
    /// Level of either channel.
    Level,
    /// High tone against low tone, third harmonic.
    Bias,
    /// Frequency of a tone, flutter.
    Speed,
    /// Level against frequency.
    Response,
    /// Noise and hum.
    Noise,
}

impl View {
    /// Every view, in the order of work.
    pub const ALL: [Self; 6] =
        [Self::Azimuth, Self::Level, Self::Bias, Self::Speed, Self::Response, Self::Noise];

    /// Its name on the command line.
    pub fn as_str(self) -> &'static str {
        match self {
            Self::Azimuth => "azimuth",
            Self::Level => "level",
            Self::Bias => "bias",
            Self::Speed => "speed",
            Self::Response => "response",
            Self::Noise => "noise",
        }
    }
}

/// What a person asks for while a deck is followed, by one key.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum LiveKey {
    /// Show this view, whatever plays.
    View(View),
    /// Show again the view that goes with what plays.
    FollowSignal,
    /// Take what plays now as the source, against which the tape is shown.
    Source,
    /// Hold the figures of now, to compare with them.
    Hold,
    /// Forget the best place, the peaks and the lowest level that were passed.
    Reset,
    /// Keep the figure in the job.
    Keep,
    /// End.
    Quit,
}

/// What the signal is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Sound {
    /// Nothing was heard long enough to say.
    Unknown,
    /// A steady tone.
    Tone,
    /// Tones in turn, one at a time.
    InTurn,
    /// Several steady tones at once.
    AtOnce,
    /// A tone that glides.
    Sweep,
    /// Even noise.
    Noise,
    /// Quiet: hiss of tape or amplifiers.
    Silence,
    /// Nothing at all: every sample is the same.
    Nothing,
    /// A slate of a programme.
    Slate,
    /// Music, speech, or something else that moves.
    Music,
}

/// What plays now.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct HeardNow {
    /// What it is.
    pub sound: Sound,
    /// Frequencies of its tones as they come back, Hz, the lowest first; in turn: all of them.
    pub hz: Vec<f64>,
    /// The programme that it belongs to, known by a slate; `null` where none was heard.
    pub programme: Option<ProgrammePlace>,
}

/// Where in a programme it plays.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ProgrammePlace {
    /// Name of the recipe.
    pub recipe: String,
    /// The part that plays.
    pub part: String,
    /// What the part is for, in the recipe's words.
    pub purpose: String,
    /// Until it ends, s.
    pub left_s: f64,
}

/// Levels of the newest moment, whatever plays.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize)]
pub struct Meters {
    /// Rms of the last 0.3 s, dBFS.
    pub dbfs: Pair,
    /// Highest peak of the last second, dBFS.
    pub peak_dbfs: Pair,
    /// Whether the last two seconds were clipped.
    pub clipped: [bool; 2],
    /// Both channels carry one signal: nothing can be told between them.
    pub one_signal: bool,
}

/// One picture.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Picture {
    /// Always `deckproof-live/1`.
    pub format: String,
    /// Time of the newest sound in it, s since following began.
    pub at_s: f64,
    /// What is shown.
    pub view: View,
    /// The view was asked for; otherwise it follows the signal.
    pub asked: bool,
    /// What plays now.
    pub playing: HeardNow,
    /// Levels of the newest moment.
    pub meters: Meters,
    /// The view's figures.
    pub shown: Shown,
    /// What is wrong now, a line each, the newest first.
    pub troubles: Vec<String>,
    /// What was done last, by a key.
    pub done: Option<String>,
    /// The figure that is turned by, for the ear, the log and the job's file; `null` where there is none now.
    pub figure: Option<Figure>,
}

/// One figure and its target.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Figure {
    /// What it is, such as `phase at 10 kHz`.
    pub name: String,
    /// The figure, in `unit`.
    pub value: f64,
    /// Its expanded uncertainty, in `unit`.
    pub uncertainty: Option<f64>,
    /// Unit as people write it.
    pub unit: String,
    /// What it should be; `null` where nobody knows.
    pub target: Option<f64>,
    /// How far from the target it may be; `null` where nobody knows.
    pub limit: Option<f64>,
    /// How it stands to its limit; `null` without target or limit.
    pub verdict: Option<Verdict>,
}

/// The figures of one view.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Shown {
    /// No figure now, and why: what has to play for it.
    Nothing {
        /// One line.
        why: String,
    },
    /// See [`View::Azimuth`].
    Azimuth(AzimuthNow),
    /// See [`View::Level`].
    Level(LevelNow),
    /// See [`View::Bias`].
    Bias(BiasNow),
    /// See [`View::Speed`].
    Speed(SpeedNow),
    /// See [`View::Response`].
    Response(ResponseNow),
    /// See [`View::Noise`].
    Noise(NoiseNow),
}

/// Azimuth while the screw is turned.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct AzimuthNow {
    /// Tone whose phase is shown, Hz; `null` where the delay comes from music or noise.
    pub hz: Option<f64>,
    /// Phase at that tone, right minus left, -180 to 180 degrees.
    pub phase_deg: Option<f64>,
    /// Its uncertainty, degrees.
    pub phase_uncertainty_deg: Option<f64>,
    /// Delay of the right channel, us: positive where it lags.
    pub delay_us: Option<f64>,
    /// Its uncertainty, us.
    pub delay_uncertainty_us: Option<f64>,
    /// Angle of the head that the delay stands for, minutes of arc.
    pub angle_arcmin: Option<f64>,
    /// On which turn of phase the delay lies.
    pub turn: PhaseTurn,
    /// Phase that 10 kHz has at that delay, degrees, not wrapped; `null` where the turn is not known.
    pub at_10k_deg: Option<f64>,
    /// Limit of the phase at 10 kHz, either way, degrees.
    pub limit_deg: Option<f64>,
    /// The same as a delay, us.
    pub limit_us: Option<f64>,
    /// The place nearest to zero that was passed.
    pub best: Option<BestPassed>,
    /// Level of the tone, dBFS.
    pub level_dbfs: Pair,
    /// The same against the highest passed so far, dB: 0 or below.
    pub below_highest_db: Pair,
    /// Newest samples of left against right at the tone, -1 to 1.
    pub xy: Vec<[f32; 2]>,
}

/// On which turn of phase a delay lies.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum PhaseTurn {
    /// Known: tones of several frequencies, or noise, agree.
    Known {
        /// The frequencies, Hz.
        hz: Vec<f64>,
    },
    /// Not known from one tone: the delay may be off by whole periods.
    Unknown {
        /// One period, us.
        period_us: f64,
    },
}

/// The best place that was passed while turning.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct BestPassed {
    /// The figure there, in the view's unit.
    pub value: f64,
    /// How long ago, s.
    pub ago_s: f64,
}

/// Level while a trimmer is turned.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct LevelNow {
    /// Frequency of the tone, Hz; `null`: the whole signal.
    pub hz: Option<f64>,
    /// dBFS.
    pub dbfs: Pair,
    /// Uncertainty, dB.
    pub uncertainty_db: Pair,
    /// Against the deck's 0, dB; `null` where that is not known.
    pub deck_db: Pair,
    /// At the deck's output, mV; `null` where that is not known.
    pub mv: Pair,
    /// Left minus right, dB.
    pub difference_db: Option<f64>,
    /// What the level should be, dBFS, and where that comes from; `null` where nobody knows.
    pub target_dbfs: Pair,
    /// Limit of the level against its target, either way, dB.
    pub limit_db: Option<f64>,
    /// Limit of the difference between the channels, either way, dB.
    pub match_limit_db: Option<f64>,
    /// Against what was held, dB.
    pub against_held_db: Pair,
    /// Tape minus source, dB.
    pub against_source_db: Pair,
}

/// Bias while a trimmer is turned.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct BiasNow {
    /// Low tone, Hz.
    pub low_hz: f64,
    /// Its level, dBFS, or against the source, dB.
    pub low_db: Pair,
    /// High tones against it, the lowest first.
    pub high: Vec<HighNow>,
    /// Third harmonic of the low tone (or of a louder one near it), percent.
    pub k3_percent: Pair,
    /// Frequency of the tone whose third harmonic is shown, Hz.
    pub k3_hz: Option<f64>,
    /// The levels are those of the tape against the source.
    pub against_source: bool,
    /// Limit of high against low, either way, dB; `null` where the levels are not against a source or a programme.
    pub limit_db: Option<f64>,
}

/// A high tone against the low one.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct HighNow {
    /// Hz.
    pub hz: f64,
    /// Its level, as `low_db`.
    pub high_db: Pair,
    /// High minus low, dB; against the programme where it is known.
    pub difference_db: Pair,
    /// Uncertainty, dB.
    pub uncertainty_db: Pair,
    /// Below the highest level of this tone passed so far, dB, 0 or above: the overbias if bias was raised past it.
    pub past_peak_db: Pair,
    /// Change of the difference since five seconds ago, dB.
    pub change_db: Pair,
    /// How old the newest of the two levels is, s.
    pub ago_s: f64,
}

/// Speed while the motor's trimmer is turned.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct SpeedNow {
    /// Mean frequency over the last second, Hz.
    pub hz_1s: f64,
    /// Mean over the last ten seconds, as far as the tone sounded, Hz.
    pub hz_10s: Option<f64>,
    /// Frequency of the tone on the tape, Hz.
    pub nominal_hz: Option<f64>,
    /// Somebody knows it: the programme, or whoever typed it. Otherwise it is a guess and nothing is judged by it.
    pub nominal_is_known: bool,
    /// Error over the last second, percent, positive when fast.
    pub error_1s_percent: Option<f64>,
    /// Error over the last ten seconds, percent.
    pub error_10s_percent: Option<f64>,
    /// Uncertainty of the one over a second by how the frequency moved, percent.
    pub uncertainty_percent: Option<f64>,
    /// Limit either way, percent.
    pub limit_percent: Option<f64>,
    /// Flutter; `null` until the tone has sounded for some seconds.
    pub flutter: Option<FlutterNow>,
}

/// Flutter of the last seconds.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct FlutterNow {
    /// Length that it is over, s.
    pub over_s: f64,
    /// Fastest flutter that the tone shows, Hz.
    pub to_hz: f64,
    /// The slow needle: weighted quasi-peak, half a second ago, percent.
    pub needle_percent: Option<f64>,
    /// Weighted quasi-peak, percent.
    pub weighted_quasi_peak_percent: Option<f64>,
    /// Weighted rms, percent.
    pub weighted_rms_percent: Option<f64>,
    /// Limit of the quasi-peak figure, percent.
    pub limit_percent: Option<f64>,
    /// Lines of the last half minute: Hz, percent peak, and what may turn at that rate.
    pub lines: Vec<LineNow>,
    /// Spectrum of the last half minute: Hz, percent rms per root hertz.
    pub spectrum: Vec<[f64; 2]>,
}

/// A line of flutter.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct LineNow {
    /// Hz.
    pub hz: f64,
    /// Percent peak.
    pub percent_peak: f64,
    /// What may turn at that rate, in words; empty where nothing is known.
    pub part: String,
}

/// Response as it builds up.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ResponseNow {
    /// Frequency to which it refers, Hz.
    pub reference_hz: f64,
    /// Points by rising frequency.
    pub points: Vec<PointNow>,
    /// The curve that was held.
    pub held: Vec<PointNow>,
    /// Limit either way, dB, in its band.
    pub limit_db: Option<f64>,
    /// From this frequency on, Hz.
    pub limit_from_hz: Option<f64>,
    /// Up to this one, Hz.
    pub limit_to_hz: Option<f64>,
    /// The point within the band that is off most: Hz, dB, and 0 for left, 1 for right.
    pub worst: Option<(f64, f64, usize)>,
    /// Tape minus source.
    pub against_source: bool,
    /// How long it has built up, s.
    pub over_s: f64,
}

/// A point of the response.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct PointNow {
    /// Hz.
    pub hz: f64,
    /// Against the reference frequency, dB.
    pub db: Pair,
    /// Uncertainty, dB.
    pub uncertainty_db: Pair,
}

/// Noise and hum of the last seconds.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct NoiseNow {
    /// What the levels refer to, in words.
    pub reference: String,
    /// A-weighted, dB.
    pub a_weighted_db: Pair,
    /// Unweighted, dB.
    pub unweighted_db: Pair,
    /// Uncertainty, dB.
    pub uncertainty_db: Pair,
    /// Mains frequency, Hz.
    pub mains_hz: Option<f64>,
    /// Hum, all components together, dB.
    pub hum_db: Pair,
    /// Its components.
    pub lines: Vec<PointNow>,
    /// Most A-weighted noise, dB.
    pub limit_db: Option<f64>,
    /// Most hum, dB.
    pub hum_limit_db: Option<f64>,
    /// The lowest A-weighted level passed so far, dB.
    pub lowest_db: Pair,
}

impl NoiseNow {
    /// [`NoiseNow::reference`] where nothing better is known.
    pub const FULL_SCALE: &str = "full scale";

    /// Unit of its levels.
    pub fn unit(&self) -> UnitKind {
        if self.reference == Self::FULL_SCALE { UnitKind::Dbfs } else { UnitKind::Db }
    }
}
