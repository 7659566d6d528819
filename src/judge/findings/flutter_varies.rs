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
/// the root of their number. A peak is one moment's (`is_peak`) and does not get surer with time. `None` for fewer than two.
pub(crate) fn varies(flutter: &Flutter, of: Kind, is_peak: bool) -> Option<f64> {
    let each: Vec<f64> = flutter.stretches.iter().filter_map(|stretch| of(&stretch.figures)).collect();
    if each.len() < 2 {
        return None;
    }
    let over = if is_peak { 1.0 } else { each.len() as f64 };
    Some(2.0 * mean_and_deviation(&each).1 / over.sqrt())
}
