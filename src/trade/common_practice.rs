//! Rules of thumb of the trade. They are no standards; a service manual's own figure always wins.
//!
//! "Full-size" is a full-size deck worth calibrating, "portable" is a portable or a simple deck. Each row says what it rests on.

/// What a limit rests on.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Basis {
    /// Practised in the trade; no document says so.
    CommonPractice,
    /// Stated somewhere, but written down here from memory.
    FromMemory,
}

impl Basis {
    /// The words that go with a finding.
    pub fn text(self) -> &'static str {
        match self {
            Self::CommonPractice => "common practice, no source",
            Self::FromMemory => "from memory",
        }
    }
}

/// A limit, in the unit of its row.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Bound {
    /// The magnitude is at most this.
    PlusMinus(f64),
    /// The value (a size, or a level below its reference) is at most this.
    AtMost(f64),
    /// At least this.
    AtLeast(f64),
    /// From the first to the second, ends included.
    Between(f64, f64),
}

impl Bound {
    /// Whether `value` keeps the limit, ends included. NaN never does.
    pub fn holds(self, value: f64) -> bool {
        self.excess(value) <= 0.0
    }

    /// By how much `value` lies outside, in its unit: above 0 outside, 0 on the limit, below 0 inside (the room that is
    /// left). NaN for NaN.
    pub fn excess(self, value: f64) -> f64 {
        match self {
            Self::PlusMinus(limit) => value.abs() - limit,
            Self::AtMost(limit) => value - limit,
            Self::AtLeast(limit) => limit - value,
            // f64::max would swallow a NaN.
            Self::Between(low, high) => (value - (low + high) / 2.0).abs() - (high - low) / 2.0,
        }
    }
}

/// One limit of common practice.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PracticeLimit {
    /// Name, for look-up and for limits files.
    pub id: &'static str,
    /// What is limited, in words.
    pub quantity: &'static str,
    /// Limit for a full-size deck worth calibrating.
    pub full_size: Bound,
    /// Limit for a portable or a simple deck; `None` where practice asks nothing of those.
    pub portable: Option<Bound>,
    /// Unit of both limits.
    pub unit: &'static str,
    /// What the limits rest on.
    pub basis: Basis,
}

/// Which decks a limit is for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum DeckClass {
    /// Full-size deck worth calibrating.
    FullSize,
    /// Portable or simple deck.
    Portable,
}

impl PracticeLimit {
    /// The limit for decks of `class`; that of a full-size deck where practice asks nothing of portables.
    pub fn bound(&self, class: DeckClass) -> Bound {
        match class {
            DeckClass::FullSize => self.full_size,
            DeckClass::Portable => self.portable.unwrap_or(self.full_size),
        }
    }
}

/// Band in Hz in which `playback-response` and `channel-match` of a full-size deck hold (common practice, no source).
pub const PLAYBACK_RESPONSE_FULL_SIZE_HZ: (f64, f64) = (400.0, 15_000.0);
/// Band in Hz in which `playback-response` of a portable holds (common practice, no source).
pub const PLAYBACK_RESPONSE_PORTABLE_HZ: (f64, f64) = (63.0, 10_000.0);
/// Frequency at which `azimuth-phase` holds, Hz (common practice, no source).
pub const AZIMUTH_PHASE_HZ: f64 = 10_000.0;
/// A recording must hold the tones up to here for an azimuth, Hz: below 6 kHz the phase of networks is as large as that of a tilt
/// (common practice, no source).
pub const AZIMUTH_NEEDS_HZ: f64 = 8000.0;
/// Tone by which speed and flutter are told, Hz (IEC 60386, from memory).
pub const SPEED_TONE_HZ: f64 = 3150.0;
/// Torque of 1 g.cm in mN.m: exact, from the standard gravity 9.80665 m/s2.
pub const G_CM_IN_MN_M: f64 = 0.0980665;

/// Playback response, in [`PLAYBACK_RESPONSE_FULL_SIZE_HZ`] or [`PLAYBACK_RESPONSE_PORTABLE_HZ`].
pub const PLAYBACK_RESPONSE: PracticeLimit =
    row("playback-response", "playback response", pm(1.0), Some(pm(3.0)), "dB", PRACTICE);
/// Frequency up to which record and playback together are down by no more than [`RECORD_PLAYBACK_DOWN_DB`] at -20 dB, type I.
pub const RECORD_PLAYBACK_HF_TYPE_1: PracticeLimit =
    row("record-playback-hf-type-1", "3 dB down, type I", least(16e3), Some(least(12.5e3)), "Hz", PRACTICE);
/// The same on types II and IV.
pub const RECORD_PLAYBACK_HF_TYPE_2_4: PracticeLimit = row(
    "record-playback-hf-type-2-4",
    "3 dB down, types II, IV",
    least(20e3),
    Some(least(12.5e3)),
    "Hz",
    PRACTICE,
);
/// What record and playback together may be down at the frequencies above, dB (common practice, no source).
pub const RECORD_PLAYBACK_DOWN_DB: f64 = 3.0;
/// Playback level against the deck's standard.
pub const PLAYBACK_LEVEL: PracticeLimit =
    row("playback-level", "playback level of the level tone", pm(0.5), Some(pm(1.5)), "dB", PRACTICE);
/// Left against right, at the level tone and in the response.
pub const CHANNEL_MATCH: PracticeLimit =
    row("channel-match", "left against right", most(1.0), Some(most(2.0)), "dB", PRACTICE);
/// Phase between the channels at [`AZIMUTH_PHASE_HZ`].
pub const AZIMUTH_PHASE: PracticeLimit =
    row("azimuth-phase", "phase between channels at 10 kHz", pm(20.0), Some(pm(60.0)), "degree", MEMORY);
/// Mean speed.
pub const SPEED_ERROR: PracticeLimit = row("speed-error", "speed error", pm(0.5), Some(pm(1.5)), "%", MEMORY);
/// Flutter, weighted, quasi-peak.
pub const FLUTTER_WEIGHTED_PEAK: PracticeLimit =
    row("flutter-weighted-peak", "flutter, weighted quasi-peak", most(0.15), Some(most(0.3)), "%", MEMORY);
/// Flutter, weighted, rms.
pub const FLUTTER_WEIGHTED_RMS: PracticeLimit =
    row("flutter-weighted-rms", "flutter, weighted rms", most(0.08), Some(most(0.2)), "%", MEMORY);
/// Noise of a played blank tape, A-weighted, against the reference level.
pub const NOISE_A_WEIGHTED: PracticeLimit =
    row("noise-a-weighted", "A-weighted noise", most(-48.0), Some(most(-42.0)), "dB", MEMORY);
/// Mains hum against the reference level.
pub const HUM: PracticeLimit = row("hum", "mains hum", most(-55.0), Some(most(-45.0)), "dB", MEMORY);
/// Source against tape at the reference level, each channel.
pub const RECORD_LEVEL_MATCH: PracticeLimit = row(
    "record-level-match",
    "source against tape at reference level",
    pm(0.5),
    Some(pm(1.0)),
    "dB",
    PRACTICE,
);
/// High tone against low tone at -20 dB after setting bias.
pub const BIAS_PAIR_MATCH: PracticeLimit =
    row("bias-pair-match", "high tone against low tone at -20 dB", pm(0.5), Some(pm(1.5)), "dB", PRACTICE);

/// Noise reduction in against out, recorded and played back on one deck, mean of a band.
pub const NOISE_REDUCTION: PracticeLimit =
    row("noise-reduction", "noise reduction, in against out", pm(2.0), Some(pm(3.0)), "dB", MEMORY);
/// What erasing leaves of a tone at the reference level.
pub const ERASING: PracticeLimit =
    row("erasing", "what erasing leaves of a tone", most(-60.0), Some(most(-50.0)), "dB", MEMORY);

/// High-frequency time constant of the playback amplifier against the curve's: what resistors of 5 % and capacitors of 5 to
/// 10 % leave; 10 % are 0.8 dB in the treble.
pub const PLAYBACK_HIGH_TIME_CONSTANT: PracticeLimit = row(
    "playback-high-time-constant",
    "high-frequency time constant of the playback amplifier (120 or 70 us)",
    pm(10.0),
    Some(pm(15.0)),
    "%",
    PRACTICE,
);
/// Low-frequency time constant of the playback amplifier against 3180 us; 25 % are 2 dB in the bass.
pub const PLAYBACK_LOW_TIME_CONSTANT: PracticeLimit = row(
    "playback-low-time-constant",
    "low-frequency time constant of the playback amplifier (3180 us)",
    pm(25.0),
    Some(pm(40.0)),
    "%",
    PRACTICE,
);

/// All limits, each id once.
pub const LIMITS: [PracticeLimit; 25] = [
    NOISE_REDUCTION,
    ERASING,
    PLAYBACK_RESPONSE,
    PLAYBACK_HIGH_TIME_CONSTANT,
    PLAYBACK_LOW_TIME_CONSTANT,
    row(
        "playback-response-fine",
        "playback response after a careful adjustment",
        pm(0.5),
        None,
        "dB",
        PRACTICE,
    ),
    PLAYBACK_LEVEL,
    CHANNEL_MATCH,
    AZIMUTH_PHASE,
    row("azimuth-band", "top of the closed phase picture", least(15e3), Some(least(10e3)), "Hz", PRACTICE),
    RECORD_LEVEL_MATCH,
    row(
        "record-level-match-coarse",
        "source/tape difference left alone",
        most(1.0),
        Some(most(2.0)),
        "dB",
        PRACTICE,
    ),
    BIAS_PAIR_MATCH,
    RECORD_PLAYBACK_HF_TYPE_1,
    RECORD_PLAYBACK_HF_TYPE_2_4,
    SPEED_ERROR,
    FLUTTER_WEIGHTED_PEAK,
    FLUTTER_WEIGHTED_RMS,
    NOISE_A_WEIGHTED,
    HUM,
    row(
        "take-up-torque",
        "take-up torque in play",
        range(40.0, 60.0),
        Some(range(35.0, 80.0)),
        "g.cm",
        PRACTICE,
    ),
    row(
        "fast-forward-and-rewind-torque",
        "fast forward and rewind torque",
        least(120.0),
        Some(least(70.0)),
        "g.cm",
        PRACTICE,
    ),
    row(
        "back-tension",
        "supply back tension in play",
        range(2.0, 6.0),
        Some(range(1.5, 8.0)),
        "g.cm",
        MEMORY,
    ),
    row("dc-offset", "offset of a DC-coupled output", pm(10.0), Some(pm(30.0)), "mV", PRACTICE),
    row("meter", "the deck's meter at the level tone", pm(1.0), Some(pm(2.0)), "dB", PRACTICE),
];

/// The limit called `id`; `None` if there is none.
pub fn limit(id: &str) -> Option<&'static PracticeLimit> {
    const ROWS: &[PracticeLimit] = &LIMITS;
    ROWS.iter().find(|row| row.id == id)
}

const PRACTICE: Basis = Basis::CommonPractice;
const MEMORY: Basis = Basis::FromMemory;

const fn pm(limit: f64) -> Bound {
    Bound::PlusMinus(limit)
}

const fn most(limit: f64) -> Bound {
    Bound::AtMost(limit)
}

const fn least(limit: f64) -> Bound {
    Bound::AtLeast(limit)
}

const fn range(low: f64, high: f64) -> Bound {
    Bound::Between(low, high)
}

const fn row(
    id: &'static str,
    quantity: &'static str,
    full_size: Bound,
    portable: Option<Bound>,
    unit: &'static str,
    basis: Basis,
) -> PracticeLimit {
    PracticeLimit { id, quantity, full_size, portable, unit, basis }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_id_stands_once_and_is_found() {
        for row in &LIMITS {
            assert_eq!(LIMITS.iter().filter(|other| other.id == row.id).count(), 1, "{}", row.id);
            assert_eq!(limit(row.id), Some(row));
        }
        assert_eq!(limit("no-such-row"), None);
    }

    #[test]
    fn what_suffices_for_a_full_size_deck_suffices_for_a_portable() {
        for row in &LIMITS {
            let Some(portable) = row.portable else { continue };
            let ends = match row.full_size {
                Bound::PlusMinus(limit) => [-limit, limit],
                Bound::AtMost(limit) | Bound::AtLeast(limit) => [limit, limit],
                Bound::Between(low, high) => [low, high],
            };
            assert!(ends.into_iter().all(|end| portable.holds(end)), "{}", row.id);
        }
    }

    #[test]
    fn bounds_include_their_ends_and_refuse_nan() {
        for (bound, inside, outside) in [
            (Bound::PlusMinus(1.0), -1.0, -1.01),
            (Bound::AtMost(1.0), 1.0, 1.01),
            (Bound::AtLeast(1.0), 1.0, 0.99),
            (Bound::Between(2.0, 6.0), 2.0, 1.99),
        ] {
            assert!(bound.holds(inside), "{bound:?}");
            assert!(!bound.holds(outside), "{bound:?}");
            assert!(!bound.holds(f64::NAN), "{bound:?}");
        }
        // Half of the range is left in the middle.
        assert_eq!(Bound::Between(2.0, 6.0).excess(4.0), -2.0);
    }
}
