//! Finding `azimuth`, and what a tilt costs at other frequencies.

use super::figures::{decimals, signed, unsigned};
use super::findings::{Bench, Bounds, plain};
use super::meaning::Quantity;
use crate::reading::{Finding, Heads, RecordedOn};

/// Phase that a delay of 1 us makes at 10 kHz, degrees.
const DEG_PER_US: f64 = 3.6;

pub(super) fn finding(bench: &Bench) -> Finding {
    let limit = &bench.limits.azimuth_phase_deg;
    let limit_us = limit.value / DEG_PER_US;
    let mut case = bench.case("azimuth", Quantity::Azimuth, "us");
    case.bounds = Bounds::within(limit_us);
    case.limit = Some(format!(
        "+-{} us, {} degrees at 10 kHz ({})",
        unsigned(limit_us, 1),
        plain(limit.value),
        limit.basis
    ));
    case.missing =
        "no delay between the channels could be fitted; to find out: record a programme with stepped tones \
                    on both channels"
            .to_owned();
    if bench.reading.capture.mono {
        case.missing = "both channels carry the same signal; to find out: record in stereo".to_owned();
        return case.finish();
    }
    if bench.dead.contains(&true) {
        case.missing = "one channel is dead; to find out: put the wiring right and record again".to_owned();
        return case.finish();
    }
    let Some(azimuth) = &bench.reading.azimuth else { return case.finish() };
    let Some(delay_us) = azimuth.delay_us else { return case.finish() };

    case.value = Some(delay_us);
    case.uncertainty = azimuth.uncertainty_us;
    let lag = if delay_us > 0.0 { "right lags" } else { "left lags" };
    case.figures = format!("10 kHz phase {} degrees, {lag}", unsigned((delay_us * DEG_PER_US).abs(), 0));
    if let Some(angle) = azimuth.angle_arcmin {
        case.figures += &format!("; head tilt {} minutes of arc", unsigned(angle.abs(), 1));
    }
    if let Some(loss) = azimuth.loss_at_10k_db {
        let costs = if -loss < 0.05 { "less than 0.1".to_owned() } else { unsigned(-loss, 1) };
        case.figures += &format!("; costs {costs} dB at 10 kHz in each channel");
    }
    if let Some(wander) = azimuth.wander_us_rms {
        case.figures += &format!("; wanders by {} us rms", unsigned(wander, 1));
    }
    let own_three = bench.recorded_on() == Some(RecordedOn::ThisDeck)
        && bench.circumstances().heads == Some(Heads::Three);
    let screw = if own_three {
        "record head against replay head: set the replay head by a calibrated tape first, then the record head's \
         azimuth screw"
    } else {
        "azimuth screw of the replay head"
    };
    case.turn = Some(format!(
        "{screw}: turn in small steps the way that makes the delay shrink from {} us; aim: 0 us",
        signed(delay_us, decimals(azimuth.uncertainty_us, 1))
    ));
    case.finish()
}

/// Loss of each channel at `hz` by the tilt that costs `loss_at_10k_db` (negative) at 10 kHz; dB, negative or zero.
///
/// The loss is sin x / x with x = pi w tan(angle) / wavelength, so x grows with frequency (the trade's replay loss
/// formula, from memory). Valid on the main lobe; beyond it the deepest value there is returned.
pub(super) fn loss_db(hz: f64, loss_at_10k_db: f64) -> f64 {
    let loss = |x: f64| if x < 1e-9 { 0.0 } else { 20.0 * (x.sin() / x).abs().log10() };
    let end = std::f64::consts::PI * 0.999;
    let (mut low, mut high) = (0.0, end);
    for _ in 0..60 {
        let middle = 0.5 * (low + high);
        if loss(middle) > loss_at_10k_db { low = middle } else { high = middle }
    }
    loss((low * hz / 10_000.0).min(end))
}

#[cfg(test)]
mod tests {
    use super::loss_db;
    use crate::judge::{Limits, judge, sample};
    use crate::reading::{Finding, Heads, Reading, RecordedOn, Verdict};

    fn azimuth(reading: &Reading) -> Finding {
        judge(reading, &Limits::good_deck()).into_iter().find(|finding| finding.id == "azimuth").unwrap()
    }

    #[test]
    fn loss_scales_with_frequency_as_sin_x_over_x() {
        // 20 lg(sin x / x), numpy 2.4.6: x = 0.6 gives -0.52755 dB, x = 0.96 -1.37772 dB, x = 0.3 -0.13068 dB.
        // Tolerance: rounding of the printed values.
        assert_within!(loss_db(16_000.0, -0.52755), -1.37772, 0.00005, "dB");
        assert_within!(loss_db(5_000.0, -0.52755), -0.13068, 0.00002, "dB");
        assert_within!(loss_db(10_000.0, -0.52755), -0.52755, 0.00001, "dB");
        // Track of 0.6 mm at 47.625 mm/s, tilted by 2, 5, 10 and 15 minutes of arc: losses at 10 and 16 kHz worked out
        // from the same formula apart from this code. Tolerance: both are rounded to 0.0005 dB; the slope carries the
        // first rounding over, at most 4 times (10 times next to the null).
        for (arcmin, at_10k, at_16k, tolerance) in [
            (2, -0.077, -0.197, 0.0025),
            (5, -0.485, -1.265, 0.0025),
            (10, -2.012, -5.630, 0.0025),
            (15, -4.852, -17.477, 0.0055),
        ] {
            assert_within!(loss_db(16_000.0, at_10k), at_16k, tolerance, "dB", "{arcmin} minutes of arc");
        }
        assert_within!(loss_db(16_000.0, 0.0), 0.0, 1e-6, "dB");
    }

    #[test]
    fn tilt_is_said_in_figures_and_turned_towards_zero() {
        let got = azimuth(&sample::faulty());
        assert_eq!(got.verdict, Verdict::Outside);
        assert!(
            got.why.starts_with("10 kHz phase 61 degrees, right lags; head tilt 3.1 minutes of arc; costs"),
            "{got:?}"
        );
        assert!(got.turn.unwrap().ends_with("aim: 0 us"));
    }

    #[test]
    fn two_heads_and_their_own_tape_cannot_tell() {
        let mut reading = sample::faulty();
        reading.circumstances.recorded_on = Some(RecordedOn::ThisDeck);
        reading.circumstances.heads = Some(Heads::Two);
        let got = azimuth(&reading);
        assert_eq!((got.verdict, got.turn), (Verdict::CannotTell, None));
        assert!(got.why.contains("same head"), "{}", got.why);
    }

    #[test]
    fn one_signal_on_both_channels_has_no_azimuth() {
        let mut reading = sample::healthy();
        reading.capture.mono = true;
        let got = azimuth(&reading);
        assert_eq!((got.verdict, got.value), (Verdict::CannotTell, None));
        assert!(got.why.contains("same signal"), "{}", got.why);
    }

    #[test]
    fn three_heads_are_compared_record_against_replay() {
        let mut reading = sample::faulty();
        reading.circumstances.recorded_on = Some(RecordedOn::ThisDeck);
        reading.circumstances.heads = Some(Heads::Three);
        assert!(azimuth(&reading).turn.unwrap().starts_with("record head against replay head"));
    }
}
