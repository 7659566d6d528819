//! What the trade knows of reference tapes: usual tones, how far editions disagree, what a full-width track does.

/// Frequencies of the tones on reference tapes, Hz, with how usual each is (1: on most; common practice, no source). The
/// nominal third octaves of ISO 266, and those that belong to no series: 333 and 700 Hz for levels, 3000 Hz for flutter,
/// 7, 9, 11, 12, 14, 15 and 18 kHz for treble and azimuth.
pub const USUAL_HZ: [(f64, f64); 43] = [
    (20.0, 0.6),
    (25.0, 0.6),
    (30.0, 0.5),
    (31.5, 1.0),
    (40.0, 1.0),
    (50.0, 1.0),
    (63.0, 1.0),
    (80.0, 1.0),
    (100.0, 1.0),
    (125.0, 1.0),
    (160.0, 1.0),
    (200.0, 1.0),
    (250.0, 1.0),
    (315.0, 1.0),
    (333.0, 0.8),
    (400.0, 1.0),
    (500.0, 1.0),
    (630.0, 1.0),
    (700.0, 0.7),
    (800.0, 0.9),
    (1000.0, 1.0),
    (1250.0, 1.0),
    (1600.0, 0.9),
    (2000.0, 1.0),
    (2500.0, 1.0),
    (3000.0, 1.0),
    (3150.0, 1.0),
    (4000.0, 1.0),
    (5000.0, 1.0),
    (6000.0, 0.6),
    (6300.0, 1.0),
    (7000.0, 0.6),
    (8000.0, 1.0),
    (9000.0, 0.5),
    (10_000.0, 1.0),
    (11_000.0, 0.5),
    (12_000.0, 0.7),
    (12_500.0, 1.0),
    (14_000.0, 0.9),
    (15_000.0, 0.8),
    (16_000.0, 1.0),
    (18_000.0, 0.8),
    (20_000.0, 0.8),
];

/// Flutter is read from tones between these, Hz: lower ones show too little of it, azimuth that wanders and hiss disturb
/// higher ones.
pub const SHOW_FLUTTER_HZ: [f64; 2] = [300.0, 5000.0];

/// Whether flutter is read from a tone of `hz`.
pub fn shows_flutter(hz: f64) -> bool {
    (SHOW_FLUTTER_HZ[0]..SHOW_FLUTTER_HZ[1]).contains(&hz)
}

/// Tape speed of a deck is off by no more than this, percent; what looks further off is another tone (common practice, no
/// source).
pub const MOST_SPEED_ERROR_PERCENT: f64 = 7.0;

/// How well the frequency of a tone on a reference tape of unknown origin may be believed, percent, k = 2 (common practice,
/// no source).
pub const USUAL_TONE_PERCENT: f64 = 0.1;

/// Clock of a sound card, percent, k = 2: some 50 parts in a million (common practice, no source).
pub const CARD_CLOCK_PERCENT: f64 = 0.005;

/// Disagreement of reference tapes of different makes and years at 16 kHz, dB (common practice, no source).
pub const ERAS_16K_DB: f64 = 4.0;

/// By how much reference tapes of different makes and years disagree at `hz`, dB: 4 dB at 16 kHz. Its course below, with
/// the power 1.5 of the frequency as a loss of short waves has it, is an assumption: 2 dB at 10 kHz, 0.06 dB at 1 kHz.
pub fn eras_db(hz: f64) -> f64 {
    ERAS_16K_DB * (hz / 16_000.0).max(0.0).powf(1.5)
}

/// Below this a head whose track is narrower than the recorded one takes in flux from beside it and reads too much, Hz
/// (common practice, no source: "some hundred hertz").
pub const FRINGING_BELOW_HZ: f64 = 400.0;

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn eras_disagree_by_four_decibels_at_16_khz_and_hardly_in_the_bass() {
        assert_within!(eras_db(16_000.0), 4.0, 1e-12, "dB");
        assert_within!(eras_db(10_000.0), 2.0, 0.05, "dB");
        assert!(eras_db(400.0) < 0.02 && eras_db(0.0) == 0.0);
    }

    #[test]
    fn usual_tones_rise_and_none_can_be_taken_for_its_neighbour_by_a_tone_off_by_a_percent() {
        for pair in USUAL_HZ.windows(2) {
            assert!(pair[1].0 > pair[0].0 * 1.035, "{pair:?}");
        }
    }
}
