//! What several tapes of different origin say together of the head that plays them back.

use crate::signal::statistics::median_of_few;

/// How much tapes of different recorders differ before anything is known of these: standard deviation, us. 1.5 minutes of
/// arc: common practice, no source.
pub const RECORDERS_US: f64 = 8.0;
/// How many tapes that guess counts as.
const PRIOR_TAPES: f64 = 1.0;
/// Fewer tapes name no outlier.
const LEAST_FOR_OUTLIERS: usize = 4;
/// A tape is an outlier if it is further off than so many standard deviations, and
const OUTLYING: f64 = 4.0;
/// further than this, us: tapes that agree better than that are better than their recorders could be set.
const LEAST_OUTLYING_US: f64 = 6.0;

/// Delay that the tapes agree on.
#[derive(Debug, Clone, PartialEq)]
pub struct Consensus {
    /// Delay, us.
    pub delay_us: f64,
    /// Expanded uncertainty (k = 2), with the spread of the tapes, us.
    pub uncertainty_us: f64,
    /// Standard deviation of the tapes that are no outliers, us; `None` for one tape.
    pub spread_us: Option<f64>,
    /// For each tape, in order: it stands apart from the others and was left out.
    pub outliers: Vec<bool>,
}

/// Consensus of tapes, each (delay, expanded uncertainty) in us; `None` for none.
///
/// Each tape's true delay is the head's plus its recorder's (and production's), which differ by a standard deviation
/// that is estimated from the tapes, beginning with [`RECORDERS_US`] as if one tape had shown it; so one tape alone
/// carries it all. The mean is weighted by both variances. From four tapes on, those far from the median are left out.
pub fn consensus(tapes: &[(f64, f64)]) -> Option<Consensus> {
    let outliers = outliers(tapes);
    let kept: Vec<(f64, f64)> = tapes
        .iter()
        .zip(&outliers)
        .filter(|(_, out)| !**out)
        .map(|(tape, _)| (tape.0, (tape.1 / 2.0).powi(2)))
        .collect();
    let count = kept.len() as f64;
    let mut between = RECORDERS_US * RECORDERS_US;
    let (mut mean, mut total) = (0.0, 0.0);
    for _ in 0..100 {
        let weight = |variance: f64| 1.0 / (variance + between);
        total = kept.iter().map(|tape| weight(tape.1)).sum::<f64>();
        if !(total > 0.0) {
            return None;
        }
        mean = kept.iter().map(|tape| weight(tape.1) * tape.0).sum::<f64>() / total;
        // Each tape shows the spread as far as its own uncertainty does not hide it.
        let (mut shown, mut seen) = (PRIOR_TAPES * RECORDERS_US * RECORDERS_US, PRIOR_TAPES);
        for tape in &kept {
            let clear = (between / (between + tape.1)).powi(2);
            shown += clear * ((tape.0 - mean).powi(2) - tape.1).max(0.0);
            seen += clear * (count - 1.0) / count;
        }
        let next = shown / seen;
        if (next - between).abs() < 1e-9 * between {
            break;
        }
        between = next;
    }
    // Few tapes show their spread badly. Calibrated by repeated trials (below); one tape shows none, it is all assumed.
    let few = if kept.len() > 1 { (1.0 + 2.0 / count).sqrt() } else { 1.0 };
    let plain = kept.iter().map(|tape| tape.0).sum::<f64>() / count;
    let spread = kept.iter().map(|tape| (tape.0 - plain).powi(2)).sum::<f64>() / (count - 1.0);
    Some(Consensus {
        delay_us: mean,
        uncertainty_us: 2.0 / total.sqrt() * few,
        spread_us: (kept.len() > 1).then(|| spread.sqrt()),
        outliers,
    })
}

fn outliers(tapes: &[(f64, f64)]) -> Vec<bool> {
    if tapes.len() < LEAST_FOR_OUTLIERS {
        return vec![false; tapes.len()];
    }
    let middle = median_of_few(&tapes.iter().map(|tape| tape.0).collect::<Vec<_>>());
    let usual = 1.4826 * median_of_few(&tapes.iter().map(|tape| (tape.0 - middle).abs()).collect::<Vec<_>>());
    tapes
        .iter()
        .map(|(delay, uncertainty)| {
            let sigma = usual.hypot(uncertainty / 2.0);
            (delay - middle).abs() > (OUTLYING * sigma).max(LEAST_OUTLYING_US)
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::signal::test_signals::Random;

    #[test]
    fn one_tape_carries_the_spread_of_recorders() {
        let alone = consensus(&[(12.0, 0.2)]).unwrap();
        assert_eq!(alone.delay_us, 12.0);
        crate::assert_within!(alone.uncertainty_us, 16.0, 0.01, "us");
        assert_eq!((alone.spread_us, consensus(&[])), (None, None));
    }

    #[test]
    fn tapes_that_agree_narrow_it_and_an_outlier_is_left_out() {
        let agreeing: Vec<(f64, f64)> = [10.0, 11.0, 9.0, 10.5, 9.5].map(|delay| (delay, 0.3)).into();
        let five = consensus(&agreeing).unwrap();
        crate::assert_within!(five.delay_us, 10.0, 0.05, "us");
        // By hand: between = (64 + 2.5 - 5 * 0.0225) / (1 + 4) = 13.28, over 5 tapes, root, twice: 3.27; few: 1.183.
        crate::assert_within!(five.uncertainty_us, 3.87, 0.02, "us");
        let mut with_other = agreeing.clone();
        with_other.push((45.0, 0.3));
        let six = consensus(&with_other).unwrap();
        assert_eq!(six.outliers, [false, false, false, false, false, true]);
        assert_eq!(six.delay_us, five.delay_us);
    }

    #[test]
    fn a_sure_tape_counts_more_than_an_unsure_one() {
        let both = consensus(&[(0.0, 0.2), (20.0, 40.0)]).unwrap();
        assert!(both.delay_us > 0.0 && both.delay_us < 7.0, "{both:?}");
    }

    /// Repeated trials: the truth lies inside in about 95 of 100 trials with recorders as assumed or better, and in 88 if
    /// they are nearly twice as bad.
    #[test]
    fn the_interval_holds_the_truth() {
        let mut random = Random(5);
        for recorders_us in [1.0f64, 8.0, 14.0] {
            for tapes in [2, 3, 5, 10] {
                let held = (0..1000)
                    .filter(|_| {
                        let drawn: Vec<(f64, f64)> = (0..tapes)
                            .map(|k| {
                                let own: f64 = if k % 2 == 0 { 0.3 } else { 8.0 };
                                (random.normal() * recorders_us.hypot(own), 2.0 * own)
                            })
                            .collect();
                        let found = consensus(&drawn).unwrap();
                        found.delay_us.abs() <= found.uncertainty_us
                    })
                    .count();
                assert!(
                    held >= if recorders_us > 10.0 { 880 } else { 930 },
                    "{recorders_us} us, {tapes} tapes: {held}"
                );
            }
        }
    }
}
