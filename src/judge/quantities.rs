//! The registry: every finding once, and every limit once.
//!
//! The order of the findings, what a finding can mean, the keys of a limits file with their built-in numbers and allowed
//! ranges, and what a change between readings is weighed by follow from these two tables. The numbers themselves are those of
//! [`common_practice`]. Which file makes a finding stands in `order.rs`.

use crate::judge::meaning::Quantity;
use crate::judge::tone_at_output::SANE_MV;
use crate::reading::{Served, Unit};
use crate::trade::common_practice::{self as practice, Bound, DeckClass, PracticeLimit};

/// What is judged.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Id {
    /// Whether the recording can be trusted.
    Capture,
    /// Whether left is left and right is right.
    Wiring,
    /// Mean tape speed.
    Speed,
    /// Wow and flutter.
    Flutter,
    /// Tilt of the head.
    Azimuth,
    /// Response.
    PlaybackResponse,
    /// Time constants of the playback amplifier.
    PlaybackEqualisation,
    /// Left against right.
    ChannelMatch,
    /// Level of a tape that is played back.
    PlaybackLevel,
    /// Level of what was recorded.
    RecordLevel,
    /// High tone against low tone.
    Bias,
    /// The same at the bias that suits the tape.
    RecordEqualisation,
    /// A-weighted noise.
    Noise,
    /// Mains hum.
    Hum,
    /// Third harmonic.
    Distortion,
    /// Maximum output in the treble.
    Saturation,
    /// Leakage between the channels.
    Separation,
    /// With the deck's noise reduction in against out.
    NoiseReduction,
    /// What erasing leaves.
    Erasing,
}

/// A row of the registry: one finding.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Judged {
    /// Which.
    pub id: Id,
    /// Its name in the JSON.
    pub name: &'static str,
    /// What the trade calls it.
    pub words: &'static str,
    /// Unit of its value.
    pub unit: Unit,
    /// Its row in the table of meanings; `None`: it is of the return itself.
    pub meaning: Option<Quantity>,
    /// Parts of a programme that it is measured from: any of these.
    pub served_by: &'static [Served],
    /// What it is judged by.
    pub limits: &'static [Key],
}

/// Every finding, in the order of work.
pub static QUANTITIES: [Judged; 19] = {
    use Id::*;
    use Quantity as Q;
    use Served as S;
    use Unit::*;
    [
        of_the_return(Capture, "capture", "the recording itself", Dbfs),
        of_the_return(Wiring, "wiring", "wiring", Db),
        row(Speed, "speed", "tape speed", Percent, Q::SpeedError, &[S::Flutter], &[Key::Speed]),
        row(
            Flutter,
            "flutter",
            "flutter",
            Percent,
            Q::Flutter,
            &[S::Flutter],
            &[Key::FlutterQuasiPeak, Key::FlutterRms],
        ),
        row(Azimuth, "azimuth", "azimuth", Us, Q::Azimuth, &[S::Azimuth, S::Response], &[Key::AzimuthPhase]),
        row(
            PlaybackResponse,
            "playback-response",
            "playback response",
            Db,
            Q::PlaybackResponse,
            &[S::Response],
            &[
                Key::Response,
                Key::ResponseFrom,
                Key::ResponseTo,
                Key::Bass,
                Key::BassFrom,
                Key::RecordPlayback,
                Key::RecordPlaybackFrom,
                Key::RecordPlaybackTo,
            ],
        ),
        row(
            PlaybackEqualisation,
            "playback-equalisation",
            "playback equalisation",
            Us,
            Q::PlaybackResponse,
            &[S::Injection],
            &[Key::HighTimeConstant, Key::LowTimeConstant],
        ),
        row(
            ChannelMatch,
            "channel-match",
            "left against right",
            Db,
            Q::ChannelMatch,
            &[S::Level],
            &[Key::ChannelMatch],
        ),
        row(
            PlaybackLevel,
            "playback-level",
            "playback level",
            Db,
            Q::PlaybackLevel,
            &[S::Level],
            &[
                Key::PlaybackLevel,
                Key::PlaybackLevelTarget,
                Key::OutputNominal,
                Key::OutputTolerance,
                Key::DeckStandard,
            ],
        ),
        row(
            RecordLevel,
            "record-level",
            "record level",
            Db,
            Q::Recording,
            &[S::Level, S::Bias],
            &[Key::RecordLevel],
        ),
        row(Bias, "bias", "bias", Db, Q::Recording, &[S::Bias, S::BiasSweep, S::Response], &[Key::BiasPair]),
        row(
            RecordEqualisation,
            "record-equalisation",
            "record equalisation",
            Db,
            Q::Recording,
            &[S::BiasSweep],
            &[Key::BiasPair],
        ),
        row(Noise, "noise", "noise", Db, Q::Noise, &[S::Noise], &[Key::Noise]),
        row(Hum, "hum", "hum", Db, Q::Noise, &[S::Noise], &[Key::Hum]),
        row(
            Distortion,
            "distortion",
            "distortion",
            Percent,
            Q::Recording,
            &[S::Distortion, S::Saturation],
            &[Key::ThirdHarmonic],
        ),
        row(
            Saturation,
            "saturation",
            "saturation",
            Db,
            Q::Recording,
            &[S::Saturation],
            &[Key::TrebleMaxOutput],
        ),
        row(Separation, "separation", "separation", Db, Q::Separation, &[S::Separation], &[Key::Separation]),
        row(
            NoiseReduction,
            "noise-reduction",
            "noise reduction, in against out",
            Db,
            Q::Recording,
            &[S::NoiseReduction],
            &[Key::NoiseReduction],
        ),
        row(Erasing, "erasing", "erasing", Db, Q::Recording, &[S::Erasing], &[Key::Erasing]),
    ]
};

const fn row(
    id: Id,
    name: &'static str,
    words: &'static str,
    unit: Unit,
    meaning: Quantity,
    served_by: &'static [Served],
    limits: &'static [Key],
) -> Judged {
    Judged { id, name, words, unit, meaning: Some(meaning), served_by, limits }
}

const fn of_the_return(id: Id, name: &'static str, words: &'static str, unit: Unit) -> Judged {
    Judged { id, name, words, unit, meaning: None, served_by: &[], limits: &[] }
}

/// The row of the finding with this name; `None` if there is none.
pub fn judged(name: &str) -> Option<&'static Judged> {
    QUANTITIES.iter().find(|row| row.name == name)
}

impl Id {
    /// Its row.
    pub fn row(self) -> &'static Judged {
        // The rows stand in the order of the names: held by a test.
        &QUANTITIES[self as usize]
    }
}

/// A key of a limits file.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Key {
    /// Mean speed error either way, percent.
    Speed,
    /// Flutter, weighted quasi-peak, at most, percent.
    FlutterQuasiPeak,
    /// Flutter, weighted rms, at most, percent.
    FlutterRms,
    /// Phase between the channels at 10 kHz either way, degrees.
    AzimuthPhase,
    /// Playback response either way, dB.
    Response,
    /// From here, Hz.
    ResponseFrom,
    /// Up to here, Hz.
    ResponseTo,
    /// Bass of the playback response, below [`Key::ResponseFrom`], either way, dB.
    Bass,
    /// From here, Hz.
    BassFrom,
    /// Response of what this deck recorded and played back either way, dB.
    RecordPlayback,
    /// From here, Hz.
    RecordPlaybackFrom,
    /// Up to here, Hz.
    RecordPlaybackTo,
    /// High-frequency time constant of the playback amplifier against the curve's, either way, percent.
    HighTimeConstant,
    /// Low-frequency time constant likewise, percent.
    LowTimeConstant,
    /// Left against right, dB.
    ChannelMatch,
    /// Playback level against its target either way, dB.
    PlaybackLevel,
    /// Level that a 0 dB part shall reach in the return, dBFS.
    ///
    /// Only who knows how the sound card's full scale relates to the deck's line output can tell.
    PlaybackLevelTarget,
    /// Output that the service manual gives for the deck's level mark, mV rms.
    OutputNominal,
    /// Its tolerance either way, mV; without it [`Key::PlaybackLevel`] holds.
    OutputTolerance,
    /// Fluxivity that the deck's level mark, 0 of its meter, stands for, nWb/m.
    DeckStandard,
    /// Level of what this deck records and plays back, against its target either way, dB.
    RecordLevel,
    /// High tone against low tone at -20 dB, recorded and played back, either way, dB.
    BiasPair,
    /// A-weighted noise against its reference, at most, dB.
    Noise,
    /// Mains hum against its reference, at most, dB.
    Hum,
    /// Third harmonic at 0 dB, at most, percent.
    ThirdHarmonic,
    /// Highest output of the main treble tone against the reference level, at least, dB.
    TrebleMaxOutput,
    /// Leakage of either channel into the other at 1 kHz, at most, dB below 0.
    Separation,
    /// Noise reduction in against out, mean of a band, either way, dB.
    NoiseReduction,
    /// What erasing leaves of a tone, at most, dB below 0.
    Erasing,
}

/// Where the built-in number of a limit comes from.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum BuiltIn {
    /// A row of common practice, for the class of the deck.
    Practice(PracticeLimit),
    /// What practice asks of a portable, for every deck: what a portable must keep, a good one must as well.
    AnyDeck(PracticeLimit),
    /// These, for full-size decks and for portables, on the basis of a row.
    Numbers([f64; 2], PracticeLimit),
    /// Practice knows none, only a service manual does.
    None,
    /// A fact of this deck, not a rule of practice: who tells it, in words.
    Told(&'static str),
}

/// What a limits file may say.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Allowed {
    /// Above 0.
    Above,
    /// Below 0 dB.
    Below,
    /// From the first to the second, dB.
    Range(f64, f64),
    /// From the first to the second, in this unit.
    From(f64, f64, &'static str),
}

/// A row of the limits.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Limit {
    /// Which.
    pub key: Key,
    /// Its key in a limits file.
    pub name: &'static str,
    /// Its number where no file says another.
    pub built_in: BuiltIn,
    /// What a file may say.
    pub allowed: Allowed,
}

/// Every limit, in the order in which they are printed.
pub static LIMITS: [Limit; 29] = {
    use Allowed::*;
    use BuiltIn::{AnyDeck, Numbers, Practice, Told};
    let hz = [practice::PLAYBACK_RESPONSE_FULL_SIZE_HZ, practice::PLAYBACK_RESPONSE_PORTABLE_HZ];
    let lowest = [hz[1].0; 2];
    [
        limit(Key::Speed, "speed_percent", Practice(practice::SPEED_ERROR), Above),
        limit(
            Key::FlutterQuasiPeak,
            "flutter_weighted_quasi_peak_percent",
            Practice(practice::FLUTTER_WEIGHTED_PEAK),
            Above,
        ),
        limit(
            Key::FlutterRms,
            "flutter_weighted_rms_percent",
            Practice(practice::FLUTTER_WEIGHTED_RMS),
            Above,
        ),
        limit(Key::AzimuthPhase, "azimuth_phase_deg", Practice(practice::AZIMUTH_PHASE), Above),
        limit(Key::Response, "playback_response_db", Practice(practice::PLAYBACK_RESPONSE), Above),
        limit(
            Key::ResponseFrom,
            "playback_response_from_hz",
            Numbers([hz[0].0, hz[1].0], practice::PLAYBACK_RESPONSE),
            Above,
        ),
        limit(
            Key::ResponseTo,
            "playback_response_to_hz",
            Numbers([hz[0].1, hz[1].1], practice::PLAYBACK_RESPONSE),
            Above,
        ),
        limit(Key::Bass, "bass_response_db", AnyDeck(practice::PLAYBACK_RESPONSE), Above),
        limit(Key::BassFrom, "bass_response_from_hz", Numbers(lowest, practice::PLAYBACK_RESPONSE), Above),
        limit(
            Key::RecordPlayback,
            "record_playback_response_db",
            Numbers([practice::RECORD_PLAYBACK_DOWN_DB; 2], practice::RECORD_PLAYBACK_HF_TYPE_2_4),
            Above,
        ),
        limit(
            Key::RecordPlaybackFrom,
            "record_playback_response_from_hz",
            Numbers(lowest, practice::RECORD_PLAYBACK_HF_TYPE_2_4),
            Above,
        ),
        // On types II to IV; on type I practice asks for less: see `Limits::response`.
        limit(
            Key::RecordPlaybackTo,
            "record_playback_response_to_hz",
            Practice(practice::RECORD_PLAYBACK_HF_TYPE_2_4),
            Above,
        ),
        limit(
            Key::HighTimeConstant,
            "high_time_constant_percent",
            Practice(practice::PLAYBACK_HIGH_TIME_CONSTANT),
            Above,
        ),
        limit(
            Key::LowTimeConstant,
            "low_time_constant_percent",
            Practice(practice::PLAYBACK_LOW_TIME_CONSTANT),
            Above,
        ),
        limit(Key::ChannelMatch, "channel_match_db", Practice(practice::CHANNEL_MATCH), Above),
        limit(Key::PlaybackLevel, "playback_level_db", Practice(practice::PLAYBACK_LEVEL), Above),
        limit(Key::PlaybackLevelTarget, "playback_level_target_dbfs", BuiltIn::None, Below),
        limit(
            Key::OutputNominal,
            "output_nominal_mv",
            Told("mV rms at the deck's level mark, by its manual"),
            From(SANE_MV.0, SANE_MV.1, "mV"),
        ),
        limit(
            Key::OutputTolerance,
            "output_tolerance_mv",
            Told("either way, if the manual gives it in mV; else playback_level_db holds"),
            Above,
        ),
        limit(
            Key::DeckStandard,
            "deck_standard_nwb_m",
            Told("what the mark, 0 of the deck's meter, stands for, by its manual"),
            From(50.0, 1000.0, "nWb/m"),
        ),
        limit(Key::RecordLevel, "record_level_db", Practice(practice::RECORD_LEVEL_MATCH), Above),
        limit(Key::BiasPair, "bias_pair_db", Practice(practice::BIAS_PAIR_MATCH), Above),
        limit(Key::Noise, "noise_a_weighted_db", Practice(practice::NOISE_A_WEIGHTED), Below),
        limit(Key::Hum, "hum_db", Practice(practice::HUM), Below),
        limit(Key::ThirdHarmonic, "third_harmonic_percent", BuiltIn::None, Above),
        limit(Key::TrebleMaxOutput, "treble_max_output_db", BuiltIn::None, Range(-40.0, 20.0)),
        limit(Key::Separation, "separation_db", BuiltIn::None, Below),
        limit(Key::NoiseReduction, "noise_reduction_db", Practice(practice::NOISE_REDUCTION), Above),
        limit(Key::Erasing, "erasing_db", Practice(practice::ERASING), Below),
    ]
};

const fn limit(key: Key, name: &'static str, built_in: BuiltIn, allowed: Allowed) -> Limit {
    Limit { key, name, built_in, allowed }
}

impl Key {
    /// Its row.
    pub fn row(self) -> &'static Limit {
        // The rows stand in the order of the names: held by a test.
        &LIMITS[self as usize]
    }
}

/// The number of a bound, where it has one; of a range its upper end.
pub(crate) fn number(bound: Bound) -> f64 {
    match bound {
        Bound::PlusMinus(value) | Bound::AtMost(value) | Bound::AtLeast(value) | Bound::Between(_, value) => {
            value
        }
    }
}

impl BuiltIn {
    /// The number for decks of `class`, called `deck`, and its basis in words; `None` where practice knows none.
    pub(crate) fn of(self, class: DeckClass, deck: &str) -> Option<(f64, String)> {
        let words = |deck: &str, row: PracticeLimit| format!("{deck}: {}", row.basis.text());
        match self {
            Self::Practice(row) => Some((number(row.bound(class)), words(deck, row))),
            Self::AnyDeck(row) => Some((number(row.bound(DeckClass::Portable)), words("any deck", row))),
            Self::Numbers(values, row) => {
                Some((values[usize::from(class == DeckClass::Portable)], words(deck, row)))
            }
            Self::None | Self::Told(_) => None,
        }
    }
}

impl Limit {
    /// Size of the largest number that is one of a deck, in the unit that the name ends in.
    fn most(&self) -> f64 {
        match self.name.rsplit('_').next() {
            Some("hz") => 100_000.0,
            Some("mv") => 20_000.0,
            Some("deg") => 360.0,
            Some("db" | "dbfs") => 200.0,
            _ => 100.0,
        }
    }

    /// Whether `value` may stand in a limits file.
    pub(crate) fn holds(&self, value: f64) -> bool {
        match self.allowed {
            Allowed::Above => value > 0.0 && value <= self.most(),
            Allowed::Below => value < 0.0 && value >= -self.most(),
            Allowed::Range(low, high) | Allowed::From(low, high, _) => (low..=high).contains(&value),
        }
    }

    /// What may stand there, in words.
    pub(crate) fn expected(&self) -> String {
        match self.allowed {
            Allowed::Above => format!("a number above 0 and at most {}", self.most()),
            Allowed::Below => format!("a number of dB below 0 and at least -{}", self.most()),
            Allowed::Range(low, high) => format!("a number of dB from {low} to {high}"),
            Allowed::From(low, high, unit) => format!("a number from {low} to {high} {unit}"),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn rows_stand_at_their_place_and_names_once() {
        for (k, row) in QUANTITIES.iter().enumerate() {
            assert_eq!(row.id as usize, k, "{}", row.name);
            assert_eq!(judged(row.name), Some(row));
        }
        for (k, limit) in LIMITS.iter().enumerate() {
            assert_eq!(limit.key as usize, k, "{}", limit.name);
            assert_eq!(LIMITS.iter().filter(|other| other.name == limit.name).count(), 1, "{}", limit.name);
            let uses = |row: &&Judged| row.limits.contains(&limit.key);
            assert!(QUANTITIES.iter().any(|row| uses(&row)), "{} judges nothing", limit.name);
        }
    }

    #[test]
    fn every_built_in_number_is_one_that_a_file_may_say() {
        for limit in &LIMITS {
            for class in [DeckClass::FullSize, DeckClass::Portable] {
                if let Some((value, _)) = limit.built_in.of(class, "deck") {
                    assert!(limit.holds(value), "{} {value}", limit.name);
                }
            }
        }
    }
}
