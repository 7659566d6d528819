//! How far a figure of flutter holds beyond the stretch that it was measured on.

use crate::reading::{Flutter, FlutterFigures};
use crate::trade::student::mean_and_deviation;

/// The figure of one kind out of several.
pub(crate) type Kind = fn(&FlutterFigures) -> Option<f64>;

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
