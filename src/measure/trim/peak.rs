//! The top of a smooth hump through points with an uncertainty.

use crate::signal::fit::Parabola;
use crate::signal::statistics::mean_square;

/// A point: place, height, expanded uncertainty (k = 2) of the height.
pub(crate) type Point = (f64, f64, f64);

/// The top of a hump.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Peak {
    /// Where it is.
    pub at: f64,
    /// Expanded uncertainty (k = 2) of the place.
    pub uncertainty: f64,
    /// Its height.
    pub height: f64,
}

/// Points within this of the highest take part, ...
const REACH: f64 = 1.0;
/// ... or within so many times its uncertainty, ...
const REACH_UNCERTAINTIES: f64 = 8.0;
/// ... but at least this many and at most that many.
const FEWEST: usize = 5;
const MOST: usize = 9;

/// The top of the hump by a parabola through the points around the highest one, by least squares.
///
/// `points` stand in the order of their places. `None` if the hump has no top within them, or is too flat for the uncertainty.
pub(crate) fn peak(points: &[Point]) -> Option<Peak> {
    let highest = (0..points.len()).max_by(|&a, &b| points[a].1.total_cmp(&points[b].1))?;
    let reach = REACH.max(REACH_UNCERTAINTIES * points[highest].2);
    let (mut from, mut to) = (highest, highest + 1);
    loop {
        let height = |index: usize| points.get(index).map_or(f64::NEG_INFINITY, |point| point.1);
        let before = from.checked_sub(1).map_or(f64::NEG_INFINITY, height);
        let after = height(to);
        let next = before.max(after);
        let near = next >= points[highest].1 - reach && to - from < MOST;
        if next == f64::NEG_INFINITY || !(near || to - from < FEWEST) {
            break;
        }
        if before >= after {
            from -= 1;
        } else {
            to += 1;
        }
    }
    let used = &points[from..to];
    let n = used.len() as f64;
    if used.len() < 4 {
        return None;
    }
    let parabola = Parabola::through(used.iter().map(|point| (point.0, point.1)))?;
    let ([_, b, c], covariance) = (parabola.coefficients, parabola.covariance);
    let residual: f64 = used.iter().map(|(x, y, _)| (y - parabola.at(x - parabola.x)).powi(2)).sum();
    // What the points say of themselves, and what they show against the parabola; whichever is worse.
    let stated = mean_square(used.iter().map(|point| point.2 / 2.0));
    let variance = stated.max(if used.len() > 3 { residual / (n - 3.0) } else { 0.0 });
    if !(c < 0.0 && c * c > 9.0 * variance * covariance[(2, 2)]) {
        return None;
    }
    let at = -b / (2.0 * c);
    // Derivatives of -b / 2c.
    let (db, dc) = (-1.0 / (2.0 * c), b / (2.0 * c * c));
    let spread = variance
        * (db * db * covariance[(1, 1)] + dc * dc * covariance[(2, 2)] + 2.0 * db * dc * covariance[(1, 2)]);
    let place = parabola.x + at;
    (place > points[0].0 && place < points[points.len() - 1].0).then_some(Peak {
        at: place,
        uncertainty: 2.0 * spread.max(0.0).sqrt(),
        height: parabola.at(at),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn hump(top: f64, count: u32, uncertainty: f64) -> Vec<Point> {
        (1..=count)
            .map(|k| {
                let x = f64::from(k);
                // Errors of alternating sign, not random: the worst that two neighbours can do.
                let error = if k % 2 == 0 { uncertainty } else { -uncertainty };
                (x, 3.0 - 0.1 * (x - top).powi(2) + error, 2.0 * uncertainty + 0.001)
            })
            .collect()
    }

    #[test]
    fn a_parabola_has_its_top_where_it_is() {
        let got = peak(&hump(6.3, 12, 0.0)).unwrap();
        crate::assert_within!(got.at, 6.3, 1e-9, "rounds");
        crate::assert_within!(got.height, 3.0, 1e-9, "dB");
    }

    #[test]
    fn uncertainty_moves_it_by_no_more_than_stated() {
        let got = peak(&hump(6.3, 12, 0.03)).unwrap();
        assert!((got.at - 6.3).abs() < got.uncertainty && got.uncertainty < 1.0, "{got:?}");
    }

    #[test]
    fn a_slope_and_a_flat_line_have_no_top() {
        assert_eq!(peak(&hump(20.0, 12, 0.0)), None);
        assert_eq!(peak(&hump(-5.0, 12, 0.0)), None);
        let flat: Vec<Point> = (1..12).map(|k| (f64::from(k), 0.01 * f64::from(k % 3), 0.05)).collect();
        assert_eq!(peak(&flat), None);
        assert_eq!(peak(&[]), None);
        assert_eq!(peak(&hump(2.0, 3, 0.0)), None);
    }
}
