//! Finding `noise-reduction`: whether a tape that was recorded with the deck's noise reduction sounds the same as one without.

use crate::judge::case::{Bench, Bounds, SIDES, plain};
use crate::judge::quantities::{Id, Key};
use crate::judge::work::turns::step;
use crate::reading::figures::{UnitKind, frequency, programme_level};
use crate::reading::{Adjustment, Finding, ReductionTracking, Untold};

/// A band's mean mistracking that is furthest off.
struct Worst {
    db: f64,
    uncertainty_db: f64,
    words: String,
}

/// Mean mistracking of the worst band, one finding a channel.
pub(crate) fn findings(bench: &Bench) -> Vec<Finding> {
    (0..2).map(|side| one(bench, side)).collect()
}

fn one(bench: &Bench, side: usize) -> Finding {
    let limit = bench.limits.of(Key::NoiseReduction);
    let mut case = bench.case(Id::NoiseReduction);
    case.channel = Some(SIDES[side]);
    case.bounds = Bounds::within(limit.value);
    case.limit =
        Some(format!("+-{} dB, in against out, mean of a band ({})", plain(limit.value), limit.basis));
    case.missing = Untold::new(
        "no tones with noise reduction out and in were found",
        "record the recipe noise-reduction",
    );
    let Some(tracking) = &bench.reading.noise_reduction else { return case.finish() };
    if tracking.switched == Some(false) {
        case.missing.because = "both halves are alike: noise reduction was not switched".to_owned();
        return case.finish();
    }
    let Some(worst) = worst(tracking, side) else { return case.finish() };
    case.value = Some(worst.db);
    case.uncertainty = Some(worst.uncertainty_db);
    case.figures = worst.words;
    let text = format!(
        "set playback level and record level of the {} channel to the level mark. If it still mistracks, check the noise \
         reduction's own circuit",
        SIDES[side]
    );
    case.turn = vec![step(Adjustment::RecordLevel, text).on(SIDES[side])];
    case.finish()
}

fn worst(tracking: &ReductionTracking, side: usize) -> Option<Worst> {
    let bands = tracking.bands.iter().filter_map(|band| Some((band, band.mean_db[side]?)));
    let (band, db) = bands.max_by(|a, b| a.1.abs().total_cmp(&b.1.abs()))?;
    let inside = |hz: f64| band.from_hz * 0.999 <= hz && hz <= band.to_hz * 1.001;
    let rows = tracking.rows.iter().filter(|row| row.programme_db == band.programme_db && inside(row.hz));
    // The rows of a band may be off together: the widest counts.
    let uncertainty_db = rows.filter_map(|row| row.uncertainty_db[side]).reduce(f64::max)?;
    let words = format!(
        "in against out {} at {}, {} to {}",
        UnitKind::Db.of(db, uncertainty_db).signed(),
        programme_level(band.programme_db),
        frequency(band.from_hz),
        frequency(band.to_hz)
    );
    Some(Worst { db, uncertainty_db, words })
}

#[cfg(test)]
mod tests {
    use crate::judge::sample;
    use crate::reading::Verdict;

    #[test]
    fn the_worst_band_is_judged_and_a_switch_left_alone_is_said() {
        let mut reading = sample::rounds();
        for band in &mut reading.noise_reduction.as_mut().unwrap().bands {
            band.mean_db = [Some(0.4), Some(-0.1)];
        }
        reading.noise_reduction.as_mut().unwrap().bands[1].mean_db = [Some(-4.0), Some(0.1)];
        reading.noise_reduction.as_mut().unwrap().switched = Some(true);
        let found = reading.both("", "noise-reduction");
        assert_eq!([found[0].verdict, found[1].verdict], [Verdict::Outside, Verdict::Within], "{found:?}");
        assert!(found[0].why.starts_with("in against out -4.00 dB"), "{found:?}");
        reading.noise_reduction.as_mut().unwrap().switched = Some(false);
        let found = reading.both("", "noise-reduction");
        assert!(found[0].why.contains("was not switched"), "{found:?}");
    }
}
