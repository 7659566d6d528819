//! The measured sections of a reading.

use super::{Channel, FileTime, Pair, SpeedFromLength};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// When, by what and for which deck a reading was made.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Made {
    /// Date and time of the reading (not of the recording), as `2026-11-26 09:30 UTC`.
    pub at: String,
    /// Version of the program.
    pub version: String,
    /// Which deck it was, in the words of whoever read it.
    pub deck: Option<String>,
    /// Folder and file of the job that circumstances and limits were taken from; `null` if none.
    #[serde(default)]
    pub job: Option<String>,
}

/// Which recipe the return was read by.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct RecipeId {
    /// Name of the recipe; `unknown` if the slates carry a code that no known recipe has (then nothing was measured).
    pub name: String,
    /// What the slate carried, as four hexadecimal digits.
    pub code: String,
    /// What its parts are for, each once; `null` where the recipe is not known.
    #[serde(default)]
    pub serves: Option<Vec<Served>>,
}

/// What a part of a programme is for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Served {
    /// Level against the programme.
    Level,
    /// Response.
    Response,
    /// Azimuth and its wander.
    Azimuth,
    /// Flutter and speed.
    Flutter,
    /// Noise of the deck.
    Noise,
    /// Harmonics and difference tones.
    Distortion,
    /// What happens near saturation.
    Saturation,
    /// Leakage between the channels.
    Separation,
    /// Bias and record level, in rounds.
    Bias,
    /// Bias in steps.
    BiasSweep,
    /// Noise reduction, in and out.
    NoiseReduction,
    /// What erasing leaves.
    Erasing,
    /// The playback amplifier, without a tape.
    Injection,
}

/// The recording itself.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Capture {
    /// File as given.
    pub file: String,
    /// Sample rate in the file's header, Hz.
    pub rate_hz: f64,
    /// Sample format: `16`, `24`, `32` or `float`.
    pub depth: String,
    /// Length of the file, s.
    pub duration_s: f64,
    /// Largest absolute sample, dB re full-scale sine peak (a full-scale sample is 0).
    pub peak_dbfs: Pair,
    /// Samples that are clipped.
    pub clipped_samples: [u64; 2],
    /// Slates whose place and code were both read.
    pub slates_found: u32,
    /// Start of the first slate found, s of the return.
    pub first_slate_s: Option<FileTime>,
    /// True if left and right were exchanged; everything else in the reading has it undone.
    pub channels_swapped: bool,
    /// True where the polarity is inverted against the programme, after undoing a swap.
    pub inverted: [bool; 2],
    /// True if both channels carry one and the same signal, or the file has one channel.
    pub mono: bool,
    /// Loopback capture that was subtracted; `null` if none.
    pub loopback: Option<String>,
}

/// One level tone.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Level {
    /// Identifier of the part.
    pub part: String,
    /// Frequency in the programme, Hz.
    pub hz: f64,
    /// Level in the programme, dB re its reference level.
    pub programme_db: f64,
    /// Level of the return, dBFS (0 dBFS is the rms of a full-scale sine).
    pub return_dbfs: Pair,
    /// Return minus programme, both in dBFS.
    pub gain_db: Pair,
    /// Left minus right, dB.
    pub difference_db: Option<f64>,
    /// Expanded uncertainty of each level, dB.
    pub uncertainty_db: f64,
    /// Expanded uncertainty of `programme_db`, dB: what is not known of a tape that somebody else recorded; `null` where the
    /// programme is ours.
    #[serde(default)]
    pub programme_uncertainty_db: Option<f64>,
}

/// Response relative to the reference frequency.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Response {
    /// Frequency whose response is 0 dB, Hz.
    pub reference_hz: f64,
    /// Level of the steps in the programme, dB re its reference level.
    pub programme_db: f64,
    /// From stepped tones.
    pub steps: Vec<ResponsePoint>,
    /// From the sweep, in third octaves (IEC 61260-1 exact mid-bands): the mean level over the band, in dB over log
    /// frequency, so that a steep slope reads as at mid-band.
    pub sweep: Vec<ResponsePoint>,
    /// From noise, in third octaves.
    pub noise: Vec<ResponsePoint>,
    /// All of them together at the frequencies of the steps; where they contradict each other, the step's own. Empty without
    /// steps, or where nothing stands beside them.
    #[serde(default)]
    pub combined: Vec<ResponsePoint>,
    /// Where the response has fallen by 3 dB towards low frequencies, Hz; `null` if it never does.
    pub low_3db_hz: Pair,
    /// Where the response has fallen by 3 dB towards high frequencies, Hz; `null` if it never does.
    pub high_3db_hz: Pair,
}

/// Response at one frequency.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ResponsePoint {
    /// Frequency in the programme, or exact mid-band frequency, Hz.
    pub hz: f64,
    /// Gain relative to the gain at the reference frequency, dB.
    pub db: Pair,
    /// Expanded uncertainty, dB.
    pub uncertainty_db: Pair,
    /// Left minus right of the gains themselves (not of the relative responses), dB.
    pub difference_db: Option<f64>,
    /// Expanded uncertainty of the difference, dB, where it is not that of both gains together: what is not known of a tape
    /// touches both channels alike.
    #[serde(default)]
    pub difference_uncertainty_db: Option<f64>,
}

/// Inter-channel delay and what follows from it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Azimuth {
    /// Delay that a tilted head makes, positive if the right channel lags, us.
    pub delay_us: Option<f64>,
    /// Expanded uncertainty of the delay, us.
    pub uncertainty_us: Option<f64>,
    /// tan(angle) = tape speed x delay / centre distance of the pair, minutes of arc.
    pub angle_arcmin: Option<f64>,
    /// Rms of the delay's movement between 0.1 and 10 Hz, noise subtracted, us.
    pub wander_us_rms: Option<f64>,
    /// Loss of each channel at 10 kHz by this angle, dB, negative or zero.
    pub loss_at_10k_db: Option<f64>,
    /// Phase right minus left at each frequency as measured (channel differences not subtracted).
    pub phase: Vec<PhasePoint>,
}

/// Inter-channel phase at one frequency.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct PhasePoint {
    /// Frequency in the programme, Hz.
    pub hz: f64,
    /// Right minus left, unwrapped along the fitted delay, degrees.
    pub deg: f64,
    /// Standard deviation over the part, degrees.
    pub spread_deg: f64,
    /// What the channels' different responses contribute by the fit, degrees.
    pub response_deg: Option<f64>,
}

/// Mean speed and its drift.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Speed {
    /// Mean speed error, positive is fast, percent.
    pub error_percent: f64,
    /// Expanded uncertainty of the mean, clocks of player and sound card not included, percent.
    pub uncertainty_percent: f64,
    /// Change of the speed error along the programme; `null` if the stretch is too short.
    pub drift_percent_per_min: Option<f64>,
    /// Absolute speed from a measured length of tape, if one was given.
    #[serde(default)]
    pub from_length: Option<SpeedFromLength>,
}

/// Flutter of one steady tone.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Flutter {
    /// Frequency of the tone in the programme, Hz.
    pub carrier_hz: f64,
    /// Start of the stretch that was measured, s of the return.
    pub measured_from_s: FileTime,
    /// End of the stretch that was measured, s of the return.
    pub measured_to_s: FileTime,
    /// Time that was measured between them, s; `null` where it is all of it.
    #[serde(default)]
    pub measured_over_s: Option<f64>,
    /// Weighted, quasi-peak (IEC 60386), percent.
    pub weighted_quasi_peak_percent: Option<f64>,
    /// Weighted, rms, percent.
    pub weighted_rms_percent: Option<f64>,
    /// Weighted, the deviation exceeded 5 % of the time, percent.
    pub two_sigma_percent: Option<f64>,
    /// Largest deviation in the unweighted band, percent.
    pub unweighted_peak_percent: Option<f64>,
    /// Rms in the unweighted band, percent.
    pub unweighted_rms_percent: Option<f64>,
    /// Rms below the wow/flutter split, percent.
    pub wow_rms_percent: Option<f64>,
    /// Rms above the wow/flutter split, percent.
    pub flutter_rms_percent: Option<f64>,
    /// Expanded uncertainty of the rms figures, percent: the largest of theirs in `uncertainties`.
    pub uncertainty_percent: Option<f64>,
    /// Expanded uncertainty of each figure as the figure of this very stretch, percent. How much the flutter itself
    /// changes from stretch to stretch is in `spread`.
    #[serde(default)]
    pub uncertainties: FlutterFigures,
    /// The figures of consecutive stretches of equal length, in order.
    #[serde(default)]
    pub stretches: Vec<FlutterStretch>,
    /// Lowest, median and highest of the figures of `stretches`; `null` for fewer than two.
    #[serde(default)]
    pub spread: Option<FlutterSpread>,
    /// Change of the tone's frequency along the stretch, percent per minute; subtracted before anything else.
    #[serde(default)]
    pub drift_percent_per_min: Option<f64>,
    /// Share of the stretch in which both channels were so weak (9 dB down or more) that the tone was bridged, percent.
    #[serde(default)]
    pub bridged_percent: Option<f64>,
    /// Share that each channel has in the figures: its power over its noise.
    #[serde(default)]
    pub channel_shares: Option<[f64; 2]>,
    /// Rate at whose multiples flutter would cancel if record and playback head worked on the same tape at the same time,
    /// at the medium's usual head distance, Hz.
    #[serde(default)]
    pub simultaneous_null_hz: Option<f64>,
    /// `[low, split, high]`: limits of the unweighted band and the split between wow and flutter, Hz.
    pub band_hz: [f64; 3],
    /// Single lines of the spectrum, strongest first.
    pub lines: Vec<FlutterLine>,
    /// `[modulation frequency Hz, percent rms]`, one row a line of the spectrum.
    pub spectrum: Vec<[f64; 2]>,
    /// Bandwidth of each row of `spectrum`, Hz: noise of one density reads higher the wider the row.
    #[serde(default)]
    pub spectrum_widths_hz: Vec<f64>,
    /// The deviation over time; `null` where the stretch is too short for a course.
    #[serde(default)]
    pub speed_against_time: Option<SpeedAgainstTime>,
    /// Mean frequency of the tone second by second, drift and all.
    #[serde(default)]
    pub mean_speed: Vec<MeanSpeed>,
}

impl Flutter {
    /// Time that was measured, s.
    pub fn over_s(&self) -> f64 {
        self.measured_over_s.unwrap_or(self.measured_to_s - self.measured_from_s)
    }

    /// The figures of the whole stretch.
    pub fn figures(&self) -> FlutterFigures {
        FlutterFigures {
            weighted_quasi_peak_percent: self.weighted_quasi_peak_percent,
            weighted_rms_percent: self.weighted_rms_percent,
            two_sigma_percent: self.two_sigma_percent,
            unweighted_peak_percent: self.unweighted_peak_percent,
            unweighted_rms_percent: self.unweighted_rms_percent,
            wow_rms_percent: self.wow_rms_percent,
            flutter_rms_percent: self.flutter_rms_percent,
        }
    }
}

/// The mean frequency of a tone over a second or so.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct MeanSpeed {
    /// Middle of the piece, s of the return.
    pub at_s: FileTime,
    /// Mean frequency, Hz.
    pub hz: f64,
    /// Against the mean over all pieces, percent.
    pub percent: f64,
}

/// Deviation of the speed over time, as a chart recorder draws it: not weighted, drift subtracted.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct SpeedAgainstTime {
    /// Rates that are in it, from and to, Hz.
    pub band_hz: [f64; 2],
    /// Length of each piece, s.
    pub piece_s: f64,
    /// `[s of the return, lowest percent, highest percent]`: middle of a piece, and the deviation's ends within it. At most
    /// 400 pieces of equal length.
    #[schemars(with = "Vec<[f64; 3]>")]
    pub pieces: Vec<(FileTime, f64, f64)>,
}

/// One value of each kind of flutter, percent; `null` where a stretch is too short for it.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize, JsonSchema)]
#[serde(default)]
pub struct FlutterFigures {
    /// Weighted, quasi-peak.
    pub weighted_quasi_peak_percent: Option<f64>,
    /// Weighted, rms.
    pub weighted_rms_percent: Option<f64>,
    /// Weighted, exceeded 5 % of the time.
    pub two_sigma_percent: Option<f64>,
    /// Largest deviation in the unweighted band.
    pub unweighted_peak_percent: Option<f64>,
    /// Rms in the unweighted band.
    pub unweighted_rms_percent: Option<f64>,
    /// Rms below the wow/flutter split.
    pub wow_rms_percent: Option<f64>,
    /// Rms above the wow/flutter split.
    pub flutter_rms_percent: Option<f64>,
}

/// The figures of a piece of the tone.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct FlutterStretch {
    /// Its start, s of the return.
    pub from_s: FileTime,
    /// Its end, s of the return.
    pub to_s: FileTime,
    /// Its figures.
    pub figures: FlutterFigures,
}

/// How the figures change along the tone.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct FlutterSpread {
    /// Length of each stretch, s.
    pub stretch_s: f64,
    /// Lowest of each kind.
    pub lowest: FlutterFigures,
    /// Median of each kind.
    pub median: FlutterFigures,
    /// Highest of each kind.
    pub highest: FlutterFigures,
}

/// One line of the flutter spectrum.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct FlutterLine {
    /// Rate, Hz.
    pub hz: f64,
    /// Peak deviation, percent; of a smeared line that of a sine of the same power.
    pub percent_peak: f64,
    /// Range of rates over which the line is smeared because it moves, Hz; `null` for a steady line.
    #[serde(default)]
    pub width_hz: Option<f64>,
    /// Even change of the rate along the tone, Hz per minute; only of lines below 4 Hz, and `null` where it cannot be told.
    #[serde(default)]
    pub drift_hz_per_min: Option<f64>,
    /// Expanded uncertainty of that change, Hz per minute.
    #[serde(default)]
    pub drift_uncertainty_hz_per_min: Option<f64>,
    /// Part of the deck that turns at this rate, or several that may; `null` if none is known.
    pub part: Option<String>,
    /// Which harmonic of the part's rate the line is, 1 the rate itself; `null` without a part.
    #[serde(default)]
    pub harmonic: Option<u32>,
    /// True if the part follows from usual ranges only: it could be this one.
    #[serde(default)]
    pub could_be: bool,
}

/// A short loss of level in a steady tone.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Dropout {
    /// Where, s of the return.
    pub at_s: FileTime,
    /// Identifier of the part.
    pub part: String,
    /// Largest loss against the part's level, dB, positive.
    pub depth_db: f64,
    /// How long the level was down by more than half of that loss, ms.
    pub length_ms: f64,
    /// `left`, `right` or `both`.
    pub channel: Channel,
}
