//! Fits by least squares: lines, parabolas, and whatever is linear in its parameters or nearly so.

use crate::signal::statistics::mean;
use nalgebra::{DMatrix, DVector, Matrix3, Vector3};

/// Straight line through points.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Line {
    /// Mean place of the points.
    pub x: f64,
    /// Their mean, the line's value there.
    pub y: f64,
    /// 0 where all points stand at one place.
    pub slope: f64,
    /// Sum of the squared distances of the places from their mean.
    pub squares: f64,
}

impl Line {
    /// The line that fits `points` (x, y) best.
    pub(crate) fn through(points: impl Iterator<Item = (f64, f64)> + Clone) -> Self {
        let (x, y) = (mean(points.clone().map(|point| point.0)), mean(points.clone().map(|point| point.1)));
        let squares: f64 = points.clone().map(|point| (point.0 - x).powi(2)).sum();
        let products: f64 = points.map(|point| (point.0 - x) * (point.1 - y)).sum();
        Self { x, y, slope: if squares > 0.0 { products / squares } else { 0.0 }, squares }
    }

    /// The line that fits `values` at 0, 1, 2 ... best.
    pub(crate) fn of(values: &[f64]) -> Self {
        Self::through(values.iter().enumerate().map(|(k, value)| (k as f64, *value)))
    }

    /// Its value at `x`.
    pub(crate) fn at(&self, x: f64) -> f64 {
        self.y + self.slope * (x - self.x)
    }
}

/// Parabola `a + b d + c d d` through points, with `d` counted from the mean of their places.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Parabola {
    /// Mean place of the points.
    pub x: f64,
    /// `a`, `b` and `c`.
    pub coefficients: [f64; 3],
    /// Variances and covariances of the coefficients, in units of the variance of a point.
    pub covariance: Matrix3<f64>,
}

impl Parabola {
    /// The parabola that fits `points` (x, y) best; `None` for fewer than three different places.
    pub(crate) fn through(points: impl Iterator<Item = (f64, f64)> + Clone) -> Option<Self> {
        let x = mean(points.clone().map(|point| point.0));
        // In units of the half span the normal equations are well conditioned.
        let span = points.clone().map(|point| (point.0 - x).abs()).fold(0.0, f64::max);
        let (mut normal, mut right) = (Matrix3::zeros(), Vector3::zeros());
        for point in points {
            let d = (point.0 - x) / span;
            let row = Vector3::new(1.0, d, d * d);
            normal += row * row.transpose();
            right += row * point.1;
        }
        let scale = Vector3::new(1.0, 1.0 / span, 1.0 / (span * span));
        // Two places make it singular but for rounding.
        let factor = normal.cholesky().filter(|factor| factor.l_dirty()[(2, 2)] > 1e-7)?;
        let coefficients = factor.solve(&right).component_mul(&scale);
        let covariance = factor.inverse().component_mul(&(scale * scale.transpose()));
        Some(Self { x, coefficients: coefficients.into(), covariance })
    }

    /// Its value at `d` from the mean place.
    pub(crate) fn at(&self, d: f64) -> f64 {
        let [a, b, c] = self.coefficients;
        a + d * (b + d * c)
    }
}

/// Place and height of the top of the parabola through three points (x, y) in the order of their places, at most as far as
/// the outer ones; `None` if it has no top.
pub(crate) fn top_of([a, b, c]: [(f64, f64); 3]) -> Option<(f64, f64)> {
    // Newton's divided differences.
    let first = (b.1 - a.1) / (b.0 - a.0);
    let second = ((c.1 - b.1) / (c.0 - b.0) - first) / (c.0 - a.0);
    if !(second < 0.0) {
        return None;
    }
    let at = (0.5 * (a.0 + b.0) - 0.5 * first / second).clamp(a.0, c.0);
    Some((at, a.1 + (at - a.0) * (first + second * (at - b.0))))
}

/// The same through three neighbours in a row, the middle one the highest: place from the middle one in steps, at most half
/// a step, and height. The middle one itself where it does not stand out.
pub(crate) fn top_of_row([before, middle, after]: [f64; 3]) -> (f64, f64) {
    let bend = 2.0 * middle - before - after;
    if !(bend > 0.0) {
        return (0.0, middle);
    }
    let at = (0.5 * (after - before) / bend).clamp(-0.5, 0.5);
    (at, middle + 0.25 * (after - before) * at)
}

/// Solution of `columns` times it nearest to `want`, by QR: normal equations would lose what nearly equal columns differ by.
/// `None` if the columns depend on each other, or there are fewer rows than columns.
pub(crate) fn least_squares(columns: DMatrix<f64>, want: &DVector<f64>) -> Option<DVector<f64>> {
    if columns.nrows() < columns.ncols() {
        return None;
    }
    let (count, qr, mut turned) = (columns.ncols(), columns.qr(), want.clone());
    qr.q_tr_mul(&mut turned);
    qr.r().solve_upper_triangular(&turned.rows(0, count).into_owned())
}

/// How a search for the least sum of squares goes on.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Search {
    /// Most rounds.
    pub rounds: usize,
    /// Most steps that are tried in a round, each shorter than the one before.
    pub tries: usize,
    /// It ends with a round that gains less than this.
    pub least_gain: f64,
    /// Damping of the first step, as a share of the normal matrix's diagonal.
    pub damping: f64,
    /// No parameter goes farther from 0.
    pub widest: f64,
}

/// What a search found.
#[derive(Debug, Clone)]
pub(crate) struct Least {
    pub at: DVector<f64>,
    /// Half of the sum of squares there.
    pub cost: f64,
    /// The normal matrix: its inverse holds the variances and covariances of the parameters.
    pub normal: DMatrix<f64>,
}

impl Search {
    /// Goes down from `at` to where `cost` (half of the sum of squares) is least, after Levenberg and Marquardt. `downhill`
    /// gives the normal matrix and the negative gradient of the cost; `None` if a damped normal matrix is singular.
    pub(crate) fn descend(
        self,
        mut at: DVector<f64>,
        cost: impl Fn(&DVector<f64>) -> f64,
        downhill: impl Fn(&DVector<f64>) -> (DMatrix<f64>, DVector<f64>),
    ) -> Option<Least> {
        let (mut least, mut damping) = (cost(&at), self.damping);
        for _ in 0..self.rounds {
            let (normal, gradient) = downhill(&at);
            let mut gained = 0.0;
            for _ in 0..self.tries {
                let mut damped = normal.clone();
                (0..at.len()).for_each(|k| damped[(k, k)] *= 1.0 + damping);
                let step = damped.cholesky()?.solve(&gradient);
                let next = (&at + step).map(|x| x.clamp(-self.widest, self.widest));
                let next_cost = cost(&next);
                if next_cost < least {
                    (gained, at, least) = (least - next_cost, next, next_cost);
                    damping = (damping * 0.2).max(1e-6);
                    break;
                }
                damping *= 8.0;
            }
            if gained < self.least_gain {
                return Some(Least { at, cost: least, normal });
            }
        }
        let normal = downhill(&at).0;
        Some(Least { at, cost: least, normal })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lines_and_parabolas_are_found_where_they_are() {
        let line = Line::through([1.0, 2.0, 4.0].into_iter().map(|x| (x, 3.0 - 0.5 * x)));
        crate::assert_within!(line.slope, -0.5, 1e-12, "");
        crate::assert_within!(line.at(0.0), 3.0, 1e-12, "");
        assert_eq!(Line::of(&[2.0]), Line { x: 0.0, y: 2.0, slope: 0.0, squares: 0.0 });
        let points = [1e6 + 1.0, 1e6 + 2.0, 1e6 + 4.0, 1e6 + 7.0].map(|x| (x, 2.0 * (x - 1e6) * (x - 1e6)));
        let found = Parabola::through(points.iter().copied()).unwrap();
        crate::assert_within!(found.coefficients[2], 2.0, 1e-6, "");
        crate::assert_within!(found.at(1e6 + 5.0 - found.x), 50.0, 1e-6, "");
        // Two places leave the curvature open.
        assert!(Parabola::through([(1.0, 1.0), (2.0, 3.0), (2.0, 2.0)].into_iter()).is_none());
        assert_eq!(Parabola::through(std::iter::empty()), None);
    }

    /// By hand: at the places -2, -1, 1, 2 the normal matrix of 1, d, d d is 4, 10, 34 with 10 between the first and the third.
    #[test]
    fn a_parabola_states_how_well_its_coefficients_are_known() {
        let found = Parabola::through([-2.0, -1.0, 1.0, 2.0].into_iter().map(|x| (x, 0.0))).unwrap();
        crate::assert_within!(found.covariance[(1, 1)], 1.0 / 10.0, 1e-12, "");
        crate::assert_within!(found.covariance[(2, 2)], 4.0 / 36.0, 1e-12, "");
        crate::assert_within!(found.covariance[(0, 2)], -10.0 / 36.0, 1e-12, "");
    }

    #[test]
    fn the_top_of_three_points_is_that_of_their_parabola() {
        let curve = |x: f64| (x, 3.0 - 0.2 * (x - 1.3).powi(2));
        let (at, height) = top_of([curve(0.0), curve(1.0), curve(4.0)]).unwrap();
        crate::assert_within!(at, 1.3, 1e-12, "");
        crate::assert_within!(height, 3.0, 1e-12, "");
        let row = [0.0, 1.0, 2.0].map(|x| curve(x).1);
        let (at, height) = top_of_row(row);
        crate::assert_within!(1.0 + at, 1.3, 1e-12, "");
        crate::assert_within!(height, 3.0, 1e-12, "");
        assert_eq!((top_of([(0.0, 1.0), (1.0, 0.0), (2.0, 1.0)]), top_of_row([1.0; 3])), (None, (0.0, 1.0)));
    }

    #[test]
    fn equations_with_too_many_answers_have_none() {
        let line = DMatrix::from_row_slice(3, 2, &[1.0, 0.0, 1.0, 1.0, 1.0, 2.0]);
        let got = least_squares(line.clone(), &DVector::from_vec(vec![1.0, 3.0, 5.0])).unwrap();
        crate::assert_within!(got[0], 1.0, 1e-12, "");
        crate::assert_within!(got[1], 2.0, 1e-12, "");
        assert!(least_squares(line.transpose(), &DVector::zeros(2)).is_none());
    }

    #[test]
    fn a_search_finds_the_least_sum_of_squares_and_keeps_its_bounds() {
        // exp(-a t) at three times, from a far start.
        let residuals = |a: f64| [0.5, 1.0, 2.0].map(|t: f64| (-a * t).exp() - (-0.7 * t).exp());
        let slopes = |a: f64| [0.5, 1.0, 2.0].map(|t: f64| -t * (-a * t).exp());
        let search = |widest: f64| {
            let search = Search { rounds: 50, tries: 10, least_gain: 1e-24, damping: 1e-2, widest };
            let found = search.descend(
                DVector::from_element(1, 0.0),
                |at| 0.5 * residuals(at[0]).iter().map(|x| x * x).sum::<f64>(),
                |at| {
                    let (r, s) = (residuals(at[0]), slopes(at[0]));
                    let dot = |a: [f64; 3], b: [f64; 3]| a.iter().zip(b).map(|(a, b)| a * b).sum::<f64>();
                    (DMatrix::from_element(1, 1, dot(s, s)), DVector::from_element(1, -dot(s, r)))
                },
            );
            found.unwrap().at[0]
        };
        crate::assert_within!(search(10.0), 0.7, 1e-9, "");
        assert_eq!(search(0.5), 0.5);
    }
}
