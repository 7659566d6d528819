//! How far a figure of flutter holds beyond the stretch that it was measured on.

use crate::reading::{Flutter, FlutterFigures};
use crate::trade::student::mean_and_deviation;

/// The figure of one kind out of several.
pub type Kind = fn(&FlutterFigures) -> Option<f64>;

/// Expanded uncertainty (k = 2) of one kind of flutter as the deck's own, percent: what the table, the finding and a comparison print.
///
/// What the return was measured to and what the stretches differ by, in quadrature; a peak is one moment's (`is_peak`).
/// `None` where the return has none.
pub fn flutter_uncertainty(flutter: &Flutter, of: Kind, is_peak: bool) -> Option<f64> {
    Some(of_return(flutter, of)?.hypot(varies(flutter, of, is_peak).unwrap_or(0.0)))
}

/// Expanded uncertainty (k = 2) of one kind over the stretch that was measured, percent.
///
/// A reading made before each kind had one of its own: as sure, in proportion, as the weighted rms.
pub(crate) fn of_return(flutter: &Flutter, of: Kind) -> Option<f64> {
    let in_proportion = || {
        let (value, rms, uncertainty) =
            (of(&flutter.figures())?, flutter.weighted_rms_percent?, flutter.uncertainty_percent?);
        Some(if rms > 0.0 { uncertainty * value / rms } else { uncertainty })
    };
    of(&flutter.uncertainties).or_else(in_proportion)
}

/// Expanded uncertainty (k = 2) of a figure as the deck's own, beyond that of having measured this stretch, percent.
///
/// A deck's flutter is not the same from one stretch of tape to the next: twice the standard deviation of the stretches over
/// the root of their number. A peak is one moment's (`is_peak`) and does not get surer with time. A kind that too few of them
/// are long enough for differs, in proportion, as the weighted rms does. `None` for fewer than two.
pub(crate) fn varies(flutter: &Flutter, of: Kind, is_peak: bool) -> Option<f64> {
    let differs = |of: Kind| {
        let each: Vec<f64> = flutter.stretches.iter().filter_map(|stretch| of(&stretch.figures)).collect();
        let over = if is_peak { 1.0 } else { each.len() as f64 };
        (each.len() >= 2).then(|| 2.0 * mean_and_deviation(&each).1 / over.sqrt())
    };
    let in_proportion = || {
        let rms = flutter.weighted_rms_percent.filter(|&rms| rms > 0.0)?;
        Some(differs(|figures| figures.weighted_rms_percent)? * of(&flutter.figures())? / rms)
    };
    differs(of).or_else(in_proportion)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::judge::sample;

    #[test]
    fn a_kind_that_one_stretch_alone_has_differs_as_the_weighted_rms_does() {
        let mut reading = sample::healthy();
        let flutter = reading.flutter.as_mut().unwrap();
        let [two_sigma, rms]: [Kind; 2] =
            [|figures| figures.two_sigma_percent, |figures| figures.weighted_rms_percent];
        assert!(flutter.stretches.len() > 2);
        let of_rms = varies(flutter, rms, false).unwrap() / flutter.weighted_rms_percent.unwrap();
        flutter.stretches[1..].iter_mut().for_each(|stretch| stretch.figures.two_sigma_percent = None);
        let found = varies(flutter, two_sigma, false).unwrap() / flutter.two_sigma_percent.unwrap();
        crate::assert_within!(found, of_rms, 1e-12, "");
        flutter.stretches.truncate(1);
        assert_eq!(varies(flutter, two_sigma, false), None);
    }
}
