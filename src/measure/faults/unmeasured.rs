//! Which parts should have been measured and were not, and why: nothing drops out of a reading without a word.

use crate::capture::Alignment;
use crate::measure::meter::Meter;
use crate::measure::tone::meter::ToneMeter;
use crate::programme::{Channels, PlacedPart, Serves, Signal, Timeline, shortest_tone_s};
use crate::reading::{Warning, WarningId};

/// Most parts that are named for one reason.
const MOST_NAMES: usize = 8;

/// What was measured, seen from the parts.
pub struct Gave<'a> {
    /// Each part of the timeline: whether its meter gave something.
    pub parts: &'a [bool],
    /// Flutter was read, from whichever part.
    pub flutter: bool,
    /// A response is stated, or none is expected.
    pub response: bool,
}

/// The warning `unmeasured`, with all parts that have a meter and gave nothing, by reason; `None` if there are none.
///
/// Parts that nobody measures yet (noise, chords, what serves distortion and the like) are passed by. Of silences one
/// is enough, and of flutter tones too. A dead channel is not missed here: the other one gives its part.
pub fn unmeasured(
    timeline: &Timeline,
    alignment: &Alignment,
    rate_hz: f64,
    gave: &Gave<'_>,
) -> Option<Warning> {
    let any_silence = timeline.parts.iter().zip(gave.parts).any(|(part, gave)| is_silence(part) && *gave);
    let missed = timeline.parts.iter().zip(gave.parts).filter(|(part, gave_something)| match &part.signal {
        Signal::Silence => is_silence(part) && !any_silence,
        Signal::Tone { .. } if part.serves == Serves::Flutter => !gave.flutter,
        Signal::Tone { .. } => {
            matches!(part.serves, Serves::Level | Serves::Response | Serves::Azimuth | Serves::Injected(..))
                && part.channels == Channels::Both
                && !**gave_something
        }
        Signal::Sweep { .. } => part.serves == Serves::Response && !**gave_something,
        _ => false,
    });
    let mut reasons: Vec<(String, Vec<&str>)> = Vec::new();
    for (part, _) in missed {
        let why = why(part, alignment, rate_hz);
        match reasons.iter_mut().find(|(known, _)| *known == why) {
            Some((_, names)) => names.push(&part.id),
            None => reasons.push((why, vec![&part.id])),
        }
    }
    let mut sentences: Vec<String> =
        reasons.iter().map(|(why, names)| format!("{} {why}", list(names))).collect();
    let response_tones = timeline.parts.iter().zip(gave.parts).any(|(part, gave)| {
        *gave
            && part.serves == Serves::Response
            && matches!(part.signal, Signal::Tone { .. } | Signal::Sweep { .. })
    });
    if response_tones && !gave.response {
        sentences.push(format!(
            "the response is not stated, because nothing was measured at or about its reference frequency, {} Hz",
            timeline.reference_hz
        ));
    }
    (!sentences.is_empty()).then(|| {
        Warning::new(
            WarningId::Unmeasured,
            format!("Not everything could be measured: {}.", sentences.join("; ")),
        )
    })
}

fn is_silence(part: &PlacedPart) -> bool {
    part.signal == Signal::Silence && part.serves == Serves::Noise
}

/// `a`, `a and b`, `a, b and 7 more`, with the verb.
fn list(names: &[&str]) -> String {
    let more = names.len().saturating_sub(MOST_NAMES);
    let shown = names[..names.len() - more].join(", ");
    match (names.len(), more) {
        (1, _) => format!("{shown} is"),
        (_, 0) => format!("{shown} are"),
        _ => format!("{shown} and {more} more are"),
    }
}

/// Why `part` gave nothing, to stand behind `is` or `are`.
fn why(part: &PlacedPart, alignment: &Alignment, rate_hz: f64) -> String {
    let from_s = alignment.map.to_return(part.start_s);
    let to_s = alignment.map.to_return(part.start_s + part.length_s);
    let length_s = (to_s.min(alignment.duration_s) - from_s.max(0.0)).max(0.0);
    let ratio = alignment.ratio(part);
    // Tones, by their frequency in the return.
    let (too_high, shortest_s) = match part.signal {
        Signal::Tone { hz } => {
            (ToneMeter::new(rate_hz, hz * ratio).is_none(), shortest_tone_s(hz, part.serves))
        }
        _ => (false, 0.0),
    };
    if from_s < 0.0 {
        "cut off by the start of the recording (start recording first, then the tape)".to_owned()
    } else if to_s > alignment.duration_s {
        "cut off by the end of the recording (let it run past the end of the programme)".to_owned()
    } else if too_high {
        format!("too high for a recording at {rate_hz} Hz (record at a higher rate)")
    } else if length_s < shortest_s || alignment.steady(part, 0.02).is_none() {
        "too short as played back (make the part longer in the recipe, or set a slate nearer)".to_owned()
    } else {
        "not found at the right place in the return (look for a long dropout there, and record again)"
            .to_owned()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measure::response::sweep::{SweepMeter, SweepPlace, band_level};
    use crate::programme::shortest_sweep_s;
    use crate::signal::test_signals::sine;
    use crate::trade::octave_bands::third_octaves;
    use std::f64::consts::TAU;

    const RATES_HZ: [f64; 3] = [44_100.0, 48_000.0, 96_000.0];

    /// What the rule allows for fades and the uncertainty of a place, s.
    const ENDS_S: f64 = 0.06;

    fn reads_tone(rate_hz: f64, hz: f64, length_s: f64) -> bool {
        let mut meter = ToneMeter::new(rate_hz, hz).unwrap();
        let samples: Vec<f64> = sine(0.1, hz, rate_hz, (length_s * rate_hz) as usize);
        meter.feed([&samples, &samples]);
        meter.finish().is_some_and(|tone| tone.levels[0].is_some_and(|level| (level.dbfs + 20.0).abs() < 0.2))
    }

    #[test]
    fn the_meter_reads_every_tone_that_the_parser_lets_pass_and_hardly_any_shorter_one() {
        for rate_hz in RATES_HZ {
            for hz in [17.0, 20.0, 25.0, 31.5, 40.0, 63.0, 100.0, 400.0, 1000.0, 3150.0, 10_000.0, 20_000.0] {
                let shortest_s = shortest_tone_s(hz, Serves::Response);
                assert!(reads_tone(rate_hz, hz, shortest_s - ENDS_S), "{hz} Hz at {rate_hz}: {shortest_s} s");
                // Blocks are whole numbers of samples of a slow band: a rule to within a fifth.
                assert!(
                    !reads_tone(rate_hz, hz, 0.8 * (shortest_s - ENDS_S)),
                    "{hz} Hz at {rate_hz}: too strict"
                );
            }
        }
    }

    /// Whether a sweep of `length_s` gives a level in every third octave within it.
    fn reads_sweep(rate_hz: f64, from_hz: f64, to_hz: f64, length_s: f64) -> bool {
        let place = SweepPlace { from_hz, to_hz, ratio: 1.0, start_s: 0.2, length_s };
        let k = (to_hz / from_hz).ln();
        let samples: Vec<f64> = (0..((length_s + 0.4) * rate_hz) as usize)
            .map(|n| {
                let t = n as f64 / rate_hz - 0.2;
                let phase = TAU * from_hz * length_s / k * ((k * t / length_s).exp() - 1.0);
                if (0.0..length_s).contains(&t) { 0.1 * phase.sin() } else { 0.0 }
            })
            .collect();
        let mut meter = SweepMeter::new(rate_hz, place).unwrap();
        meter.feed([&samples, &samples]);
        let points = meter.finish();
        let (low, high) = (from_hz.min(to_hz), from_hz.max(to_hz));
        third_octaves(low, high)
            .filter(|band| band.lower_hz >= low && band.upper_hz <= high)
            .all(|band| band_level(&points, 0, band.lower_hz, band.upper_hz).is_some())
    }

    #[test]
    fn the_meter_reads_every_band_of_a_sweep_that_the_parser_lets_pass() {
        for rate_hz in RATES_HZ {
            for (from_hz, to_hz) in [(20.0, 20_000.0), (20_000.0, 20.0), (300.0, 3000.0), (1000.0, 16_000.0)]
            {
                let shortest_s = shortest_sweep_s(from_hz, to_hz);
                for length_s in [shortest_s, 1.1 * shortest_s, 2.0 * shortest_s] {
                    assert!(
                        reads_sweep(rate_hz, from_hz, to_hz, length_s),
                        "{from_hz} to {to_hz}, {length_s} s"
                    );
                }
                assert!(
                    !reads_sweep(rate_hz, from_hz, to_hz, 0.45 * shortest_s),
                    "{from_hz} to {to_hz}: too strict"
                );
            }
        }
    }

    #[test]
    fn many_parts_are_counted() {
        assert_eq!(list(&["a"]), "a is");
        assert_eq!(list(&["a", "b"]), "a, b are");
        assert!(list(&["x"; 12]).ends_with("x and 4 more are"));
    }
}
