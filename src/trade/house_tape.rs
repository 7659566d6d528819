//! A house tape: how surely it plays twice alike, how it wears, and when its card should be renewed.
//!
//! **Nothing here has a source.** Values are from memory or common practice, as each says; whoever plays the tape several
//! times for its card replaces those of repeatability by measured ones.

/// Expanded uncertainty by which the level of one cassette differs from playing to playing on one deck, dB (from memory).
pub const REPEAT_LEVEL_DB: f64 = 0.2;
/// The same of the response in the bass and middle, dB (from memory).
pub const REPEAT_RESPONSE_DB: f64 = 0.1;
/// What comes to it at 10 kHz, in proportion to the frequency, dB (from memory).
pub const REPEAT_TREBLE_DB: f64 = 0.3;
/// The same of the delay between the channels, us: how the cassette sits guides the tape (from memory).
pub const REPEAT_DELAY_US: f64 = 1.5;
/// The same of the speed, percent (from memory).
pub const REPEAT_SPEED_PERCENT: f64 = 0.05;

/// By how much 10 kHz may have fallen with each pass, dB, in proportion to the frequency: about 1 dB in a hundred passes
/// (from memory). It widens the uncertainty; nothing is made up for.
pub const WEAR_PER_PASS_DB: f64 = 0.01;

/// Passes after which a card should be renewed (common practice, no source): by [`WEAR_PER_PASS_DB`] the treble is then half
/// a decibel uncertain.
pub const MOST_PASSES: u32 = 50;
/// Age at which a card should be renewed, days (common practice, no source).
pub const OLDEST_DAYS: i64 = 365;

/// Expanded uncertainty by which the response at `hz` differs from playing to playing, dB.
pub fn repeat_response_db(hz: f64) -> f64 {
    REPEAT_RESPONSE_DB + REPEAT_TREBLE_DB * hz / 10_000.0
}

/// By how much the response at `hz` may have fallen in `passes`, dB, 0 or positive.
pub fn wear_db(hz: f64, passes: u32) -> f64 {
    WEAR_PER_PASS_DB * f64::from(passes) * hz / 10_000.0
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn half_a_decibel_at_10_khz_when_the_card_is_to_be_renewed() {
        assert_within!(wear_db(10_000.0, MOST_PASSES), 0.5, 1e-12, "dB");
        assert_within!(repeat_response_db(10_000.0), 0.4, 1e-12, "dB");
        assert_eq!(wear_db(10_000.0, 0), 0.0);
    }
}
