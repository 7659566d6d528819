//! Findings `noise` and `hum`.

use crate::judge::case::{Bench, Bounds, SIDES, plain};
use crate::judge::quantities::{Id, Key};
use crate::judge::work::turns::step;
use crate::reading::figures::UnitKind;
use crate::reading::{Adjustment, Finding, Mains, Noise, Origin, Untold};

/// What a recording must hold for A-weighted noise (that at 32 kHz does), and for unweighted, Hz.
const A_NEEDS_HZ: f64 = 13_000.0;
const UNWEIGHTED_NEEDS_HZ: f64 = 20_000.0;

fn no_silence() -> Untold {
    Untold::new("no silent part was found", "record a programme with a silence")
}

/// A-weighted noise, one finding a channel.
pub(crate) fn noise(bench: &Bench) -> Vec<Finding> {
    let limit = bench.limits.of(Key::Noise);
    (0..2)
        .map(|side| {
            let mut case = bench.case(Id::Noise);
            case.channel = Some(SIDES[side]);
            case.bounds = Bounds::below(limit.value);
            case.limit = Some(format!("at most {} dB A-weighted ({})", plain(limit.value), limit.basis));
            case.missing = no_silence();
            if let Some(noise) = &bench.reading.noise {
                case.missing = bench.too_slow(A_NEEDS_HZ).unwrap_or(case.missing);
                case.value = noise.a_weighted_db[side];
                case.place = Some("A-weighted".to_owned());
                case.uncertainty = noise.uncertainty_db[side];
                if let Some(value) = case.value {
                    let value = UnitKind::Db.of(value, case.uncertainty);
                    case.figures = format!("A-weighted noise {value} against {}", noise.reference);
                    case.figures += &share_of_hum(noise, side);
                }
            }
            // Where hiss alone is inside the limit, nothing of the heads mends it.
            let hum = bench.reading.noise.as_ref().and_then(|noise| {
                let hiss_db = noise.a_weighted_without_hum_db[side]?;
                noise.mains.as_ref().filter(|_| hiss_db <= limit.value)
            });
            if let Some(mains) = hum {
                case.turn = vec![step(Adjustment::Hum, where_to_look(mains.origin)).on(SIDES[side])];
                return case.finish();
            }
            case.turn = vec![
                step(
                    Adjustment::Heads,
                    "demagnetise heads and tape path and read a fresh tape; then look for a noisy first stage of the \
                     playback amplifier (no trimmer)",
                )
                .on(SIDES[side]),
            ];
            case.finish()
        })
        .collect()
}

/// Mains hum, one finding a channel.
pub(crate) fn hum(bench: &Bench) -> Vec<Finding> {
    let limit = bench.limits.of(Key::Hum);
    (0..2)
        .map(|side| {
            let mut case = bench.case(Id::Hum);
            case.channel = Some(SIDES[side]);
            case.bounds = Bounds::below(limit.value);
            case.limit = Some(format!("at most {} dB ({})", plain(limit.value), limit.basis));
            case.allowed = Some(format!("max {} dB", plain(limit.value)));
            case.missing = no_silence();
            let Some(noise) = &bench.reading.noise else { return case.finish() };
            case.missing = bench.too_slow(UNWEIGHTED_NEEDS_HZ).unwrap_or(case.missing);
            // No line stands out: hum is below the noise in which it was looked for.
            let Some(mains) = &noise.mains else {
                case.value = noise.unweighted_db[side];
                case.uncertainty = noise.uncertainty_db[side];
                return no_line(case, noise.unweighted_db[side]);
            };
            case.value = mains.hum_db[side];
            case.uncertainty = mains.uncertainty_db[side].or(noise.uncertainty_db[side]);
            if case.value.is_none() {
                return no_line(case, noise.unweighted_db[side]);
            }
            if let Some(value) = case.value {
                let strongest = mains
                    .lines
                    .iter()
                    .filter_map(|&(hz, left, right)| Some((hz, [left, right][side]?)))
                    .max_by(|a, b| a.1.total_cmp(&b.1));
                let value = UnitKind::Db.of(value, case.uncertainty);
                case.figures = format!("hum {value} against {}", noise.reference);
                if let Some((hz, _)) = strongest {
                    case.place = Some(format!("at {}", UnitKind::LineHertz.of(hz, mains.uncertainty_hz)));
                    case.at_hz = Some(hz);
                    case.figures +=
                        &format!(", strongest at {}", UnitKind::LineHertz.of(hz, mains.uncertainty_hz));
                }
            }
            case.figures += &gets_in(mains);
            case.turn = vec![step(Adjustment::Hum, where_to_look(mains.origin)).on(SIDES[side])];
            case.finish()
        })
        .collect()
}

/// How much of the noise is hum, where that changes what is heard.
fn share_of_hum(noise: &Noise, side: usize) -> String {
    let (Some(all), Some(hiss)) = (noise.a_weighted_db[side], noise.a_weighted_without_hum_db[side]) else {
        return String::new();
    };
    // Half a decibel: less does not change what is to be done.
    if all - hiss < 0.5 {
        return String::new();
    }
    let hiss = UnitKind::Db.of(hiss, noise.uncertainty_db[side]);
    format!("; hiss alone {hiss}: the rest is hum. Mend the hum first")
}

/// Where the hum gets in, as a half sentence.
fn gets_in(mains: &Mains) -> String {
    let at = match mains.origin {
        Origin::Playback => "it gets in after the head",
        Origin::Recorded => "it lies on the tape",
        Origin::CannotTell if mains.origin_why.is_empty() => return String::new(),
        Origin::CannotTell => "whether it lies on the tape cannot be told",
    };
    format!("; {at} ({})", mains.origin_why)
}

fn where_to_look(origin: Origin) -> &'static str {
    match origin {
        Origin::Playback => {
            "break the ground loop between deck and PC (PC on battery, or an audio isolating transformer); then check head \
             leads, shields and supply capacitors of the playback side"
        }
        Origin::Recorded => {
            "if this deck recorded the hum, break the ground loop between player and deck; then check the recording \
             amplifier and its supply. Playback is not the cause"
        }
        Origin::CannotTell => {
            "stop the tape and go on recording. Hum that stays gets in after the head; hum that goes is on the tape. Then \
             break the ground loop on that side; check leads, shields and supply capacitors"
        }
    }
}

/// Hum that does not stand out of the noise: no value, no fault.
fn no_line(mut case: crate::judge::case::Case, unweighted_db: Option<f64>) -> Finding {
    let Some(noise_db) = unweighted_db else {
        case.value = None;
        return case.finish();
    };
    case.reads = Some("no hum above the noise".to_owned());
    case.figures = format!(
        "no mains hum stands out of the noise ({} unweighted)",
        UnitKind::Db.of(noise_db, case.uncertainty)
    );
    // The noise is no measure of the hum: whatever its level, hum is not what is heard.
    case.bounds = Bounds::below(f64::INFINITY);
    let mut finding = case.finish();
    finding.value = None;
    finding.uncertainty = None;
    finding
}

#[cfg(test)]
mod tests {
    use crate::judge::sample;
    use crate::judge::sample::Sample;
    use crate::reading::{Adjustment, Finding, Origin, RecordedOn, Verdict};

    #[test]
    fn hum_that_does_not_stand_out_is_no_fault_and_no_number() {
        let mut reading = sample::healthy();
        reading.noise.as_mut().unwrap().mains = None;
        let got = reading.finding("hum");
        assert_eq!((got.verdict, got.value, got.turn.clone()), (Verdict::Within, None, None), "{got:?}");
    }

    #[test]
    fn loud_hum_is_outside_with_the_ground_loop_first() {
        let got = sample::faulty().finding("hum");
        assert_eq!(got.verdict, Verdict::Outside, "{got:?}");
        assert!(got.why.contains("strongest at 50.02 Hz"), "{got:?}");
        let turn = got.turn.unwrap();
        assert!(turn.starts_with("break the ground loop"), "{turn}");
    }

    #[test]
    fn the_turn_follows_where_the_hum_gets_in() {
        let mut reading = sample::faulty();
        let turn = |reading: &Sample| reading.finding("hum").turn.unwrap();
        reading.noise.as_mut().unwrap().mains.as_mut().unwrap().origin = Origin::Recorded;
        let got = reading.finding("hum");
        assert!(
            got.why.contains("lies on the tape") && turn(&reading).contains("Playback is not the cause"),
            "{got:?}"
        );
        reading.noise.as_mut().unwrap().mains.as_mut().unwrap().origin = Origin::CannotTell;
        assert!(turn(&reading).contains("stop the tape"));
    }

    #[test]
    fn noise_that_is_hum_says_so() {
        let mut reading = sample::faulty();
        let noise = reading.noise.as_mut().unwrap();
        noise.a_weighted_without_hum_db = noise.a_weighted_db.map(|db| db.map(|db| db - 3.0));
        assert!(reading.finding("noise").why.contains("the rest is hum"));
        // Hiss alone is inside the limit: nothing of the heads is to be turned.
        let noise = reading.noise.as_mut().unwrap();
        noise.a_weighted_db = [Some(-46.0); 2];
        noise.a_weighted_without_hum_db = [Some(-50.0); 2];
        assert_eq!(reading.finding("noise").steps[0].adjust, Adjustment::Hum);
        let noise = reading.noise.as_mut().unwrap();
        noise.a_weighted_without_hum_db = noise.a_weighted_db;
        assert!(!reading.finding("noise").why.contains("hum"));
    }

    #[test]
    fn noise_is_judged_against_its_named_reference() {
        let mut reading = sample::healthy();
        assert!(reading.finding("noise").why.contains("against the level tone"));
        reading.noise.as_mut().unwrap().a_weighted_db = [Some(-35.0), None];
        let got: Vec<Finding> =
            reading.judged().into_iter().filter(|finding| finding.id == "noise").collect();
        assert_eq!([got[0].verdict, got[1].verdict], [Verdict::Outside, Verdict::CannotTell]);
        reading.circumstances.recorded_on = Some(RecordedOn::Loopback);
        let got = reading.finding("noise");
        assert!(got.turn.is_none() && got.why.contains("sound card's own"), "{got:?}");
    }
}
