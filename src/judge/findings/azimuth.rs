//! Finding `azimuth`.

use crate::judge::case::{Bench, Bounds, plain};
use crate::judge::quantities::{Id, Key};
use crate::judge::work::turns::step;
use crate::reading::figures::UnitKind;
use crate::reading::{Adjustment, Finding, Heads, RecordedOn, Untold};
use crate::trade::common_practice::{AZIMUTH_NEEDS_HZ, AZIMUTH_PHASE_HZ};

/// Phase that a delay of 1 us makes at the frequency of the limit (10 kHz), degrees.
const DEG_PER_US: f64 = 360.0 * AZIMUTH_PHASE_HZ / 1e6;

pub(crate) fn finding(bench: &Bench) -> Finding {
    let limit = bench.limits.of(Key::AzimuthPhase);
    let limit_us = limit.value / DEG_PER_US;
    let mut case = bench.case(Id::Azimuth);
    case.bounds = Bounds::within(limit_us);
    case.limit = Some(format!(
        "+-{}, {} degrees at 10 kHz ({})",
        UnitKind::Microseconds.of(limit_us, None),
        plain(limit.value),
        limit.basis
    ));
    case.allowed = Some(format!("+-{} degrees", plain(limit.value)));
    case.missing = Untold::new(
        "no delay between the channels could be fitted",
        "record a programme with stepped tones on both channels",
    );
    if bench.reading.capture.mono {
        case.missing = Untold::new("both channels carry the same signal", "record in stereo");
        return case.finish();
    }
    if bench.dead.contains(&true) {
        case.missing = Untold::new("one channel is dead", "put the wiring right and record again");
        return case.finish();
    }
    case.missing = bench.too_slow(AZIMUTH_NEEDS_HZ).unwrap_or(case.missing);
    let Some(azimuth) = &bench.reading.azimuth else { return case.finish() };
    let Some(delay_us) = azimuth.delay_us else { return case.finish() };

    case.value = Some(delay_us);
    case.uncertainty = azimuth.uncertainty_us;
    let lag = if delay_us > 0.0 { "right lags" } else { "left lags" };
    let phase = UnitKind::Degrees.of((delay_us * DEG_PER_US).abs(), None);
    let lags = azimuth.uncertainty_us.is_some_and(|uncertainty_us| delay_us.abs() > uncertainty_us);
    case.reads = Some(format!("{phase} at 10 kHz{}", if lags { format!(", {lag}") } else { String::new() }));
    case.figures = format!("10 kHz phase {phase}, {lag}");
    if let Some(angle) = azimuth.angle_arcmin {
        case.figures += &format!("; head tilt {}", UnitKind::ArcMinutes.of(angle.abs(), None));
    }
    if let Some(loss) = azimuth.loss_at_10k_db {
        let costs =
            if -loss < 0.05 { "less than 0.1".to_owned() } else { UnitKind::Db.of(-loss, None).number() };
        case.figures += &format!("; costs {costs} dB at 10 kHz in each channel");
    }
    if let Some(wander) = azimuth.wander_us_rms {
        case.figures += &format!("; wanders by {} rms", UnitKind::Microseconds.of(wander, None));
    }
    let own_three = bench.recorded_on() == Some(RecordedOn::ThisDeck)
        && bench.circumstances().heads == Some(Heads::Three);
    let screw = if own_three {
        "set the playback head by a calibrated tape first; then turn the azimuth screw of the record head"
    } else {
        "turn the azimuth screw of the playback head"
    };
    // A delay that swings by as much as it may be off at all is no place to set a screw by.
    if let Some(wander_us) = azimuth.wander_us_rms.filter(|wander_us| *wander_us > limit_us) {
        case.turn.push(step(
            Adjustment::Transport,
            format!("make the tape run straight first (the delay wanders by {} rms): look at tape guides, pinch roller and \
            back tension; try another cassette", UnitKind::Microseconds.of(wander_us, None)),
        ));
    }
    let text = format!(
        "{screw} in small steps, the way that brings the delay from {} towards 0 us",
        UnitKind::Microseconds.of(delay_us, azimuth.uncertainty_us).signed()
    );
    case.turn.push(step(Adjustment::AzimuthScrew, text));
    case.finish()
}

#[cfg(test)]
mod tests {
    use crate::judge::sample;
    use crate::reading::{Heads, RecordedOn, Verdict};

    #[test]
    fn tilt_is_said_in_figures_and_turned_towards_zero() {
        let got = sample::faulty().finding("azimuth");
        assert_eq!(got.verdict, Verdict::Outside);
        assert!(
            got.why.starts_with("10 kHz phase 61 degrees, right lags; head tilt 3.1 minutes of arc; costs"),
            "{got:?}"
        );
        assert!(got.turn.unwrap().ends_with("towards 0 us"));
    }

    #[test]
    fn two_heads_and_their_own_tape_cannot_tell() {
        let mut reading = sample::faulty();
        reading.circumstances.recorded_on = Some(RecordedOn::ThisDeck);
        reading.circumstances.heads = Some(Heads::Two);
        let got = reading.finding("azimuth");
        assert_eq!((got.verdict, got.turn), (Verdict::CannotTell, None));
        assert!(got.why.contains("same head"), "{}", got.why);
    }

    #[test]
    fn one_signal_on_both_channels_has_no_azimuth() {
        let mut reading = sample::healthy();
        reading.capture.mono = true;
        let got = reading.finding("azimuth");
        assert_eq!((got.verdict, got.value), (Verdict::CannotTell, None));
        assert!(got.why.contains("same signal"), "{}", got.why);
    }

    #[test]
    fn three_heads_are_compared_record_against_playback() {
        let mut reading = sample::faulty();
        reading.circumstances.recorded_on = Some(RecordedOn::ThisDeck);
        reading.circumstances.heads = Some(Heads::Three);
        assert!(reading.finding("azimuth").turn.unwrap().contains("azimuth screw of the record head"));
    }
}
