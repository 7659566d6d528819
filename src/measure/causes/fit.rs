//! Which causes make a response, by evidence (MacKay, Neural Computation 4, 1992).
//!
//! response(f) = offset + sum of the shapes of some causes + ripple(f) + noise
//!
//! Every subset of the causes is a model; each pays for the freedom of its sizes. Ripple stands for all that no shape
//! explains: a smooth random curve over log frequency (a Gaussian process with Matern 3/2 covariance), whose size and
//! reach are not known and weighed by the evidence as well. Without it a response would be charged to causes down to its
//! last tenth of a decibel. All results are means over all models, so that their uncertainty grows where the response
//! cannot tell.
//!
//! Shares of what cannot be told apart are uncertain by themselves but sure together. Models far behind at four sizes
//! of ripple are not pursued, for speed.

use crate::measure::causes::shapes::{
    Place, Prior, SWITCHED, Setting, priors, probability, shape_db, shared, slopes_db, starts, switched,
};
use crate::reading::CauseKind;
use crate::signal::fit::{Least, Search};
use nalgebra::{Cholesky, DMatrix, DVector};
use rayon::prelude::*;
use std::f64::consts::TAU;

/// One point of a response.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Point {
    pub(crate) place: Place,
    /// Response, dB.
    pub(crate) db: f64,
    /// Standard uncertainty, dB.
    pub(crate) sigma_db: f64,
    /// Standard uncertainty that all points share in proportion (of what was subtracted before), dB.
    pub(crate) shared_db: f64,
}

/// What the evidence says of one channel.
#[derive(Debug, Clone)]
pub(crate) struct Verdicts {
    /// In the order of the kinds given.
    pub(crate) kinds: Vec<KindVerdict>,
    /// Size of the ripple (standard deviation), dB.
    pub(crate) ripple_db: f64,
    /// What all causes together explain at each point, dB relative to the reference, the offset included.
    pub(crate) explained_db: Vec<f64>,
    /// Probability that a low-pass, if there is one, is a digital one.
    pub(crate) digital: f64,
    models: Vec<Model>,
    asked: Vec<CauseKind>,
}

/// What the evidence says of one cause.
#[derive(Debug, Clone)]
pub(crate) struct KindVerdict {
    pub(crate) kind: CauseKind,
    /// Probability that it is there.
    pub(crate) probability: f64,
    /// Sizes if it is there (as [`priors`] numbers them) with their standard uncertainties.
    pub(crate) sizes: Vec<(f64, f64)>,
}

/// Sizes of ripple that are weighed, dB. Its usual size is from memory: a sound deck's curve is not smoother than that.
const RIPPLES_DB: [f64; 8] = [0.02, 0.04, 0.08, 0.15, 0.3, 0.6, 1.2, 2.4];
const USUAL_RIPPLE_DB: f64 = 0.15;
const RIPPLE_SPREAD: f64 = 1.0;
/// Reaches of ripple that are weighed, octaves.
const REACHES_OCTAVES: [f64; 2] = [0.4, 1.2];
/// Least standard uncertainty of a point: what the tone meter cannot show, dB.
const LEAST_SIGMA_DB: f64 = 0.02;
/// How probable a digital low-pass is against one of a circuit before anything was measured (from memory: a setting of a sound
/// card or a conversion).
const DIGITAL: f64 = 0.1;
/// How far the reference tone may be off by itself (standard deviation), dB.
const OFFSET_DB: f64 = 0.5;
/// Sizes are looked for within this many standard deviations about what is usual.
const WIDEST: f64 = 4.0;
/// Models this many nats below the best are not pursued: together they weigh less than a hundredth.
const HOPELESS: f64 = 9.0;
/// Sizes of ripple by which it is seen which models are worth pursuing, dB.
const COARSE_RIPPLES_DB: [f64; 4] = [0.03, 0.15, 0.6, 2.4];

/// Some causes, with their sizes and the evidence for them.
#[derive(Debug, Clone)]
pub(crate) struct Model {
    /// Which of the kinds asked for, by index.
    members: Vec<usize>,
    /// Standardised logarithms of the sizes, member by member, then the offset in units of [`OFFSET_DB`].
    at: DVector<f64>,
    covariance: DMatrix<f64>,
    log_evidence: f64,
    weight: f64,
    ripple_db: f64,
    /// Its low-pass is a digital one, for samples at so many Hz.
    digital_hz: Option<f64>,
}

/// A covariance of ripple and noise, ready to whiten with.
struct Whitener {
    /// Inverse of the covariance's lower factor: to multiply by it is faster than to solve.
    inverse: DMatrix<f64>,
    half_log_det: f64,
    log_prior: f64,
    ripple_db: f64,
}

impl Whitener {
    fn new(points: &[Point], ripple_db: f64, reach_octaves: f64) -> Option<Self> {
        let n = points.len();
        let octaves: Vec<f64> = points.iter().map(|point| point.place.programme_hz.log2()).collect();
        let covariance = DMatrix::from_fn(n, n, |i, k| {
            let apart = 3f64.sqrt() * (octaves[i] - octaves[k]).abs() / reach_octaves;
            let ripple = ripple_db * ripple_db * (1.0 + apart) * (-apart).exp();
            let own = if i == k { points[i].sigma_db.hypot(LEAST_SIGMA_DB).powi(2) } else { 0.0 };
            ripple + own + points[i].shared_db * points[k].shared_db
        });
        let factor = Cholesky::new(covariance)?;
        let half_log_det = factor.l_dirty().diagonal().iter().map(|pivot| pivot.ln()).sum();
        let mut inverse = DMatrix::identity(n, n);
        factor.l_dirty().solve_lower_triangular_mut(&mut inverse);
        let unlikely = ((ripple_db / USUAL_RIPPLE_DB).ln() / RIPPLE_SPREAD).powi(2);
        Some(Self { inverse, half_log_det, log_prior: -0.5 * unlikely, ripple_db })
    }

    fn whiten(&self, values: &DMatrix<f64>) -> DMatrix<f64> {
        &self.inverse * values
    }
}

/// One channel's response and the shapes that may stand in it.
struct Data<'a> {
    points: &'a [Point],
    reference: Place,
    setting: &'a Setting,
    kinds: &'a [CauseKind],
    priors: Vec<Vec<Prior>>,
    /// A time constant is that of the other position of the switch.
    switched: bool,
}

impl Data<'_> {
    /// What is believed of each number of a model before measuring: standardised middle and spread.
    fn believed(&self, members: &[usize]) -> (DVector<f64>, DVector<f64>) {
        let of = |&kind: &usize| {
            let is = self.switched && self.kinds[kind] == CauseKind::TimeConstant;
            let usual = if is { switched(self.setting) } else { (0.0, 1.0) };
            vec![usual; self.priors[kind].len()]
        };
        let rows: Vec<(f64, f64)> = members.iter().flat_map(of).chain([(0.0, 1.0)]).collect();
        let column = |of: fn(&(f64, f64)) -> f64| DVector::from_iterator(rows.len(), rows.iter().map(of));
        (column(|row| row.0), column(|row| row.1))
    }

    /// Size number `k` of `kind` at a standardised logarithm.
    fn size(&self, kind: usize, k: usize, at: f64) -> f64 {
        let prior = self.priors[kind][k];
        prior.usual * (prior.spread * at.clamp(-WIDEST, WIDEST)).exp()
    }

    fn sizes(&self, kind: usize, at: &[f64]) -> Vec<f64> {
        at.iter().enumerate().map(|(k, &at)| self.size(kind, k, at)).collect()
    }

    /// What a kind of such standardised sizes does at `place`, relative to the reference frequency, dB.
    fn share_db(&self, kind: usize, at: &[f64], place: Place) -> f64 {
        let (name, sizes) = (self.kinds[kind], self.sizes(kind, at));
        shape_db(name, &sizes, place, self.setting) - shape_db(name, &sizes, self.reference, self.setting)
    }

    /// The same at every point.
    fn shares_db<'b>(&'b self, kind: usize, at: &[f64]) -> impl Iterator<Item = f64> + 'b {
        let (name, sizes) = (self.kinds[kind], self.sizes(kind, at));
        let reference_db = shape_db(name, &sizes, self.reference, self.setting);
        self.points.iter().map(move |point| shape_db(name, &sizes, point.place, self.setting) - reference_db)
    }

    /// Response less what is explained, dB, one column.
    fn residual(&self, members: &[usize], at: &DVector<f64>) -> DMatrix<f64> {
        let offset_db = OFFSET_DB * at[at.len() - 1];
        let mut residual = DMatrix::from_fn(self.points.len(), 1, |i, _| self.points[i].db - offset_db);
        let mut first = 0;
        for &kind in members {
            let count = self.priors[kind].len();
            let own = &at.as_slice()[first..first + count];
            residual
                .iter_mut()
                .zip(self.shares_db(kind, own))
                .for_each(|(residual, share)| *residual -= share);
            first += count;
        }
        residual
    }

    /// Slopes of [`Self::share_db`] over the standardised sizes, at each of `places`.
    fn slopes_db<'b>(
        &'b self,
        kind: usize,
        at: &[f64],
        places: impl Iterator<Item = Place> + 'b,
    ) -> impl Iterator<Item = [f64; 3]> + 'b {
        let (name, sizes) = (self.kinds[kind], self.sizes(kind, at));
        let reference = slopes_db(name, &sizes, self.reference, self.setting);
        places.map(move |place| {
            let slopes = slopes_db(name, &sizes, place, self.setting);
            let spread = |k: usize| self.priors[kind].get(k).map_or(0.0, |prior| prior.spread);
            [0, 1, 2].map(|k| spread(k) * (slopes[k] - reference[k]))
        })
    }

    /// Column 0: the residual of the response; the others: the slope of what is explained over each number of the model.
    fn residual_and_slopes(&self, members: &[usize], at: &DVector<f64>) -> DMatrix<f64> {
        let (n, width) = (self.points.len(), at.len());
        let mut matrix = DMatrix::zeros(n, width + 1);
        matrix.set_column(0, &self.residual(members, at).column(0));
        matrix.column_mut(width).fill(OFFSET_DB);
        let mut first = 0;
        for &kind in members {
            let count = self.priors[kind].len();
            let own = &at.as_slice()[first..first + count];
            let slopes = self.slopes_db(kind, own, self.points.iter().map(|point| point.place));
            for (i, slopes) in slopes.enumerate() {
                (0..count).for_each(|k| matrix[(i, 1 + first + k)] = slopes[k]);
            }
            first += count;
        }
        matrix
    }

    /// Half of the squared misfit, priors included.
    fn cost(&self, members: &[usize], at: &DVector<f64>, whitener: &Whitener) -> f64 {
        let residual = whitener.whiten(&self.residual(members, at));
        let (middle, spread) = self.believed(members);
        0.5 * (residual.norm_squared() + (at - middle).component_div(&spread).norm_squared())
    }

    /// The least squares from `start` on, then the evidence by Laplace's method.
    fn climb(
        &self,
        members: &[usize],
        start: DVector<f64>,
        whitener: &Whitener,
        most: usize,
    ) -> Option<Model> {
        let width = start.len();
        let (middle, spread) = self.believed(members);
        let weight = spread.map(|spread| spread.powi(-2));
        let downhill = |at: &DVector<f64>| {
            let matrix = whitener.whiten(&self.residual_and_slopes(members, at));
            let slopes = matrix.columns(1, width);
            let turned = slopes.transpose();
            let pull = (at - &middle).component_mul(&weight);
            (&turned * slopes + DMatrix::from_diagonal(&weight), turned * matrix.column(0) - pull)
        };
        let search = Search { rounds: most, tries: 6, least_gain: 1e-3, damping: 1e-2, widest: WIDEST };
        let Least { at, cost, normal } =
            search.descend(start, |at| self.cost(members, at, whitener), downhill)?;
        let factor = normal.cholesky()?;
        let half_log_det: f64 = factor.l_dirty().diagonal().iter().map(|pivot| pivot.ln()).sum();
        let prior: f64 = (0..self.kinds.len())
            .map(|kind| {
                let there = probability(self.kinds[kind]);
                if members.contains(&kind) { there.ln() } else { (1.0 - there).ln() }
            })
            .sum();
        let narrowness: f64 = spread.iter().map(|spread| spread.ln()).sum();
        // Standardised numbers: the prior's own 2 pi cancel Laplace's.
        let n = self.points.len() as f64;
        let log_evidence = -cost - whitener.half_log_det - 0.5 * n * TAU.ln() - half_log_det - narrowness
            + prior
            + whitener.log_prior;
        log_evidence.is_finite().then(|| Model {
            members: members.to_vec(),
            at,
            covariance: factor.inverse(),
            log_evidence,
            weight: 0.0,
            ripple_db: whitener.ripple_db,
            digital_hz: self.setting.digital_hz,
        })
    }

    /// The model of a subset of the kinds at the best of a few sizes of ripple: whether it is worth pursuing.
    fn coarsely(&self, subset: usize, usual: &Whitener, coarse: &[Whitener]) -> Option<Model> {
        let members: Vec<usize> = (0..self.kinds.len()).filter(|kind| subset >> kind & 1 == 1).collect();
        let better = |a: &Model, b: &Model| a.log_evidence.total_cmp(&b.log_evidence);
        let start = self
            .starting_points(&members)
            .into_iter()
            .filter_map(|at| self.climb(&members, at, usual, 15))
            .max_by(better)?;
        coarse
            .iter()
            .filter_map(|whitener| self.climb(&members, start.at.clone(), whitener, 6))
            .max_by(better)
    }

    /// Every combination of the members' starting points.
    fn starting_points(&self, members: &[usize]) -> Vec<DVector<f64>> {
        let mut rows: Vec<Vec<f64>> = vec![vec![]];
        for &kind in members {
            let count = self.priors[kind].len();
            rows = rows
                .iter()
                .flat_map(|row| {
                    starts(self.kinds[kind]).iter().map(|start| [row.as_slice(), &start[..count]].concat())
                })
                .collect();
        }
        rows.into_iter()
            .map(|mut row| {
                row.push(0.0);
                if self.switched { self.believed(members).0 } else { DVector::from_vec(row) }
            })
            .collect()
    }
}

/// Treble causes that a model may hold at once: more at once could hardly be told apart.
const MOST_TREBLE: usize = 2;

/// One channel's response, and what is to be weighed against it.
pub(crate) struct Question<'a> {
    pub(crate) points: &'a [Point],
    pub(crate) reference: Place,
    pub(crate) kinds: &'a [CauseKind],
    pub(crate) setting: &'a Setting,
}

impl<'a> Question<'a> {
    /// Shapes for one kind of low-pass.
    fn data(&self, setting: &'a Setting, switched: bool) -> Data<'a> {
        let priors = self.kinds.iter().map(|&kind| priors(kind, setting)).collect();
        Data { points: self.points, reference: self.reference, setting, kinds: self.kinds, priors, switched }
    }

    fn place_of(&self, kind: CauseKind) -> Option<usize> {
        self.kinds.iter().position(|&other| other == kind)
    }

    /// Models of all subsets of the kinds that the response does not rule out, with their evidence; none for fewer than
    /// six points.
    ///
    /// Low-passes are weighed as circuits, and as digital ones if the setting has a sample rate; time constants as any, and as that
    /// of the other position of the switch.
    pub(crate) fn models(&self) -> Vec<Model> {
        let points = self.points;
        let circuits = Setting { digital_hz: None, ..*self.setting };
        let Some(usual) =
            Whitener::new(points, USUAL_RIPPLE_DB, REACHES_OCTAVES[0]).filter(|_| points.len() >= 6)
        else {
            return vec![];
        };
        // A digital low-pass is of another shape than a circuit's.
        let question = Question { setting: &circuits, ..*self };
        let variants = [
            Some((question.data(&circuits, false), None)),
            self.setting.digital_hz.map(|_| (self.data(self.setting, false), Some(CauseKind::LowPass))),
            Some((question.data(&circuits, true), Some(CauseKind::TimeConstant))),
        ];
        let holds = |subset: usize, kind: CauseKind| {
            self.place_of(kind).is_some_and(|place| subset >> place & 1 == 1)
        };
        // What a variant has for itself before anything was measured.
        let before = |variant: usize, subset: usize| -> f64 {
            let constant = if holds(subset, CauseKind::TimeConstant) { SWITCHED.0 } else { 0.0 };
            match variant {
                1 => DIGITAL.ln() + (1.0 - constant).ln(),
                2 => constant.ln(),
                _ => (1.0 - constant).ln(),
            }
        };
        let whiteners = |ripples_db: &[f64], reach_octaves: f64| -> Vec<Whitener> {
            ripples_db.iter().filter_map(|&each| Whitener::new(points, each, reach_octaves)).collect()
        };
        let coarse = whiteners(&COARSE_RIPPLES_DB, REACHES_OCTAVES[0]);
        let whiteners = REACHES_OCTAVES.map(|reach| whiteners(&RIPPLES_DB, reach)).into_iter().flatten();
        let whiteners: Vec<Whitener> = whiteners.collect();
        let treble = |subset: usize| {
            let treble = |&kind: &usize| subset >> kind & 1 == 1 && self.kinds[kind].is_treble();
            (0..self.kinds.len()).filter(treble).count()
        };
        let subsets: Vec<(usize, usize)> = (0..variants.len())
            .flat_map(|variant| (0..1usize << self.kinds.len()).map(move |subset| (variant, subset)))
            .filter(|&(variant, subset)| {
                let of = variants[variant].as_ref();
                of.is_some_and(|(_, kind)| kind.is_none_or(|kind| holds(subset, kind)))
            })
            .filter(|&(_, subset)| treble(subset) <= MOST_TREBLE)
            .collect();
        let tried: Vec<(usize, f64, Model)> = subsets
            .into_par_iter()
            .filter_map(|(variant, subset)| {
                let prior = before(variant, subset);
                let mut model = variants[variant].as_ref()?.0.coarsely(subset, &usual, &coarse)?;
                model.log_evidence += prior;
                Some((variant, prior, model))
            })
            .collect();
        let best = tried.iter().map(|(_, _, model)| model.log_evidence).fold(f64::NEG_INFINITY, f64::max);
        let mut models: Vec<Model> = tried
            .into_par_iter()
            .filter(|(_, _, model)| model.log_evidence > best - HOPELESS)
            .filter_map(|(variant, prior, model)| Some((&variants[variant].as_ref()?.0, prior, model)))
            .flat_map_iter(|(data, prior, model)| {
                whiteners.iter().filter_map(move |each| {
                    let mut model = data.climb(&model.members, model.at.clone(), each, 4)?;
                    model.log_evidence += prior;
                    Some(model)
                })
            })
            .collect();
        let best = models.iter().map(|model| model.log_evidence).fold(f64::NEG_INFINITY, f64::max);
        models.retain(|model| model.log_evidence > best - HOPELESS - 3.0);
        models
    }

    /// What `models` say together; `None` if there are none.
    pub(crate) fn verdicts(&self, mut models: Vec<Model>) -> Option<Verdicts> {
        weights(&mut models);
        let circuits = Setting { digital_hz: None, ..*self.setting };
        let question = Question { setting: &circuits, ..*self };
        let (circuits, digital) = (question.data(&circuits, false), self.data(self.setting, false));
        let kinds = (0..self.kinds.len()).map(|kind| circuits.verdict(&models, kind)).collect();
        let ripple_db = models.iter().map(|model| model.weight * model.ripple_db).sum();
        let explained_db = self.points.iter().map(|point| {
            let of = |model: &Model| {
                let data = if model.digital_hz.is_some() { &digital } else { &circuits };
                model.weight * data.model_db(model, point.place)
            };
            models.iter().map(of).sum::<f64>()
        });
        let explained_db = explained_db.collect();
        let low_pass = self.place_of(CauseKind::LowPass);
        let weight_of = |digital: bool| -> f64 {
            let has = |model: &&Model| low_pass.is_some_and(|kind| model.members.contains(&kind));
            let own = models.iter().filter(has).filter(|model| model.digital_hz.is_some() == digital);
            own.map(|model| model.weight).sum()
        };
        let (as_digital, as_circuit) = (weight_of(true), weight_of(false));
        let digital = if as_digital > 0.0 { as_digital / (as_digital + as_circuit) } else { 0.0 };
        let asked = self.kinds.to_vec();
        (!models.is_empty()).then_some(Verdicts { kinds, ripple_db, explained_db, digital, models, asked })
    }
}

/// Shares of the evidence, 1 together.
fn weights(models: &mut [Model]) {
    let best = models.iter().map(|model| model.log_evidence).fold(f64::NEG_INFINITY, f64::max);
    let total: f64 = models.iter().map(|model| (model.log_evidence - best).exp()).sum();
    for model in models {
        model.weight = (model.log_evidence - best).exp() / total;
    }
}

/// Weighs the models of both channels together: a cause that is usually of both is likelier where the other channel has it.
pub(crate) fn couple(channels: &mut [Vec<Model>; 2], kinds: &[CauseKind]) {
    if channels.iter().any(Vec::is_empty) {
        return;
    }
    channels.iter_mut().for_each(|models| weights(models));
    // How much likelier two channels are together than each by itself.
    let together = |own: &Model, other: &Model| -> f64 {
        let each = kinds.iter().enumerate().map(|(kind, &name)| {
            let (there, shared) = (probability(name), shared(name));
            match (own.members.contains(&kind), other.members.contains(&kind)) {
                (true, true) => shared / there,
                (false, false) => (1.0 - there * (2.0 - shared)) / (1.0 - there).powi(2),
                _ => (1.0 - shared) / (1.0 - there),
            }
        });
        each.product()
    };
    let gains = [0, 1].map(|side: usize| {
        let others = &channels[1 - side];
        let gain =
            |own: &Model| others.iter().map(|other| other.weight * together(own, other)).sum::<f64>().ln();
        channels[side].iter().map(gain).collect::<Vec<f64>>()
    });
    for (models, gains) in channels.iter_mut().zip(gains) {
        models.iter_mut().zip(gains).for_each(|(model, gain)| model.log_evidence += gain);
    }
}

impl Data<'_> {
    /// Everything that a model explains at `place`, offset included, dB.
    fn model_db(&self, model: &Model, place: Place) -> f64 {
        let mut first = 0;
        let mut sum = OFFSET_DB * model.at[model.at.len() - 1];
        for &kind in &model.members {
            let count = self.priors[kind].len();
            sum += self.share_db(kind, &model.at.as_slice()[first..first + count], place);
            first += count;
        }
        sum
    }

    fn verdict(&self, models: &[Model], kind: usize) -> KindVerdict {
        let count = self.priors[kind].len();
        let (mut there, mut mean, mut square) = (0.0, vec![0.0; count], vec![0.0; count]);
        for model in models {
            let Some(first) = self.place_of(model, kind) else { continue };
            there += model.weight;
            for k in 0..count {
                let at = model.at[first + k];
                mean[k] += model.weight * at;
                square[k] += model.weight * (model.covariance[(first + k, first + k)] + at * at);
            }
        }
        let sizes = (0..count)
            .map(|k| {
                let at = if there > 0.0 { mean[k] / there } else { 0.0 };
                let variance = if there > 0.0 { square[k] / there - at * at } else { 1.0 };
                let size = self.size(kind, k, at);
                (size, size * self.priors[kind][k].spread * variance.max(0.0).sqrt())
            })
            .collect();
        KindVerdict { kind: self.kinds[kind], probability: there, sizes }
    }

    /// Where in the model's numbers those of `kind` begin.
    fn place_of(&self, model: &Model, kind: usize) -> Option<usize> {
        let before = model.members.iter().position(|&member| member == kind)?;
        Some(model.members[..before].iter().map(|&member| self.priors[member].len()).sum())
    }
}

impl Verdicts {
    /// Probability that one of `kinds` at least is there.
    pub(crate) fn probability_of_any(&self, kinds: &[CauseKind]) -> f64 {
        let any = |model: &&Model| model.members.iter().any(|&member| kinds.contains(&self.asked[member]));
        self.models.iter().filter(any).map(|model| model.weight).sum()
    }

    /// What `kinds` do together at `place` relative to the reference, and its standard uncertainty, dB.
    pub(crate) fn share_db(
        &self,
        kinds: &[CauseKind],
        place: Place,
        reference: Place,
        setting: &Setting,
    ) -> (f64, f64) {
        let own_priors: Vec<Vec<Prior>> = self.asked.iter().map(|&kind| priors(kind, setting)).collect();
        let (mut mean, mut square) = (0.0, 0.0);
        for model in &self.models {
            let setting = Setting { digital_hz: model.digital_hz, ..*setting };
            let priors = own_priors.clone();
            let data = Data {
                points: &[],
                reference,
                setting: &setting,
                kinds: &self.asked,
                priors,
                switched: false,
            };
            let mut slopes = DVector::zeros(model.at.len());
            let (mut first, mut sum) = (0, 0.0);
            for &kind in &model.members {
                let count = data.priors[kind].len();
                if kinds.contains(&self.asked[kind]) {
                    let own = &model.at.as_slice()[first..first + count];
                    sum += data.share_db(kind, own, place);
                    let own = data.slopes_db(kind, own, std::iter::once(place));
                    own.for_each(|own| (0..count).for_each(|k| slopes[first + k] = own[k]));
                }
                first += count;
            }
            let variance = (slopes.transpose() * &model.covariance * &slopes)[0].max(0.0);
            mean += model.weight * sum;
            square += model.weight * (variance + sum * sum);
        }
        (mean, (square - mean * mean).max(0.0).sqrt())
    }
}
