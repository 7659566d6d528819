//! Inter-channel delay from phase against frequency, told apart from what the channels' different responses add.
//!
//! A tilted head delays one channel: phase falls in proportion to frequency, without limit. Where the channels'
//! responses differ (a time constant, a coupling capacitor, a resonance), the difference carries phase of its own: for
//! electrical networks the minimum phase that belongs to the difference of magnitudes (Bode, Network Analysis and
//! Feedback Amplifier Design, 1945). Differences by spacing, gap and azimuth loss carry none. Which it is, the
//! magnitudes and phases decide together: the difference of the channels is modelled as
//!
//! ln |R/L| = g + sum c_k ln|a_k(f)| + d f,   arg R/L = -2 pi f tau + sum c_k arg a_k(f)
//!
//! with networks a_k from a dictionary (real poles, pairs of poles, resonances) and d for spacing loss, which carries
//! no phase. Where it is known when each tone sounded, the dictionary holds jumps as well: from some tone on, or from within it,
//! the level of one channel is another, without any phase. Crosstalk draws the channels together, most where one is weak: to first order a share a of left in right
//! and b of right in left add a L/R - b R/L to ln R/L, with a and b small, real and unknown. A deck's channels differ by a part or two, not by fifty: networks are taken up one at a time, and only
//! while the evidence (MacKay, Neural Computation 4, 1992) pays for the choice among so many. How much the delay
//! itself wanders from tone to tone is chosen by evidence as well, and so is how much the levels ripple without any phase. The result is the mean over the models that come
//! close to the best, so that the uncertainty grows where the data cannot tell.
//!
//! A plain line through the phases would read a low-pass at 12 kHz in one channel as some 10 us of tilt. Networks are
//! tried twice, as they are and as the bilinear transform makes them at the return's rate: someone may equalise in
//! software on the way, and a first-order digital low-pass at 12 kHz read as 17 us. The delay is unwrapped along the
//! fit, from low to high: at 10 kHz half a turn is already at 9 minutes of arc. A delay that another one 15 us away
//! explains almost as well is not stated (`phase-unresolved`). A sound card's own delay is subtracted before the fit,
//! tone by tone: two differences subtract exactly, two fits do not.

use crate::signal::DB_PER_NEPER;
use nalgebra::{DMatrix, DVector};
use num_complex::Complex64;
use rayon::prelude::*;
use std::f64::consts::{PI, TAU};

/// What is known of the channels' difference at one frequency.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Difference {
    /// Frequency as it was in the return, Hz.
    pub hz: f64,
    /// When its tone sounded, s; `None` where all frequencies were heard at once or nobody knows.
    pub at_s: Option<f64>,
    /// Level right minus left, dB.
    pub level_db: f64,
    /// Standard uncertainty of the level, dB.
    pub level_sigma_db: f64,
    /// Phase right minus left, rad, any turn.
    pub phase_rad: f64,
    /// Standard uncertainty of the phase, rad.
    pub phase_sigma_rad: f64,
}

/// The delay, and what else was found on the way.
#[derive(Debug, Clone, PartialEq)]
pub struct DelayFit {
    /// Delay, positive if the right channel lags, us.
    pub delay_us: f64,
    /// Expanded uncertainty (k = 2), us.
    pub uncertainty_us: f64,
    /// The channels have opposite polarity.
    pub opposed: bool,
    /// False where another delay fits the phases almost as well.
    pub resolved: bool,
    /// For each difference given, in order: phase unwrapped along the fit, rad (polarity undone).
    pub unwrapped_rad: Vec<f64>,
    /// For each difference given, in order: the part of the phase that the responses make, rad.
    pub response_rad: Vec<f64>,
}

/// Corner frequencies of the network model, Hz: half octaves from 4 Hz to 40 kHz.
fn corners_hz() -> Vec<f64> {
    (0..28).map(|k| 4.0 * 2f64.powf(f64::from(k) / 2.0)).take_while(|&hz| hz < 40_000.0).collect()
}

/// Widest delay that is looked for, us: a head tilted by half a degree and more.
const WIDEST_US: f64 = 250.0;
/// Least standard uncertainties: what the tone meter cannot show (filter flatness; rounding of converters).
const LEAST_LEVEL_SIGMA_DB: f64 = 0.01;
const LEAST_PHASE_SIGMA_RAD: f64 = 0.0015;

/// Fits the delay to at least four differences; `None` for fewer. `rate_hz` is the sample rate of the return.
///
/// Networks are tried twice: as they are, and as digital filters at `rate_hz` (bilinear transform), which fall more
/// steeply towards half the sample rate. A sound card's driver or a player may equalise that way.
pub fn fit_delay(differences: &[Difference], rate_hz: f64) -> Option<DelayFit> {
    if differences.len() < 4 {
        return None;
    }
    let axes = [Axis::Analogue, Axis::Digital { rate_hz }];
    let guess = network_phase_guess(differences);
    let start = search(differences, &guess);
    let mut unwrapped =
        unwrap(differences, start.opposed, |i, hz| -TAU * hz * start.delay_s + start.share * guess[i]);
    let mut average = fit_networks(differences, &unwrapped, &axes)?;
    for _ in 0..3 {
        let again = unwrap(differences, start.opposed, |i, hz| {
            -TAU * hz * average.delay_us * 1e-6 + average.response_rad[i]
        });
        if again == unwrapped {
            break;
        }
        unwrapped = again;
        average = fit_networks(differences, &unwrapped, &axes)?;
    }
    Some(DelayFit {
        delay_us: average.delay_us,
        uncertainty_us: (2.0 * average.sigma_us).hypot(0.02),
        opposed: start.opposed,
        resolved: start.resolved,
        unwrapped_rad: unwrapped,
        response_rad: average.response_rad,
    })
}

struct Start {
    delay_s: f64,
    opposed: bool,
    /// 1 if the guessed network phase made the fit better, else 0.
    share: f64,
    resolved: bool,
}

/// How much the delay may wander between tones before `search` distrusts a phase, us.
const SEARCH_WANDER_US: f64 = 2.0;
/// Least standard uncertainty of a phase in `search`, rad: networks add that much and more.
const SEARCH_SIGMA_RAD: f64 = 0.1;
/// Least advantage in log likelihood over the next best delay for a delay to count as resolved: odds of 3000 to 1.
const RESOLVED_BY: f64 = 8.0;

/// Tries every delay, both polarities, with and without the guessed network phase.
fn search(differences: &[Difference], guess: &[f64]) -> Start {
    let weights: Vec<f64> = differences
        .iter()
        .map(|d| {
            let wander = TAU * d.hz * SEARCH_WANDER_US * 1e-6;
            1.0 / (d.phase_sigma_rad.max(SEARCH_SIGMA_RAD).powi(2) + wander * wander)
        })
        .collect();
    let total: f64 = weights.iter().sum();
    // Log likelihood of phases round a circle (von Mises), but for a constant; between -total and total.
    let likelihood = |delay_s: f64, share: f64| {
        differences
            .iter()
            .zip(guess)
            .zip(&weights)
            .map(|((d, guess), w)| w * (d.phase_rad + TAU * d.hz * delay_s - share * guess).cos())
            .sum::<f64>()
    };
    // The plain reading goes first: the guess is only a guess, and has to be better by something.
    let mut best = Start { delay_s: 0.0, opposed: false, share: 0.0, resolved: false };
    let mut best_likelihood = f64::NEG_INFINITY;
    // (delay, polarity, share of the guess, log likelihood) of every local maximum.
    let mut peaks = Vec::new();
    for share in [0.0, 1.0] {
        let curve: Vec<(f64, f64)> = (0..=2000)
            .map(|step| (f64::from(step) / 1000.0 - 1.0) * WIDEST_US * 1e-6)
            .map(|delay_s| (delay_s, likelihood(delay_s, share)))
            .collect();
        for (opposed, sign) in [(false, 1.0), (true, -1.0)] {
            let at = |i: usize| curve.get(i).map_or(f64::NEG_INFINITY, |point| sign * point.1);
            for (i, point) in curve.iter().enumerate() {
                if at(i) < at(i + 1) || at(i) < at(i.wrapping_sub(1)) {
                    continue;
                }
                peaks.push((point.0, opposed, share, at(i)));
                if at(i) > best_likelihood + share {
                    best_likelihood = at(i);
                    best = Start { delay_s: point.0, opposed, share, resolved: false };
                }
            }
        }
    }
    let rival = peaks
        .iter()
        // Where the guess leads elsewhere is no rival: what networks add is weighed up in `fit_networks`.
        .filter(|peak| peak.2 == best.share)
        .filter(|peak| (peak.0 - best.delay_s).abs() > 15e-6 || peak.1 != best.opposed)
        .map(|peak| peak.3)
        .fold(f64::NEG_INFINITY, f64::max);
    best.resolved = best_likelihood > 0.7 * total && best_likelihood - rival > RESOLVED_BY;
    best
}

fn unwrap(differences: &[Difference], opposed: bool, model: impl Fn(usize, f64) -> f64) -> Vec<f64> {
    differences
        .iter()
        .enumerate()
        .map(|(i, d)| {
            let phase = d.phase_rad + if opposed { PI } else { 0.0 };
            let want = model(i, d.hz);
            phase + TAU * ((want - phase) / TAU).round()
        })
        .collect()
}

/// Minimum phase of the level differences alone.
fn network_phase_guess(differences: &[Difference]) -> Vec<f64> {
    let corners = corners_hz();
    let n = differences.len();
    let a = DMatrix::from_fn(n, corners.len() + 1, |i, k| {
        let d = &differences[i];
        let value = if k == 0 { 1.0 } else { log_gain(d.hz, corners[k - 1]) };
        value / sigma_level(d)
    });
    let y = DVector::from_fn(n, |i, _| differences[i].level_db / DB_PER_NEPER / sigma_level(&differences[i]));
    let mut normal = a.transpose() * &a;
    for k in 0..corners.len() {
        normal[(k + 1, k + 1)] += 1.0 / 0.1f64.powi(2);
    }
    normal[(0, 0)] += 1e-6;
    let Some(cholesky) = normal.cholesky() else { return vec![0.0; n] };
    let x = cholesky.solve(&(a.transpose() * y));
    differences
        .iter()
        .map(|d| corners.iter().enumerate().map(|(k, &corner)| x[k + 1] * (d.hz / corner).atan()).sum())
        .collect()
}

fn log_gain(hz: f64, corner_hz: f64) -> f64 {
    0.5 * (hz / corner_hz).powi(2).ln_1p()
}

fn sigma_level(d: &Difference) -> f64 {
    d.level_sigma_db.hypot(LEAST_LEVEL_SIGMA_DB) / DB_PER_NEPER
}

/// How far each difference may be off by noise, and by what no network explains: so much wander and ripple.
struct Rough {
    /// For each difference: standard uncertainty of its level, nepers, and of its phase, rad.
    sigmas: Vec<(f64, f64)>,
    /// Sum of their logarithms.
    log_sigma: f64,
}

impl Rough {
    fn new(differences: &[Difference], wander_us: f64, ripple_db: f64) -> Self {
        let sigmas = differences.iter().map(|d| {
            let wander_rad = TAU * d.hz * 1e-6 * wander_us;
            let level = sigma_level(d).hypot(ripple_db / DB_PER_NEPER);
            (level, d.phase_sigma_rad.hypot(LEAST_PHASE_SIGMA_RAD).hypot(wander_rad))
        });
        let sigmas: Vec<(f64, f64)> = sigmas.collect();
        let log_sigma = sigmas.iter().map(|(level, phase)| level.ln() + phase.ln()).sum();
        Self { sigmas, log_sigma }
    }
}

struct Average {
    delay_us: f64,
    sigma_us: f64,
    response_rad: Vec<f64>,
}

/// Which frequencies a network sees.
#[derive(Debug, Clone, Copy)]
enum Axis {
    /// The frequencies themselves.
    Analogue,
    /// Those of the bilinear transform: tan(pi f / rate) rate / pi.
    Digital { rate_hz: f64 },
}

impl Axis {
    fn seen_hz(self, hz: f64) -> f64 {
        match self {
            Self::Analogue => hz,
            // Close below half the rate the transform goes to infinity.
            Self::Digital { rate_hz } => (PI * (hz / rate_hz).min(0.499)).tan() * rate_hz / PI,
        }
    }
}

/// A network of the dictionary.
#[derive(Debug, Clone, Copy)]
enum Network {
    /// 1 + jf/f_k.
    Pole(f64),
    /// 1 + j sqrt 2 f/f_k - (f/f_k)^2.
    Pair(f64),
    /// A resonance of 3 dB at f_k with quality q.
    Resonance(f64, f64),
    /// (1 + jf/f_zero) / (1 + jf/f_pole).
    Shelf(f64, f64),
    /// Spacing loss: nepers in proportion to frequency, no phase.
    Spacing,
}

impl Network {
    fn dictionary() -> Vec<Self> {
        let row = |low: f64, high: f64, per_octave: f64| {
            (0..).map(move |k| low * 2f64.powf(f64::from(k) / per_octave)).take_while(move |&hz| hz < high)
        };
        let mut all: Vec<Self> =
            row(4.0, 500.0, 6.0).chain(row(500.0, 60_000.0, 12.0)).map(Self::Pole).collect();
        all.extend(row(1000.0, 60_000.0, 4.0).map(Self::Pair));
        for q in [0.7, 2.0] {
            all.extend(row(30.0, 24_000.0, 2.0).map(|hz| Self::Resonance(hz, q)));
        }
        // A time constant that moved, and capacitors that differ: two poles that come together. In one piece they are
        // found where each half alone would only make things worse.
        for octaves in [(120f64 / 70.0).log2(), 2.5] {
            all.extend(row(4.0, 20_000.0, 6.0).map(|hz| Self::Shelf(hz, hz * octaves.exp2())));
        }
        all.push(Self::Spacing);
        all
    }

    /// ln of gain, and phase in rad.
    fn at(self, hz: f64, axis: Axis) -> (f64, f64) {
        if matches!(self, Self::Spacing) {
            return (hz / 10_000.0, 0.0);
        }
        let hz = axis.seen_hz(hz);
        let value = match self {
            Self::Pole(corner) => Complex64::new(1.0, hz / corner),
            Self::Pair(corner) => {
                let x = hz / corner;
                Complex64::new(1.0 - x * x, std::f64::consts::SQRT_2 * x)
            }
            Self::Resonance(middle, q) => {
                let x = hz / middle;
                let gain = 2f64.sqrt();
                Complex64::new(1.0 - x * x, gain.sqrt() * x / q)
                    / Complex64::new(1.0 - x * x, x / q / gain.sqrt())
            }
            Self::Shelf(zero, pole) => Complex64::new(1.0, hz / zero) / Complex64::new(1.0, hz / pole),
            Self::Spacing => Complex64::new(1.0, 0.0),
        };
        (value.norm().ln(), value.arg())
    }
}

/// Nats of evidence that a further network must bring beyond the choice among the dictionary.
const EVIDENCE_MARGIN: f64 = 2.0;
/// Standard deviation of the crosstalk that is allowed for, as a ratio of amplitudes: 40 dB of separation.
const CROSSTALK: f64 = 0.01;
/// Columns of the linear model before the networks: gain, delay, left into right, right into left.
const FIXED: usize = 4;
/// Nats that a shelf costs beyond a single pole: it is two parts in one.
const SHELF_PRICE: f64 = 3.0;
/// Nats that a jump of the level costs beyond a single pole: most returns have none.
const JUMP_PRICE: f64 = 2.0;
/// What a jump is expected to be, nepers: 0.9 dB.
const JUMP: f64 = 0.1;
/// More parts than this never differ on a deck that can still be measured.
const MOST_NETWORKS: usize = 6;
/// Ripple of the channels' levels against each other that is considered, dB rms: uneven tape, heads and filters, without phase.
const RIPPLES_DB: [f64; 6] = [0.0, 0.05, 0.1, 0.2, 0.35, 0.6];
/// Tone-to-tone wander of the delay that is considered, us.
const WANDERS_US: [f64; 9] = [0.0, 0.03, 0.06, 0.12, 0.25, 0.5, 1.0, 2.0, 4.0];

/// Nats by which digital networks must explain more than plain ones: a deck has none, only what stands beside it.
const DIGITAL_PRICE: f64 = 2.0;

/// The mean over all models of all `axes`, each weighted by its evidence.
fn fit_networks(differences: &[Difference], unwrapped_rad: &[f64], axes: &[Axis]) -> Option<Average> {
    let models: Vec<Model> = axes
        .par_iter()
        .map(|&axis| {
            let mut models = models(&Data::new(differences, unwrapped_rad, axis)).unwrap_or_default();
            if matches!(axis, Axis::Digital { .. }) {
                models.iter_mut().for_each(|model| model.log_evidence -= DIGITAL_PRICE);
            }
            models
        })
        .collect::<Vec<_>>()
        .concat();
    let best = models.iter().map(|model| model.log_evidence).fold(f64::NEG_INFINITY, f64::max);
    let mut total = 0.0;
    let mut delay_us = 0.0;
    let mut response_rad = vec![0.0; differences.len()];
    for model in &models {
        let weight = (model.log_evidence - best).exp();
        total += weight;
        delay_us += weight * model.delay_us;
        for (sum, value) in response_rad.iter_mut().zip(&model.response_rad) {
            *sum += weight * value;
        }
    }
    delay_us /= total;
    response_rad.iter_mut().for_each(|value| *value /= total);
    let variance = models
        .iter()
        .map(|model| {
            (model.log_evidence - best).exp() * (model.sigma_us.powi(2) + (model.delay_us - delay_us).powi(2))
        })
        .sum::<f64>()
        / total;
    // Networks outside the dictionary are only approached: a fiftieth of what they contribute is uncertain.
    let sigma_us = variance.sqrt().hypot(0.02 * delay_like_us(differences, &response_rad));
    delay_us.is_finite().then_some(Average { delay_us, sigma_us, response_rad })
}

/// Takes up networks one at a time and exchanges them while that helps; gives the result and all its neighbours.
fn models(data: &Data) -> Option<Vec<Model>> {
    let choice = (data.dictionary.len() as f64).ln() + EVIDENCE_MARGIN;
    let mut chosen: Vec<usize> = Vec::new();
    let mut rough = data.likeliest(&chosen)?;
    let mut best = data.solve(&chosen, rough)?.log_evidence;
    while chosen.len() < MOST_NETWORKS {
        let mut trial = data.best_change(&chosen, None, rough)?;
        // A pair of networks may only help together; exchange until nothing helps any more.
        loop {
            let mut improved = false;
            for place in 0..trial.0.len() {
                let other = data.best_change(&trial.0, Some(place), rough)?;
                if other.1 > trial.1 + 0.01 {
                    trial = other;
                    improved = true;
                }
            }
            if !improved {
                break;
            }
        }
        let trial_rough = data.likeliest(&trial.0)?;
        let evidence = data.solve(&trial.0, trial_rough)?.log_evidence;
        if evidence < best + choice {
            // Two at once (a time constant that moved) may pay where one does not.
            let Some(pair) = data.best_pair(&trial.0, rough) else { break };
            let pair_rough = data.likeliest(&pair.0)?;
            let evidence = data.solve(&pair.0, pair_rough)?.log_evidence;
            if evidence < best + 2.0 * choice || pair.0.len() > MOST_NETWORKS {
                break;
            }
            (chosen, rough, best) = (pair.0, pair_rough, evidence);
        } else {
            (chosen, rough, best) = (trial.0, trial_rough, evidence);
        }
    }
    let mut models = vec![data.solve(&chosen, rough)?];
    for place in 0..chosen.len() {
        for atom in 0..data.dictionary.len() {
            if !chosen.contains(&atom) {
                let mut other = chosen.clone();
                other[place] = atom;
                models.extend(data.solve(&other, rough));
            }
        }
    }
    // Models with one network more that were not worth taking up, each with the price of its choice.
    for atom in (0..data.dictionary.len()).filter(|atom| !chosen.contains(atom)) {
        let mut more = chosen.clone();
        more.push(atom);
        if let Some(mut model) = data.solve(&more, rough) {
            model.log_evidence -= choice;
            models.push(model);
        }
    }
    Some(models)
}

/// The measured differences and what every network of the dictionary would make at their frequencies.
struct Data<'a> {
    differences: &'a [Difference],
    unwrapped_rad: &'a [f64],
    /// For each network and jump, for each difference: ln of gain and phase in rad.
    dictionary: Vec<Vec<(f64, f64)>>,
    /// For each of these: nats that it costs beyond a single pole.
    price: Vec<f64>,
    /// For each difference: what crosstalk of left in right and of right in left adds.
    leaks: Vec<[Complex64; 2]>,
    /// Every wander with every ripple.
    roughs: Vec<Rough>,
}

#[derive(Clone)]
struct Model {
    log_evidence: f64,
    delay_us: f64,
    sigma_us: f64,
    response_rad: Vec<f64>,
}

impl<'a> Data<'a> {
    fn new(differences: &'a [Difference], unwrapped_rad: &'a [f64], axis: Axis) -> Self {
        let networks = Network::dictionary();
        let shelf = |network: &Network| f64::from(matches!(network, Network::Shelf(..)));
        let mut price: Vec<f64> = networks.iter().map(|network| SHELF_PRICE * shelf(network)).collect();
        let mut dictionary: Vec<Vec<(f64, f64)>> = networks
            .into_iter()
            .map(|network| differences.iter().map(|d| network.at(d.hz, axis)).collect())
            .collect();
        dictionary.extend(jumps(differences));
        price.resize(dictionary.len(), JUMP_PRICE);
        let leaks = differences.iter().zip(unwrapped_rad).map(|(d, phase_rad)| {
            let ratio = Complex64::from_polar(10f64.powf(d.level_db / 20.0), *phase_rad);
            [CROSSTALK / ratio, -CROSSTALK * ratio]
        });
        let roughs = WANDERS_US
            .into_iter()
            .flat_map(|wander_us| RIPPLES_DB.map(|ripple_db| Rough::new(differences, wander_us, ripple_db)));
        let (leaks, roughs) = (leaks.collect(), roughs.collect());
        Self { differences, unwrapped_rad, dictionary, price, leaks, roughs }
    }

    /// The likeliest wander and ripple beside the `chosen` networks.
    fn likeliest(&self, chosen: &[usize]) -> Option<&Rough> {
        let evidence =
            |rough| self.solve(chosen, rough).map_or(f64::NEG_INFINITY, |model| model.log_evidence);
        let weighed = self.roughs.iter().map(|rough| (evidence(rough), rough));
        Some(weighed.max_by(|a, b| a.0.total_cmp(&b.0))?.1)
    }

    /// `chosen` with the best network put in at `place`, or added, and the evidence of that.
    fn best_change(
        &self,
        chosen: &[usize],
        place: Option<usize>,
        rough: &Rough,
    ) -> Option<(Vec<usize>, f64)> {
        (0..self.dictionary.len())
            .filter(|atom| !chosen.contains(atom))
            .filter_map(|atom| {
                let mut other = chosen.to_vec();
                match place {
                    Some(place) => other[place] = atom,
                    None => other.push(atom),
                }
                let evidence = self.solve(&other, rough)?.log_evidence;
                Some((other, evidence))
            })
            .max_by(|a, b| a.1.total_cmp(&b.1))
    }

    /// `chosen` with another network added and every one exchanged while that helps.
    fn best_pair(&self, chosen: &[usize], rough: &Rough) -> Option<(Vec<usize>, f64)> {
        let mut pair = self.best_change(chosen, None, rough)?;
        for _ in 0..10 {
            let before = pair.1;
            for place in 0..pair.0.len() {
                let other = self.best_change(&pair.0, Some(place), rough)?;
                if other.1 > pair.1 {
                    pair = other;
                }
            }
            if pair.1 < before + 0.01 {
                break;
            }
        }
        Some(pair)
    }

    /// The linear model with the `chosen` networks. Coefficients have a prior of width 1: one whole pole.
    fn solve(&self, chosen: &[usize], rough: &Rough) -> Option<Model> {
        let n = self.differences.len();
        let width = FIXED + chosen.len();
        let mut precision = DMatrix::<f64>::identity(width, width);
        // Gain and delay are free: wide priors, the same in every model (5 nepers; 1 ms).
        precision[(0, 0)] = 1.0 / 25.0;
        precision[(1, 1)] = 1.0 / 1000f64.powi(2);
        let mut b = DVector::<f64>::zeros(width);
        let mut yy = 0.0;
        let mut row = vec![0.0; width];
        let mut add = |row: &[f64], y: f64, precision: &mut DMatrix<f64>, b: &mut DVector<f64>| {
            for j in 0..width {
                for k in 0..=j {
                    precision[(j, k)] += row[j] * row[k];
                }
                b[j] += row[j] * y;
            }
            yy += y * y;
        };
        for i in 0..n {
            let d = &self.differences[i];
            let (sigma, phase_sigma) = rough.sigmas[i];
            let leaks = self.leaks[i];
            row[0] = 1.0 / sigma;
            row[1] = 0.0;
            row[2..FIXED].copy_from_slice(&leaks.map(|leak| leak.re / sigma));
            for (slot, &atom) in row[FIXED..].iter_mut().zip(chosen) {
                *slot = self.dictionary[atom][i].0 / sigma;
            }
            add(&row, d.level_db / DB_PER_NEPER / sigma, &mut precision, &mut b);
            row[0] = 0.0;
            row[1] = -TAU * d.hz * 1e-6 / phase_sigma;
            row[2..FIXED].copy_from_slice(&leaks.map(|leak| leak.im / phase_sigma));
            for (slot, &atom) in row[FIXED..].iter_mut().zip(chosen) {
                *slot = self.dictionary[atom][i].1 / phase_sigma;
            }
            add(&row, self.unwrapped_rad[i] / phase_sigma, &mut precision, &mut b);
        }
        for j in 0..width {
            for k in 0..j {
                precision[(k, j)] = precision[(j, k)];
            }
        }
        let cholesky = precision.cholesky()?;
        let x = cholesky.solve(&b);
        let log_det = cholesky.l_dirty().diagonal().iter().map(|pivot| pivot.ln()).sum::<f64>() * 2.0;
        let price: f64 = chosen.iter().map(|&atom| self.price[atom]).sum();
        let log_evidence = -0.5 * (yy - b.dot(&x)) - rough.log_sigma - 0.5 * log_det - price;
        let mut unit = DVector::zeros(width);
        unit[1] = 1.0;
        let sigma_us = cholesky.solve(&unit)[1].max(0.0).sqrt();
        let response_rad = (0..n)
            .map(|i| {
                chosen.iter().enumerate().map(|(k, &atom)| x[FIXED + k] * self.dictionary[atom][i].1).sum()
            })
            .collect();
        log_evidence.is_finite().then_some(Model { log_evidence, delay_us: x[1], sigma_us, response_rad })
    }
}

/// A jump of the level between every two tones that sounded one after the other, and one within each.
fn jumps(differences: &[Difference]) -> Vec<Vec<(f64, f64)>> {
    let mut at_s: Vec<f64> = differences.iter().filter_map(|d| d.at_s).collect();
    at_s.sort_by(f64::total_cmp);
    let step = |share: &dyn Fn(f64) -> f64| {
        differences.iter().map(|d| (JUMP * d.at_s.map_or(0.0, share), 0.0)).collect()
    };
    let between = at_s.windows(2).map(|pair| step(&|at_s| f64::from(at_s > pair[0])));
    let within = at_s.iter().map(|own| {
        step(&|at_s| match at_s.total_cmp(own) {
            std::cmp::Ordering::Less => 0.0,
            std::cmp::Ordering::Equal => 0.5,
            std::cmp::Ordering::Greater => 1.0,
        })
    });
    between.chain(within).collect()
}

/// The delay that would make phases most like `response_rad`, us: what a wrong choice of networks could hide.
fn delay_like_us(differences: &[Difference], response_rad: &[f64]) -> f64 {
    let (top, bottom) = differences.iter().zip(response_rad).fold((0.0, 0.0), |sum, (d, phase)| {
        let per_us = TAU * d.hz * 1e-6;
        (sum.0 + per_us * phase, sum.1 + per_us * per_us)
    });
    if bottom > 0.0 { top / bottom } else { 0.0 }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::signal::test_signals::Random;

    const HZ: [f64; 24] = [
        40.0, 55.0, 80.0, 130.0, 210.0, 315.0, 400.0, 630.0, 800.0, 1000.0, 1600.0, 2000.0, 2500.0, 3150.0,
        4000.0, 5000.0, 6300.0, 8000.0, 10_000.0, 12_500.0, 14_000.0, 15_000.0, 16_000.0, 18_000.0,
    ];

    fn differences(delay_us: f64, seed: u64, ratio: impl Fn(f64) -> Complex64) -> Vec<Difference> {
        let mut random = Random(seed);
        HZ.iter()
            .map(|&hz| {
                let h = ratio(hz) * Complex64::from_polar(1.0, -TAU * hz * delay_us * 1e-6);
                Difference {
                    hz,
                    at_s: None,
                    level_db: 20.0 * h.norm().log10() + 0.02 * random.even(),
                    level_sigma_db: 0.02,
                    phase_rad: h.arg() + 0.005 * random.even(),
                    phase_sigma_rad: 0.005,
                }
            })
            .collect()
    }

    fn low_pass(hz: f64, corner: f64) -> Complex64 {
        1.0 / Complex64::new(1.0, hz / corner)
    }

    #[test]
    fn a_plain_delay_is_found_far_beyond_half_a_turn() {
        for (seed, delay_us) in [(1, 0.0), (2, 3.0), (3, -16.5), (4, 55.0), (5, -110.0), (6, 200.0)] {
            let fit =
                fit_delay(&differences(delay_us, seed, |_| Complex64::new(0.9, 0.0)), 96_000.0).unwrap();
            // The target of the design is 0.3 us. Crosstalk of 40 dB each way, which is not known here, draws the phases
            // together by 2 %: what is stated grows with the delay.
            crate::assert_within!(fit.delay_us, delay_us, 0.3, "us", "delay {delay_us}");
            crate::assert_within!(fit.delay_us, delay_us, fit.uncertainty_us, "us", "stated, {delay_us}");
            assert!(fit.uncertainty_us < 0.1 + 0.04 * delay_us.abs(), "{fit:?}");
            assert!(fit.resolved && !fit.opposed, "{fit:?}");
        }
    }

    #[test]
    fn opposite_polarity_is_seen_and_undone() {
        let fit = fit_delay(&differences(12.0, 7, |_| Complex64::new(-1.0, 0.0)), 96_000.0).unwrap();
        assert!(fit.opposed && fit.resolved);
        crate::assert_within!(fit.delay_us, 12.0, 0.3, "us");
    }

    #[test]
    fn crosstalk_is_not_read_as_less_delay() {
        // 42 dB both ways, the left channel 10 dB down at 10 kHz: the right one shows in it.
        let leak = 10f64.powf(-42.0 / 20.0);
        for (delay_us, loss_db) in [(33.0, 0.0), (-60.0, 0.0), (2.7, 10.0), (20.0, 4.0)] {
            let mixed = |hz: f64| {
                let left = Complex64::new(10f64.powf(-loss_db / 20.0 * hz / 10_000.0), 0.0);
                let right = Complex64::from_polar(1.0, -TAU * hz * delay_us * 1e-6);
                (right + leak * left) / (left + leak * right)
            };
            let fit = fit_delay(&differences(0.0, 5, mixed), 96_000.0).unwrap();
            crate::assert_within!(fit.delay_us, delay_us, 0.3, "us", "{delay_us} us, {loss_db} dB");
        }
    }

    #[test]
    fn networks_that_differ_are_not_read_as_delay() {
        // Right channel with a low-pass at 12 kHz: 13 us of delay at low frequencies that are no azimuth.
        // What a plain fit would read as 5 to 15 us of azimuth is subtracted to within the stated uncertainty.
        for corner in [8000.0, 12_000.0, 20_000.0, 30_000.0] {
            let mut inside = 0;
            for seed in 1..=10 {
                let fit = fit_delay(&differences(8.0, seed, |hz| low_pass(hz, corner)), 96_000.0).unwrap();
                // 1.5 us: at 30 kHz the low-pass costs 1 dB at 16 kHz, and 0.02 dB of noise moves it that far.
                crate::assert_within!(fit.delay_us, 8.0, 1.5, "us", "low-pass {corner} Hz, seed {seed}");
                inside += usize::from((fit.delay_us - 8.0).abs() <= fit.uncertainty_us);
            }
            assert!(inside >= 9, "low-pass {corner} Hz: {inside} of 10 inside the stated uncertainty");
        }
        // 70 us on one side and 120 us on the other.
        let shelf = |hz: f64| Complex64::new(1.0, TAU * hz * 120e-6) / Complex64::new(1.0, TAU * hz * 70e-6);
        let fit = fit_delay(&differences(-5.0, 9, shelf), 96_000.0).unwrap();
        crate::assert_within!(fit.delay_us, -5.0, 0.3, "us", "time constants");
        // Coupling capacitors of 10 Hz and 45 Hz.
        let high_pass =
            |hz: f64| Complex64::new(hz, 0.0) / Complex64::new(hz, -45.0) * Complex64::new(hz, -10.0) / hz;
        let fit = fit_delay(&differences(2.0, 10, high_pass), 96_000.0).unwrap();
        crate::assert_within!(fit.delay_us, 2.0, 0.3, "us", "coupling");
    }

    #[test]
    fn digital_networks_are_not_read_as_delay() {
        // A first-order low-pass by the bilinear transform at 48 kHz on the right, from 12 kHz up to 0.9 of the band.
        for corner in [12_000.0, 15_000.0, 19_000.0, 21_600.0] {
            let warp = |hz: f64| (PI * hz / 48_000.0).tan();
            let digital = |hz: f64| low_pass(warp(hz), warp(corner));
            let mut inside = 0;
            for seed in 1..=10 {
                let fit = fit_delay(&differences(8.0, seed, digital), 48_000.0).unwrap();
                // Beyond 20 kHz the level differs too little within the tones; what is stated must say so.
                if corner < 20_000.0 {
                    crate::assert_within!(fit.delay_us, 8.0, 1.5, "us", "low-pass {corner} Hz, seed {seed}");
                }
                inside += usize::from((fit.delay_us - 8.0).abs() <= fit.uncertainty_us);
            }
            assert!(inside >= 9, "low-pass {corner} Hz: {inside} of 10 inside the stated uncertainty");
        }
    }

    #[test]
    fn ripple_without_phase_is_not_read_as_networks() {
        // Levels uneven by 0.3 dB rms from tone to tone (even spread: 0.52 dB each way), and far surer than that.
        let mut inside = 0;
        for seed in 1..=10 {
            let mut given = differences(8.0, seed, |hz| low_pass(hz, 12_000.0));
            let mut random = Random(1000 + seed);
            given.iter_mut().for_each(|d| d.level_db += 0.52 * random.even());
            let fit = fit_delay(&given, 96_000.0).unwrap();
            inside += usize::from((fit.delay_us - 8.0).abs() <= fit.uncertainty_us);
        }
        assert!(inside >= 9, "{inside} of 10 inside the stated uncertainty");
    }

    #[test]
    fn a_level_that_jumped_is_not_read_as_networks() {
        let mut inside = 0;
        for seed in 1..=10 {
            let mut given = differences(8.0, seed, |hz| low_pass(hz, 30_000.0));
            // From the ninth to the fifteenth tone on, by half a decibel to three, down or up.
            let db = (if seed % 2 == 0 { 1.0 } else { -1.0 }) * 0.3 * seed as f64;
            for (k, d) in given.iter_mut().enumerate() {
                d.at_s = Some(1.2 * k as f64);
                d.level_db += if k >= 8 + seed as usize % 7 { db } else { 0.0 };
            }
            let fit = fit_delay(&given, 96_000.0).unwrap();
            inside += usize::from((fit.delay_us - 8.0).abs() <= fit.uncertainty_us);
            crate::assert_within!(fit.delay_us, 8.0, 1.5, "us", "seed {seed}: {fit:?}");
        }
        assert!(inside >= 9, "{inside} of 10 inside the stated uncertainty");
    }

    #[test]
    fn losses_without_phase_are_not_read_as_networks() {
        // 3 dB of spacing loss at 10 kHz on the right only.
        let spacing = |hz: f64| Complex64::new(10f64.powf(-3.0 / 20.0 * hz / 10_000.0), 0.0);
        let fit = fit_delay(&differences(6.0, 11, spacing), 96_000.0).unwrap();
        crate::assert_within!(fit.delay_us, 6.0, 0.3, "us");
        crate::assert_within!(fit.delay_us, 6.0, fit.uncertainty_us, "us", "stated");
    }

    #[test]
    fn too_few_points_give_nothing() {
        assert!(fit_delay(&differences(1.0, 1, |_| Complex64::new(1.0, 0.0))[..3], 96_000.0).is_none());
    }
}
