//! The deck file: the description of a deck and its faults. Every key may be left out; left out means no fault.

use super::{DeckError, Erased, Injection, On, Reduction, Sides, Technician, check};
use serde::{Deserialize, Serialize};

/// A deck, as described in a TOML file. The default is a deck without any fault: a wire.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct DeckFile {
    /// What this deck is, for people. Default: empty.
    pub about: String,
    /// The programme's reference level ("0 dB"), dBFS, -40 to 0. Levels "re reference" count from it. Default: -12.
    pub reference_dbfs: f64,
    /// Speed, drift, wow and flutter.
    pub speed: Speed,
    /// Azimuth of the playback head against the recording.
    pub azimuth: Azimuth,
    /// Losses of the playback head.
    pub head: Head,
    /// Response and gain of the recording.
    pub record: Path,
    /// Response and gain of the playback.
    pub playback: Path,
    /// What the tape adds and takes.
    pub tape: Tape,
    /// What the amplifiers and the leads add.
    pub electronics: Electronics,
    /// Noise reduction, as long as the technician has it in. Default: one of 10 dB without error.
    pub noise_reduction: Option<Reduction>,
    /// The programme is fed in without a tape. Default: it comes from a tape.
    pub injection: Option<Injection>,
    /// What is done at the deck while the programme runs.
    pub technician: Technician,
    /// What the sound card and its user do.
    pub capture: Capture,
}

impl Default for DeckFile {
    fn default() -> Self {
        Self {
            about: String::new(),
            reference_dbfs: -12.0,
            speed: Speed::default(),
            azimuth: Azimuth::default(),
            head: Head::default(),
            record: Path::default(),
            playback: Path::default(),
            tape: Tape::default(),
            electronics: Electronics::default(),
            noise_reduction: None,
            injection: None,
            technician: Technician::default(),
            capture: Capture::default(),
        }
    }
}

impl DeckFile {
    /// The deck described by `text`; `file_name` is only for messages.
    ///
    /// # Errors
    /// [`DeckError`] with file, line, key and remedy if the text is not TOML, has an unknown key, a value of the wrong
    /// kind, or a number outside its range.
    pub fn from_toml(text: &str, file_name: &str) -> Result<Self, DeckError> {
        let file: Self = toml::from_str(text).map_err(|source| check::malformed(text, file_name, source))?;
        check::ranges(&file, file_name, Some(text))?;
        Ok(file)
    }

    /// Whether every number is in its range; `file_name` is only for messages.
    ///
    /// # Errors
    /// [`DeckError::OutOfRange`] or [`DeckError::Contradiction`].
    pub fn check(&self, file_name: &str) -> Result<(), DeckError> {
        check::ranges(self, file_name, None)
    }
}

/// Speed, drift, wow and flutter; all of them move the tape's place in time and so everything on it.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Speed {
    /// Constant error, percent, positive is fast, -20 to 20. Default: 0.
    pub error_percent: f64,
    /// Even change of speed, percent of nominal per minute, -5 to 5; stops when it has come to 20 %. Default: 0.
    pub drift_percent_per_min: f64,
    /// Flutter lines; their peaks together at most 10 percent. Default: none.
    pub flutter: Vec<FlutterLine>,
    /// Random flutter. Default: none.
    pub random: Option<RandomFlutter>,
}

/// One sinusoidal line of flutter.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct FlutterLine {
    /// Frequency, Hz of true time, 0.02 to 500.
    pub hz: f64,
    /// Peak deviation of the speed, percent of nominal, 0 to 10.
    pub percent_peak: f64,
    /// Phase of the sine at the start of the return before cutting, degrees. Default: 0.
    #[serde(default)]
    pub phase_deg: f64,
    /// Even change of the frequency, as of a reel hub, Hz a minute, -10 to 10; stops when it has changed the frequency by
    /// half. Default: 0.
    #[serde(default)]
    pub drift_hz_per_min: f64,
}

/// Random flutter within a band.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RandomFlutter {
    /// Rms deviation of the speed, percent of nominal, unweighted, 0 to 3; exact over the curve's own period of some minutes.
    pub percent_rms: f64,
    /// Lower end of the band, Hz, 0.05 to 400. Default: 0.2.
    #[serde(default = "fifth")]
    pub low_hz: f64,
    /// Upper end of the band, Hz, above `low_hz`, to 500. Default: 200.
    #[serde(default = "two_hundred")]
    pub high_hz: f64,
    /// Spectrum within the band. Default: one-over-f.
    #[serde(default)]
    pub shape: Shape,
}

fn fifth() -> f64 {
    0.2
}

fn two_hundred() -> f64 {
    200.0
}

/// Power spectrum of something random within its band.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Shape {
    /// Power per hertz falls as 1/f: the same power in every octave.
    #[default]
    OneOverF,
    /// The same power in every hertz.
    Flat,
}

/// Azimuth of the playback head against the recording.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Azimuth {
    /// Angle, arc minutes, -60 to 60; positive: the right channel lags. Default: 0.
    pub angle_arcmin: f64,
    /// Sinusoidal wander. Default: none.
    pub wander: Option<WanderLine>,
    /// Random wander. Default: none.
    pub random_wander: Option<RandomWander>,
}

/// Sinusoidal wander of the azimuth.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct WanderLine {
    /// Frequency, Hz, 0.02 to 100.
    pub hz: f64,
    /// Peak, arc minutes, 0 to 20.
    pub arcmin_peak: f64,
}

/// Random wander of the azimuth, with the same power in every octave of the band.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RandomWander {
    /// Rms, arc minutes, 0 to 10.
    pub arcmin_rms: f64,
    /// Lower end of the band, Hz, 0.05 to 50. Default: 0.2.
    #[serde(default = "fifth")]
    pub low_hz: f64,
    /// Upper end of the band, Hz, above `low_hz`, to 100. Default: 5.
    #[serde(default = "five")]
    pub high_hz: f64,
}

fn five() -> f64 {
    5.0
}

/// Losses of the playback head. Azimuth loss follows from the azimuth.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Head {
    /// Distance between tape and head, um, 0 to 20: -54.575 d/wavelength dB (Wallace, Bell System Technical Journal,
    /// October 1951). Default: 0.
    pub spacing_um: Sides,
    /// Effective gap length, um, 0 to 6: sin x / x, x = pi gap/wavelength. Default: 0.
    pub gap_um: Sides,
    /// Head bump in the bass. Default: none.
    pub bump: Option<Peak>,
    /// Corner of the coupling capacitor's first-order high-pass, Hz, 0 (none) to 500. Default: 0.
    pub coupling_hz: Sides,
    /// Dull head: loss at 8 kHz of a first-order low-pass, dB, 0 to 30. Default: 0.
    pub dull_8k_db: Sides,
    /// Losses of a sound head that the playback amplifier makes up for. Default: none.
    pub made_up_for: Option<MadeUpFor>,
}

/// Losses that the playback amplifier makes up for at nominal speed, by 12 dB at most. In a real deck a resonance of the head's
/// winding does it, nearly; here it is exact and of zero phase.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct MadeUpFor {
    /// Spacing, um, 0 to 2. Default: 0.
    pub spacing_um: f64,
    /// Gap, um, 0 to 3. Default: 0.
    pub gap_um: f64,
}

/// A resonance.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Peak {
    /// Centre, Hz, 5 to 20000.
    pub hz: f64,
    /// Gain at the centre, dB, -30 to 30.
    pub db: f64,
    /// Quality factor, 0.1 to 30.
    pub q: f64,
}

/// Gain and response of one side of the deck.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Path {
    /// Gain, dB, -60 to 40. Default: 0.
    pub gain_db: Sides,
    /// Response errors in series. Default: none.
    pub sections: Vec<Section>,
}

/// One minimum-phase section. The digital filter is a bilinear one; [`super::Truth`] speaks of that filter itself.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(tag = "kind", rename_all = "kebab-case", deny_unknown_fields)]
pub enum Section {
    /// One zero and one pole, 0 dB in the bass, 20 lg(zero/pole) in the treble. A 120 us tape played back at 70 us has
    /// zero 70 and pole 120 (IEC 60094-1:1981 clause 15.1 for the time constants).
    Shelf {
        /// Time constant of the zero, us, 1 to 10000.
        zero_us: f64,
        /// Time constant of the pole, us, 1 to 10000.
        pole_us: f64,
        /// Channels. Default: both.
        #[serde(default)]
        channel: On,
    },
    /// First-order low-pass, -3 dB at `hz`.
    LowPass1 {
        /// Corner, Hz, 100 to 0.45 of the sample rate (higher corners are moved there).
        hz: f64,
        /// Channels. Default: both.
        #[serde(default)]
        channel: On,
    },
    /// Second-order low-pass.
    LowPass2 {
        /// Corner, Hz, 100 to 0.45 of the sample rate (higher corners are moved there).
        hz: f64,
        /// Quality factor, 0.1 to 30; 0.7071 has no peak.
        q: f64,
        /// Channels. Default: both.
        #[serde(default)]
        channel: On,
    },
    /// First-order high-pass, -3 dB at `hz`.
    HighPass1 {
        /// Corner, Hz, 0.5 to 5000.
        hz: f64,
        /// Channels. Default: both.
        #[serde(default)]
        channel: On,
    },
    /// Resonance or dip.
    Peaking {
        /// Centre, Hz, 5 to 20000.
        hz: f64,
        /// Gain at the centre, dB, -30 to 30.
        db: f64,
        /// Quality factor, 0.1 to 30.
        q: f64,
        /// Channels. Default: both.
        #[serde(default)]
        channel: On,
    },
}

impl Section {
    /// The channels it acts on.
    pub const fn channel(&self) -> On {
        match self {
            Self::Shelf { channel, .. }
            | Self::LowPass1 { channel, .. }
            | Self::LowPass2 { channel, .. }
            | Self::HighPass1 { channel, .. }
            | Self::Peaking { channel, .. } => *channel,
        }
    }
}

/// What the tape adds and takes.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Tape {
    /// Saturation. Default: none, the tape is linear.
    pub saturation: Option<Saturation>,
    /// Hiss. Default: none.
    pub hiss: Option<Hiss>,
    /// Hum that was recorded: it lies on the tape and moves with it. `hz` is its frequency at nominal speed, levels are
    /// those on the tape. Default: none.
    pub hum: Option<Hum>,
    /// Modulation noise. Default: none.
    pub modulation_noise: Option<ModulationNoise>,
    /// Print-through. Default: none.
    pub print_through: Option<PrintThrough>,
    /// Stretches that were erased after recording. Default: none.
    pub erased: Vec<Erased>,
    /// Dropouts at known places. Default: none.
    pub dropouts: Vec<DropoutAt>,
    /// Dropouts at random places. Default: none.
    pub random_dropouts: Option<RandomDropouts>,
    /// Amplitude modulation of both channels alike. Default: none.
    pub amplitude_modulation: Option<AmplitudeModulation>,
    /// Slow random change of level, each channel its own. Default: none.
    pub level_wander: Option<LevelWander>,
}

/// Saturation: y = x - c x^3 up to its summit, then flat or falling, between a treble lift and its inverse. Below the summit the
/// third harmonic follows the square of the level.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Saturation {
    /// Third harmonic of a low tone at reference level as it lies on the tape, percent of the fundamental, 0 to 10.
    pub k3_percent_at_0db: f64,
    /// Second harmonic there (asymmetric bias), percent, 0 to 3; follows the level itself. Default: 0.
    #[serde(default)]
    pub k2_percent_at_0db: f64,
    /// By how much treble is lifted before and lowered after the curve, dB, 0 to 20. Default: 10.
    #[serde(default = "ten")]
    pub treble_lift_db: f64,
    /// Where the lift begins, Hz, 500 to 10000. Default: 3000.
    #[serde(default = "three_thousand")]
    pub treble_from_hz: f64,
    /// By how much the output falls for each step that the lifted signal goes beyond the summit, 0 to 1: loud treble wipes
    /// itself. Default: 0, it stays.
    #[serde(default)]
    pub self_erasing: f64,
}

fn ten() -> f64 {
    10.0
}

fn three_thousand() -> f64 {
    3000.0
}

/// Tape hiss, independent on each channel.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Hiss {
    /// Unweighted level from 22.4 Hz to 22.4 kHz before the playback head, dB re 0 dB, -120 to 0.
    pub db: Sides,
    /// Spectrum before the playback head. Default: tape.
    #[serde(default)]
    pub colour: HissColour,
}

/// Spectrum of the hiss.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum HissColour {
    /// 6 dB more below 1.3 kHz than in the high treble (common practice, no source).
    #[default]
    Tape,
    /// The same power in every hertz.
    White,
}

/// Noise that rises with the signal: the signal multiplied by low-pass noise.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ModulationNoise {
    /// Its rms, dB re the signal's, -120 to -20.
    pub db: f64,
    /// How far its skirts reach on each side of a tone, Hz (-3 dB), 1 to 5000. Default: 500.
    #[serde(default = "five_hundred")]
    pub reach_hz: f64,
}

fn five_hundred() -> f64 {
    500.0
}

/// Print-through from the neighbouring layers.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PrintThrough {
    /// Echo before the signal, dB re the signal, -120 to -20.
    pub pre_db: f64,
    /// Echo behind the signal, dB re the signal, -120 to -20. Default: -120.
    #[serde(default = "minus_120")]
    pub post_db: f64,
    /// Time of one turn of the reel, s of the programme, 0.1 to 3. Default: 1.5.
    #[serde(default = "one_and_a_half")]
    pub turn_s: f64,
}

fn minus_120() -> f64 {
    -120.0
}

fn one_and_a_half() -> f64 {
    1.5
}

/// One dropout.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct DropoutAt {
    /// Its middle, s from the start of the return before cutting, 0 to 100000.
    pub at_s: f64,
    /// Width at half of its depth (in amplitude), ms, 0.5 to 2000.
    pub length_ms: f64,
    /// Depth in its middle, dB, positive, 0 to 80.
    pub depth_db: f64,
    /// Channels. Default: both.
    #[serde(default)]
    pub channel: On,
}

/// Dropouts at random places, each on the left, the right or both.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RandomDropouts {
    /// Mean number per minute, 0 to 600.
    pub per_min: f64,
    /// Longest, ms, 1 to 2000; the shortest is a fifth of it. Default: 40.
    #[serde(default = "forty")]
    pub length_ms: f64,
    /// Deepest, dB, 0 to 80; the shallowest is a third of it. Default: 15.
    #[serde(default = "fifteen")]
    pub depth_db: f64,
}

fn forty() -> f64 {
    40.0
}

fn fifteen() -> f64 {
    15.0
}

/// Sinusoidal amplitude modulation.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct AmplitudeModulation {
    /// Frequency, Hz, 0.02 to 500.
    pub hz: f64,
    /// Peak change of amplitude, percent, 0 to 90.
    pub percent: f64,
}

/// Slow random change of level between 0.1 and 3 Hz.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct LevelWander {
    /// Rms, dB, 0 to 3.
    pub db_rms: f64,
}

/// What the amplifiers and the leads add.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Electronics {
    /// Leakage of left into right, dB, -120 to 0. Default: none.
    pub left_into_right_db: Option<f64>,
    /// Leakage of right into left, dB, -120 to 0. Default: none.
    pub right_into_left_db: Option<f64>,
    /// From where leakage rises by 6 dB an octave (by 24 dB at most), Hz, 50 to 20000. Default: it does not.
    pub leak_rises_from_hz: Option<f64>,
    /// Mains hum that gets in after the head. Default: none.
    pub hum: Option<Hum>,
    /// White noise of the playback amplifier, 22.4 Hz to 22.4 kHz, dB re 0 dB, -140 to 0. Default: none.
    pub noise_db: Option<Sides>,
    /// Channels whose polarity is inverted: `["left"]`, `["right"]`, `["both"]`. Default: none.
    pub inverted: Vec<On>,
    /// Left and right leads are exchanged. Default: false.
    pub swapped: bool,
    /// A channel whose playback head is dead; its amplifier still hums and hisses. Default: none.
    pub dead: Option<On>,
    /// Constant offset, fraction of full scale, -0.5 to 0.5. Default: 0.
    pub dc_offset: Sides,
    /// Noise reduction, a treble compander. Default: none.
    pub noise_reduction: Option<NoiseReduction>,
}

/// Noise reduction of the deck: quiet treble is lifted while recording and lowered as much while playing back.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct NoiseReduction {
    /// When it is on.
    pub on: NoiseReductionOn,
    /// By how much the quietest treble is lifted or lowered, dB, 0 to 20. Default: 10.
    #[serde(default = "ten")]
    pub most_db: f64,
}

/// When noise reduction is on.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum NoiseReductionOn {
    /// While recording only: quiet treble comes back lifted.
    RecordOnly,
    /// While playing back only: quiet treble comes back lowered.
    PlaybackOnly,
    /// As it should be: the two undo each other as far as levels are kept.
    Both,
}

/// Mains hum, the same phase on both channels; picked up in the playback or recorded on the tape.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Hum {
    /// Mains frequency, Hz, 45 to 65.
    pub hz: f64,
    /// Level of the fundamental, dB re 0 dB, -140 to 0.
    pub level_db: Sides,
    /// Levels of the 2nd, 3rd, ... harmonic, dB re the fundamental, -120 to 40, at most 20 of them. Default: none.
    #[serde(default)]
    pub harmonics_db: Vec<f64>,
}

/// What the sound card and its user do.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Capture {
    /// Sample rate, Hz, 32000 to 192000. Default: the programme's.
    pub rate_hz: Option<f64>,
    /// Error of the card's clock, parts per million, -10000 to 10000; positive: it takes more samples than it says, so
    /// the tape seems slow. Default: 0.
    pub clock_ppm: f64,
    /// Gain of the card's input, dB, -60 to 60. Default: 0.
    pub trim_db: f64,
    /// Hard clipping, dBFS of the peak (0 is a full-scale sample), -60 to 20. Default: none; a WAV clips at 0 anyway.
    pub clip_dbfs: Option<f64>,
    /// Lossy compression on the way to the file. Default: none.
    pub lossy: Option<LossyCodec>,
    /// Automatic gain. Default: none.
    pub automatic_gain: Option<AutomaticGain>,
    /// Noise suppression of the sound card: what is quiet is made quieter. Default: none.
    pub noise_suppression: Option<NoiseSuppression>,
    /// Both channels carry one signal. Default: none.
    pub mono: Option<Mono>,
    /// Seconds missing at the start, 0 to 3600. Default: 0.
    pub cut_start_s: f64,
    /// Seconds missing at the end, 0 to 30 (they are held in memory). Default: 0.
    pub cut_end_s: f64,
    /// Something else on the tape before the programme. Default: none.
    pub lead_in: Option<LeadIn>,
    /// Silence on the tape behind the programme, s, 0 to 3600. Default: 0.
    pub tail_s: f64,
}

/// Automatic gain of the sound card.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct AutomaticGain {
    /// Time constant when the level is too high, ms, 0.1 to 1000. Default: 10.
    #[serde(default = "ten")]
    pub attack_ms: f64,
    /// Time constant when the level is too low, s, 0.01 to 60. Default: 1.5.
    #[serde(default = "one_and_a_half")]
    pub release_s: f64,
    /// Peak at which it aims, dBFS of the peak, -40 to 0. Default: -6.
    #[serde(default = "minus_6")]
    pub target_dbfs: f64,
    /// Most that it lifts, dB, 0 to 60. Default: 20.
    #[serde(default = "twenty")]
    pub most_db: f64,
}

fn minus_6() -> f64 {
    -6.0
}

fn twenty() -> f64 {
    20.0
}

/// Noise suppression of the sound card, a gate: below a level the gain falls.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct NoiseSuppression {
    /// Level below which it shuts, dBFS of the mean magnitude, -90 to -20. Default: -50.
    #[serde(default = "minus_50")]
    pub below_dbfs: f64,
    /// By how much it lowers what is below, dB, 0 to 100. Default: 20.
    #[serde(default = "twenty")]
    pub most_db: f64,
}

fn minus_50() -> f64 {
    -50.0
}

/// A lossy codec, sketched.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct LossyCodec {
    /// Nothing is kept above this, Hz, 4000 to 96000. Default: 16000.
    #[serde(default = "sixteen_thousand")]
    pub low_pass_hz: f64,
    /// How far the codec's noise lies below what masks it, dB, 0 to 90: less is coarser. Default: 20.
    #[serde(default = "twenty")]
    pub masking_db: f64,
}

fn sixteen_thousand() -> f64 {
    16_000.0
}

/// How two channels became one.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Mono {
    /// Half the sum of left and right on both.
    Sum,
    /// The left channel on both.
    Left,
    /// The right channel on both.
    Right,
}

/// Something else before the programme.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct LeadIn {
    /// What is heard.
    pub kind: LeadInKind,
    /// Length, s of the programme's clock, 0 to 3600.
    pub seconds: f64,
    /// About its rms level, dBFS, -60 to -3. Default: -20.
    #[serde(default = "minus_20")]
    pub level_dbfs: f64,
}

fn minus_20() -> f64 {
    -20.0
}

/// What is heard before the programme; all of it is invented.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum LeadInKind {
    /// Blank tape: only hiss, if the tape has hiss.
    Silence,
    /// Chords of decaying partials, glides, bursts of noise.
    Music,
    /// Pulse trains through changing formants, with hissing consonants and pauses.
    Speech,
}
