//! The deck file: the description of a deck and its faults. Every key may be left out; left out means no fault.

use super::check::{self, Check};
use super::keys::{Checked, Range, Value, tables};
use super::{DeckError, Erased, Injection, On, Reduction, Sides, Technician};
use serde::{Deserialize, Serialize};

tables! {
/// A deck, as described in a TOML file. The default is a deck without any fault: a wire.
#[serde(default)]
pub struct DeckFile {
    /// What this deck is, for people. Default: empty.
    pub about: String,
    /// The programme's reference level ("0 dB"), dBFS. Levels "re reference" count from it. Default: -12.
    pub reference_dbfs: f64 = -40.0 to 0.0,
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

/// Speed, drift, wow and flutter; all of them move the tape's place in time and so everything on it.
#[derive(Default)]
#[serde(default)]
pub struct Speed {
    /// Constant error, percent, positive is fast. Default: 0.
    pub error_percent: f64 = -20.0 to 20.0,
    /// Even change of speed, percent of nominal per minute; stops when it has come to 20 %. Default: 0.
    pub drift_percent_per_min: f64 = -5.0 to 5.0,
    /// Flutter lines; their peaks together at most 10 percent. Default: none.
    pub flutter: Vec<FlutterLine>,
    /// Random flutter. Default: none.
    pub random: Option<RandomFlutter>,
}

/// One sinusoidal line of flutter.
#[derive(Copy)]
pub struct FlutterLine {
    /// Frequency, Hz of true time.
    pub hz: f64 = 0.02 to 500.0,
    /// Peak deviation of the speed, percent of nominal.
    pub percent_peak: f64 = 0.0 to 10.0,
    /// Phase of the sine at the start of the return before cutting, degrees. Default: 0.
    #[serde(default)]
    pub phase_deg: f64 = -3600.0 to 3600.0,
    /// Even change of the frequency, as of a reel hub, Hz a minute; stops when it has changed the frequency by half. Default:
    /// 0.
    #[serde(default)]
    pub drift_hz_per_min: f64 = -10.0 to 10.0,
}

/// Random flutter within a band.
#[derive(Copy)]
pub struct RandomFlutter {
    /// Rms deviation of the speed, percent of nominal, unweighted; exact over the curve's own period of some minutes.
    pub percent_rms: f64 = 0.0 to 3.0,
    /// Lower end of the band, Hz. Default: 0.2.
    #[serde(default = "super::keys::tenths::<2>")]
    pub low_hz: f64 = 0.05 to 400.0,
    /// Upper end of the band, Hz, at least 1.2 times `low_hz`. Default: 200.
    #[serde(default = "super::keys::number::<200>")]
    pub high_hz: f64 = 0.05 to 500.0,
    /// Spectrum within the band. Default: one-over-f.
    #[serde(default)]
    pub shape: Shape,
}

/// Azimuth of the playback head against the recording.
#[derive(Default)]
#[serde(default)]
pub struct Azimuth {
    /// Angle, arc minutes; positive: the right channel lags. Default: 0.
    pub angle_arcmin: f64 = -60.0 to 60.0,
    /// Sinusoidal wander. Default: none.
    pub wander: Option<WanderLine>,
    /// Random wander. Default: none.
    pub random_wander: Option<RandomWander>,
}

/// Sinusoidal wander of the azimuth.
#[derive(Copy)]
pub struct WanderLine {
    /// Frequency, Hz.
    pub hz: f64 = 0.02 to 100.0,
    /// Peak, arc minutes.
    pub arcmin_peak: f64 = 0.0 to 20.0,
}

/// Random wander of the azimuth, with the same power in every octave of the band.
#[derive(Copy)]
pub struct RandomWander {
    /// Rms, arc minutes.
    pub arcmin_rms: f64 = 0.0 to 10.0,
    /// Lower end of the band, Hz. Default: 0.2.
    #[serde(default = "super::keys::tenths::<2>")]
    pub low_hz: f64 = 0.05 to 50.0,
    /// Upper end of the band, Hz, at least 1.2 times `low_hz`. Default: 5.
    #[serde(default = "super::keys::number::<5>")]
    pub high_hz: f64 = 0.05 to 100.0,
}

/// Losses of the playback head. Azimuth loss follows from the azimuth.
#[derive(Default)]
#[serde(default)]
pub struct Head {
    /// Distance between tape and head, um: -54.575 d/wavelength dB (Wallace, Bell System Technical Journal, October 1951).
    /// Default: 0.
    pub spacing_um: Sides = 0.0 to 20.0,
    /// Effective gap length, um: sin x / x, x = pi gap/wavelength. Default: 0.
    pub gap_um: Sides = 0.0 to 6.0,
    /// Head bump in the bass. Default: none.
    pub bump: Option<Peak>,
    /// Corner of the coupling capacitor's first-order high-pass, Hz, 0 for none. Default: 0.
    pub coupling_hz: Sides = 0.0 to 500.0,
    /// Dull head: loss at 8 kHz of a first-order low-pass, dB. Default: 0.
    pub dull_8k_db: Sides = 0.0 to 30.0,
    /// Losses of a sound head that the playback amplifier makes up for. Default: none.
    pub made_up_for: Option<MadeUpFor>,
}

/// Losses that the playback amplifier makes up for at nominal speed, by 12 dB at most. In a real deck a resonance of the head's
/// winding does it, nearly; here it is exact and of zero phase.
#[derive(Copy, Default)]
#[serde(default)]
pub struct MadeUpFor {
    /// Spacing, um. Default: 0.
    pub spacing_um: f64 = 0.0 to 2.0,
    /// Gap, um. Default: 0.
    pub gap_um: f64 = 0.0 to 3.0,
}

/// A resonance.
#[derive(Copy)]
pub struct Peak {
    /// Centre, Hz.
    pub hz: f64 = 5.0 to 20_000.0,
    /// Gain at the centre, dB.
    pub db: f64 = -30.0 to 30.0,
    /// Quality factor.
    pub q: f64 = 0.1 to 30.0,
}

/// Gain and response of one side of the deck.
#[derive(Default)]
#[serde(default)]
pub struct Path {
    /// Gain, dB. Default: 0.
    pub gain_db: Sides = -60.0 to 40.0,
    /// Response errors in series. Default: none.
    pub sections: Vec<Section>,
}

/// What the tape adds and takes.
#[derive(Default)]
#[serde(default)]
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
#[derive(Copy)]
pub struct Saturation {
    /// Third harmonic of a low tone at reference level as it lies on the tape, percent of the fundamental.
    pub k3_percent_at_0db: f64 = 0.0 to 10.0,
    /// Second harmonic there (asymmetric bias), percent; follows the level itself. Default: 0.
    #[serde(default)]
    pub k2_percent_at_0db: f64 = 0.0 to 3.0,
    /// By how much treble is lifted before and lowered after the curve, dB. Default: 10.
    #[serde(default = "super::keys::number::<10>")]
    pub treble_lift_db: f64 = 0.0 to 20.0,
    /// Where the lift begins, Hz. Default: 3000.
    #[serde(default = "super::keys::number::<3000>")]
    pub treble_from_hz: f64 = 500.0 to 10_000.0,
    /// By how much the output falls for each step that the lifted signal goes beyond the summit: loud treble wipes itself.
    /// Default: 0, it stays.
    #[serde(default)]
    pub self_erasing: f64 = 0.0 to 1.0,
}

/// Tape hiss, independent on each channel.
#[derive(Copy)]
pub struct Hiss {
    /// Unweighted level from 22.4 Hz to 22.4 kHz before the playback head, dB re 0 dB.
    pub db: Sides = -120.0 to 0.0,
    /// Spectrum before the playback head. Default: tape.
    #[serde(default)]
    pub colour: HissColour,
}

/// Noise that rises with the signal: the signal multiplied by low-pass noise.
#[derive(Copy)]
pub struct ModulationNoise {
    /// Its rms, dB re the signal's.
    pub db: f64 = -120.0 to -20.0,
    /// How far its skirts reach on each side of a tone, Hz (-3 dB). Default: 500.
    #[serde(default = "super::keys::number::<500>")]
    pub reach_hz: f64 = 1.0 to 5000.0,
}

/// Print-through from the neighbouring layers.
#[derive(Copy)]
pub struct PrintThrough {
    /// Echo before the signal, dB re the signal.
    pub pre_db: f64 = -120.0 to -20.0,
    /// Echo behind the signal, dB re the signal. Default: -120.
    #[serde(default = "super::keys::number::<{-120}>")]
    pub post_db: f64 = -120.0 to -20.0,
    /// Time of one turn of the reel, s of the programme. Default: 1.5.
    #[serde(default = "super::keys::tenths::<15>")]
    pub turn_s: f64 = 0.1 to 3.0,
}

/// One dropout.
#[derive(Copy)]
pub struct DropoutAt {
    /// Its middle, s from the start of the return before cutting.
    pub at_s: f64 = 0.0 to 100_000.0,
    /// Width at half of its depth (in amplitude), ms.
    pub length_ms: f64 = 0.5 to 2000.0,
    /// Depth in its middle, dB, positive.
    pub depth_db: f64 = 0.0 to 80.0,
    /// Channels. Default: both.
    #[serde(default)]
    pub channel: On,
}

/// Dropouts at random places, each on the left, the right or both.
#[derive(Copy)]
pub struct RandomDropouts {
    /// Mean number per minute.
    pub per_min: f64 = 0.0 to 600.0,
    /// Longest, ms; the shortest is a fifth of it. Default: 40.
    #[serde(default = "super::keys::number::<40>")]
    pub length_ms: f64 = 1.0 to 2000.0,
    /// Deepest, dB; the shallowest is a third of it. Default: 15.
    #[serde(default = "super::keys::number::<15>")]
    pub depth_db: f64 = 0.0 to 80.0,
}

/// Sinusoidal amplitude modulation.
#[derive(Copy)]
pub struct AmplitudeModulation {
    /// Frequency, Hz.
    pub hz: f64 = 0.02 to 500.0,
    /// Peak change of amplitude, percent.
    pub percent: f64 = 0.0 to 90.0,
}

/// Slow random change of level.
#[derive(Copy)]
pub struct LevelWander {
    /// Rms, dB.
    pub db_rms: f64 = 0.0 to 3.0,
    /// Lower end of the band, Hz. Default: 0.1.
    #[serde(default = "super::keys::tenths::<1>")]
    pub low_hz: f64 = 0.05 to 50.0,
    /// Upper end of the band, Hz, at least 1.2 times `low_hz`. Default: 3.
    #[serde(default = "super::keys::number::<3>")]
    pub high_hz: f64 = 0.05 to 100.0,
    /// Spectrum within the band. Default: flat.
    #[serde(default = "super::keys::flat")]
    pub shape: Shape,
}

/// What the amplifiers and the leads add.
#[derive(Default)]
#[serde(default)]
pub struct Electronics {
    /// Leakage of left into right, dB. Default: none.
    pub left_into_right_db: Option<f64> = -120.0 to 0.0,
    /// Leakage of right into left, dB. Default: none.
    pub right_into_left_db: Option<f64> = -120.0 to 0.0,
    /// From where leakage rises by 6 dB an octave (by 24 dB at most), Hz. Default: it does not.
    pub leak_rises_from_hz: Option<f64> = 50.0 to 20_000.0,
    /// Mains hum that gets in after the head. Default: none.
    pub hum: Option<Hum>,
    /// White noise of the playback amplifier, 22.4 Hz to 22.4 kHz, dB re 0 dB. Default: none.
    pub noise_db: Option<Sides> = -140.0 to 0.0,
    /// Channels whose polarity is inverted: `["left"]`, `["right"]`, `["both"]`. Default: none.
    pub inverted: Vec<On>,
    /// Left and right leads are exchanged. Default: false.
    pub swapped: bool,
    /// A channel whose playback head is dead; its amplifier still hums and hisses. Default: none.
    pub dead: Option<On>,
    /// Constant offset, fraction of full scale. Default: 0.
    pub dc_offset: Sides = -0.5 to 0.5,
    /// Noise reduction, a treble compander. Default: none.
    pub noise_reduction: Option<NoiseReduction>,
}

/// Noise reduction of the deck: quiet treble is lifted while recording and lowered as much while playing back.
#[derive(Copy)]
pub struct NoiseReduction {
    /// When it is on.
    pub on: NoiseReductionOn,
    /// By how much the quietest treble is lifted or lowered, dB. Default: 10.
    #[serde(default = "super::keys::number::<10>")]
    pub most_db: f64 = 0.0 to 20.0,
}

/// Mains hum, the same phase on both channels; picked up in the playback or recorded on the tape.
pub struct Hum {
    /// Mains frequency, Hz.
    pub hz: f64 = 45.0 to 65.0,
    /// Level of the fundamental, dB re 0 dB.
    pub level_db: Sides = -140.0 to 0.0,
    /// Levels of the 2nd, 3rd, ... harmonic, dB re the fundamental, at most 20 of them. Default: none.
    #[serde(default)]
    pub harmonics_db: Vec<f64> = -120.0 to 40.0,
}

/// What the sound card and its user do.
#[derive(Default)]
#[serde(default)]
pub struct Capture {
    /// Sample rate, Hz. Default: the programme's.
    pub rate_hz: Option<f64> = 32_000.0 to 192_000.0,
    /// Error of the card's clock, parts per million; positive: it takes more samples than it says, so the tape seems slow.
    /// Default: 0.
    pub clock_ppm: f64 = -10_000.0 to 10_000.0,
    /// Gain of the card's input, dB. Default: 0.
    pub trim_db: f64 = -60.0 to 60.0,
    /// Hard clipping, dBFS of the peak (0 is a full-scale sample). Default: none; a WAV clips at 0 anyway.
    pub clip_dbfs: Option<f64> = -60.0 to 20.0,
    /// Lossy compression on the way to the file. Default: none.
    pub lossy: Option<LossyCodec>,
    /// Automatic gain. Default: none.
    pub automatic_gain: Option<AutomaticGain>,
    /// Noise suppression of the sound card: what is quiet is made quieter. Default: none.
    pub noise_suppression: Option<NoiseSuppression>,
    /// Both channels carry one signal. Default: none.
    pub mono: Option<Mono>,
    /// Seconds missing at the start. Default: 0.
    pub cut_start_s: f64 = 0.0 to 3600.0,
    /// Seconds missing at the end (they are held in memory). Default: 0.
    pub cut_end_s: f64 = 0.0 to 30.0,
    /// Something else on the tape before the programme. Default: none.
    pub lead_in: Option<LeadIn>,
    /// Silence on the tape behind the programme, s. Default: 0.
    pub tail_s: f64 = 0.0 to 3600.0,
}

/// Automatic gain of the sound card.
#[derive(Copy)]
pub struct AutomaticGain {
    /// Time constant when the level is too high, ms. Default: 10.
    #[serde(default = "super::keys::number::<10>")]
    pub attack_ms: f64 = 0.1 to 1000.0,
    /// Time constant when the level is too low, s. Default: 1.5.
    #[serde(default = "super::keys::tenths::<15>")]
    pub release_s: f64 = 0.01 to 60.0,
    /// Peak at which it aims, dBFS of the peak. Default: -6.
    #[serde(default = "super::keys::number::<{-6}>")]
    pub target_dbfs: f64 = -40.0 to 0.0,
    /// Most that it lifts, dB. Default: 20.
    #[serde(default = "super::keys::number::<20>")]
    pub most_db: f64 = 0.0 to 60.0,
}

/// Noise suppression of the sound card, a gate: below a level the gain falls.
#[derive(Copy)]
pub struct NoiseSuppression {
    /// Level below which it shuts, dBFS of the mean magnitude. Default: -50.
    #[serde(default = "super::keys::number::<{-50}>")]
    pub below_dbfs: f64 = -90.0 to -20.0,
    /// By how much it lowers what is below, dB. Default: 20.
    #[serde(default = "super::keys::number::<20>")]
    pub most_db: f64 = 0.0 to 100.0,
}

/// A lossy codec, sketched.
#[derive(Copy)]
pub struct LossyCodec {
    /// Nothing is kept above this, Hz. Default: 16000.
    #[serde(default = "super::keys::number::<16000>")]
    pub low_pass_hz: f64 = 4000.0 to 96_000.0,
    /// How far the codec's noise lies below what masks it, dB: less is coarser. Default: 20.
    #[serde(default = "super::keys::number::<20>")]
    pub masking_db: f64 = 0.0 to 90.0,
}

/// Something else before the programme.
#[derive(Copy)]
pub struct LeadIn {
    /// What is heard.
    pub kind: LeadInKind,
    /// Length, s of the programme's clock.
    pub seconds: f64 = 0.0 to 3600.0,
    /// About its rms level, dBFS. Default: -20.
    #[serde(default = "super::keys::number::<{-20}>")]
    pub level_dbfs: f64 = -60.0 to -3.0,
}
}

tables! {
/// One minimum-phase section. The digital filter is a bilinear one; [`super::Truth`] speaks of that filter itself.
#[derive(Copy)]
#[serde(tag = "kind", rename_all = "kebab-case")]
pub enum Section {
    /// One zero and one pole, 0 dB in the bass, 20 lg(zero/pole) in the treble. A 120 us tape played back at 70 us has
    /// zero 70 and pole 120 (IEC 60094-1:1981 clause 15.1 for the time constants).
    Shelf {
        /// Time constant of the zero, us.
        zero_us: f64 = 1.0 to 10_000.0,
        /// Time constant of the pole, us.
        pole_us: f64 = 1.0 to 10_000.0,
        /// Channels. Default: both.
        #[serde(default)]
        channel: On,
    },
    /// First-order low-pass, -3 dB at `hz`.
    LowPass1 {
        /// Corner, Hz; those above 0.45 of the sample rate are moved there.
        hz: f64 = 100.0 to 96_000.0,
        /// Channels. Default: both.
        #[serde(default)]
        channel: On,
    },
    /// Second-order low-pass.
    LowPass2 {
        /// Corner, Hz; those above 0.45 of the sample rate are moved there.
        hz: f64 = 100.0 to 96_000.0,
        /// Quality factor; 0.7071 has no peak.
        q: f64 = 0.1 to 30.0,
        /// Channels. Default: both.
        #[serde(default)]
        channel: On,
    },
    /// First-order high-pass, -3 dB at `hz`.
    HighPass1 {
        /// Corner, Hz.
        hz: f64 = 0.5 to 5000.0,
        /// Channels. Default: both.
        #[serde(default)]
        channel: On,
    },
    /// Resonance or dip.
    Peaking {
        /// Centre, Hz.
        hz: f64 = 5.0 to 20_000.0,
        /// Gain at the centre, dB.
        db: f64 = -30.0 to 30.0,
        /// Quality factor.
        q: f64 = 0.1 to 30.0,
        /// Channels. Default: both.
        #[serde(default)]
        channel: On,
    },
}
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

/// Power spectrum of something random within its band.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Shape {
    /// Power per hertz in proportion to 1/f: the same power in every octave.
    #[default]
    OneOverF,
    /// The same power in every hertz.
    Flat,
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
