//! Finding `separation`.

use crate::judge::case::{Bench, Bounds, SIDES, plain};
use crate::judge::quantities::{Id, Key};
use crate::judge::work::turns::step;
use crate::reading::figures::{UnitKind, frequency};
use crate::reading::{Adjustment, Finding, Separation, Untold};

/// Frequency at which separation is stated, Hz (common practice, no source).
const STATED_HZ: f64 = 1000.0;

/// Leakage of each channel into the other at 1 kHz (or what is nearest to it).
pub(crate) fn findings(bench: &Bench) -> Vec<Finding> {
    let rows = &bench.reading.separation;
    let octaves = |row: &Separation| (row.hz / STATED_HZ).ln().abs();
    let Some(row) = rows.iter().min_by(|a, b| octaves(a).total_cmp(&octaves(b))) else {
        let mut case = bench.case(Id::Separation);
        case.missing = Untold::new(
            "no tone on one channel alone was found, or there are not two channels",
            "record the programme separation",
        );
        return vec![case.finish()];
    };
    (0..2).map(|from| one(bench, rows, row, from)).collect()
}

fn one(bench: &Bench, rows: &[Separation], row: &Separation, from: usize) -> Finding {
    let limit = bench.limits.get(Key::Separation);
    let (side, other) = (SIDES[from], SIDES[1 - from]);
    let mut case = bench.case(Id::Separation);
    case.channel = Some(side);
    if let Some(limit) = limit {
        case.bounds = Bounds::below(limit.value);
        case.limit = Some(format!(
            "leakage at {} at most {} dB ({})",
            frequency(row.hz),
            plain(limit.value),
            limit.basis
        ));
    }
    let leak = |row: &Separation| match from {
        0 => (row.left_into_right_db, row.left_into_right_uncertainty_db),
        _ => (row.right_into_left_db, row.right_into_left_uncertainty_db),
    };
    let words = |row: &Separation| match (leak(row), row.noise_limit_db[from]) {
        ((Some(db), uncertainty), _) => {
            Some(format!("{} at {}", UnitKind::Db.of(db, uncertainty), frequency(row.hz)))
        }
        ((None, _), Some(limit)) => Some(format!(
            "better than {} at {} (lost in noise)",
            UnitKind::Db.of(limit, None),
            frequency(row.hz)
        )),
        _ => None,
    };
    case.missing = Untold::new(
        format!("the tone on the {side} channel alone was not found"),
        "record the programme separation",
    );
    let all: Vec<String> = rows.iter().filter_map(words).collect();
    let figures = format!("{side} leaks into {other} by {}", all.join(", "));
    case.turn = vec![
        step(
            Adjustment::Heads,
            "clean the heads; check the height of the head and the tape guides, then leads and plugs that lie side by side (no \
             trimmer)",
        )
        .on(side),
    ];
    match (leak(row), row.noise_limit_db[from]) {
        ((Some(db), uncertainty), _) => {
            (case.value, case.uncertainty) = (Some(db), uncertainty);
            case.place = Some(format!("into {other} at {}", frequency(row.hz)));
            case.at_hz = Some(row.hz);
            case.figures = figures;
            case.finish_by(limit, Key::Separation)
        }
        // It lies below its own noise limit: that is as good as known, if the limit is.
        ((None, _), Some(below)) => {
            (case.value, case.uncertainty) = (Some(below), Some(0.0));
            case.figures = figures;
            let outside = limit.is_some_and(|limit| below > limit.value);
            if outside {
                case.value = None;
                case.missing = Untold::new(
                    format!("the noise is louder than the limit: {}", case.figures),
                    "record with more level, or with less hiss",
                );
            }
            let mut finding = case.finish_by(limit, Key::Separation);
            (finding.value, finding.uncertainty) = (None, None);
            finding
        }
        _ => case.finish(),
    }
}

#[cfg(test)]
mod tests {
    use crate::judge::sample;
    use crate::reading::Verdict;

    #[test]
    fn each_way_is_judged_at_1_khz_and_the_rest_is_told() {
        let [left, right] = sample::faulty().both("separation_db = -35", "separation");
        assert_eq!([left.verdict, right.verdict], [Verdict::Within, Verdict::Outside], "{left:?} {right:?}");
        assert!(
            right.why.starts_with("right leaks into left by ") && right.why.contains("10 kHz"),
            "{}",
            right.why
        );
        let [left, _] = sample::faulty().both("", "separation");
        assert_eq!(left.verdict, Verdict::CannotTell);
        assert!(left.why.contains("no limit is known"), "{}", left.why);
    }

    #[test]
    fn what_is_lost_in_noise_is_better_than_the_noise() {
        let mut reading = sample::faulty();
        for row in &mut reading.separation {
            (row.left_into_right_db, row.left_into_right_uncertainty_db) = (None, None);
            row.noise_limit_db = [Some(-60.0); 2];
        }
        let [left, _] = reading.both("separation_db = -35", "separation");
        assert_eq!((left.verdict, left.value), (Verdict::Within, None), "{left:?}");
        assert!(left.why.contains("better than -60.0 dB at 1 kHz"), "{}", left.why);
        let [left, _] = reading.both("separation_db = -70", "separation");
        assert_eq!(left.verdict, Verdict::CannotTell);
        assert!(left.why.contains("louder than the limit"), "{}", left.why);
    }
}
