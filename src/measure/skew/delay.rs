//! Inter-channel delay from ordinary music: which delay is shared by whatever both channels carry alike.
//!
//! A source that stands in the middle of the production, or is panned by level, comes with one and the same delay in
//! all bands and at all times: the head's. Sources with delays of their own (spaced microphones, reverberation, stereo
//! effects) scatter. So the delay is the place where most cells agree, each by its own precision, against a background
//! in which any phase may occur (a mixture); and its uncertainty comes from how bands and times disagree (clustered
//! both ways: Cameron, Gelbach and Miller, Journal of Business and Economic Statistics 29, 2011), not from the
//! sharpness of a peak.
//!
//! What all sources of a production share cannot be told from the head's delay: see [`PRODUCTION_US`].
//!
//! Cells are half a second by a sixth of an octave. A tape is heard twice, because a large delay smears each band; it
//! is undone in the second pass. With cross-correlation some pieces were 14 us off with a peak as sharp as any.
//!
//! Trial: 120 real pieces, 1 to 2 minutes of each, at 45 to 500 kbit/s or lossless, with hiss added. Of those whose
//! cells agree (share of precision at least 0.6, 100 in log likelihood over the best rival 10 us away) nearly all lay
//! within 1 us, but four of two origins had 9 to 15 us in everything that was common. Those whose cells disagreed were
//! off by up to 150 us: cannot tell. 50 of them, tilted by 5 minutes of arc on a virtual deck (hiss, flutter, wander,
//! dropouts, crosstalk 40 dB down); codecs at low bit rates make treble more alike than productions do, so the trial
//! flatters there:
//!
//! | pieces | usable | within 1 us | 1 to 2 us | 8.8 to 14.7 us | outside the stated interval |
//! | --- | --- | --- | --- | --- | --- |
//! | 50, stereo: orchestral, electronic, rock, drum kits | 35 | 29 | 2 | 4 | 0 |
//! | 13 made mono, at 0.7, 5 and 13 minutes of arc, 39 runs | 39 | 39 (worst 0.57 us) | 0 | 0 | 0 |

use crate::measure::azimuth::delay_fit::{Difference, fit_delay};
use crate::measure::skew::cells::SkewCells;
use crate::measure::skew::content::{Content, content};
use num_complex::Complex64;
use std::f64::consts::{PI, TAU};

/// What a stereo production may delay all of its common content by, us (k = 2): converters that took turns, spaced
/// microphones, another recorder on the way. Three real wide pieces were off by 10 to 14 us, all bands agreeing.
pub const PRODUCTION_US: f64 = 16.0;
/// The same of a mono recording on both tracks: it went through one channel until the tape was recorded.
const MONO_PRODUCTION_US: f64 = 0.1;

/// Widest delay that is looked for, us: 27 minutes of arc.
const WIDEST_US: f64 = 150.0;
/// Step of the search, us.
const STEP_US: f64 = 1.0;
/// Cells that the search looks at, at most; a longer tape is sampled.
const SEARCH_CELLS: usize = 12_000;
/// Bands that count for the delay, Hz: above, little but hiss.
const HIGHEST_HZ: f64 = 12_500.0;
/// Least coherence of a cell.
const LEAST_COHERENCE: f64 = 0.3;
/// Variance of phase that production adds, as a multiple of (1 - coherence) / coherence, rad^2: reverberation is not
/// random within a cell.
const PRODUCTION_VARIANCE: f64 = 0.02;
/// Least standard deviation of a cell's phase, rad.
const LEAST_PHASE_RAD: f64 = 0.01;
/// How much the delay may wander between cells, us: which, the cells decide.
const WANDERS_US: [f64; 3] = [0.5, 1.5, 4.0];
/// A rival is at least so far away, us.
const RIVAL_US: f64 = 10.0;
/// Least cells.
const LEAST_CELLS: usize = 30;
/// Length of a stretch for the wander along the tape, s.
const STRETCH_S: f64 = 5.0;
/// Bands that are summed for the fit of networks: a third of an octave.
const FIT_BANDS: usize = 2;

/// What can be said of the delay of one tape.
#[derive(Debug, Clone, PartialEq)]
pub struct Skew {
    /// What the recording looks like.
    pub content: Content,
    /// The delay; `None` if nobody can tell.
    pub delay: Option<SkewDelay>,
    /// Share of the precision of all coherent cells that agrees on one delay, 0 to 1.
    pub agreeing: Option<f64>,
    /// The channels have opposite polarity.
    pub opposed: bool,
}

/// A delay that could be told.
#[derive(Debug, Clone, PartialEq)]
pub struct SkewDelay {
    /// Delay, positive if the right channel lags, us.
    pub delay_us: f64,
    /// Expanded uncertainty (k = 2), with what the production may have put in, us.
    pub uncertainty_us: f64,
    /// Expanded uncertainty (k = 2) of the delay as it is on the tape, us.
    pub reading_us: f64,
    /// Rms of the delay's movement between stretches, noise subtracted, us.
    pub wander_us_rms: Option<f64>,
    /// Course along the tape.
    pub along: Vec<Stretch>,
}

/// Delay of one stretch of the tape.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Stretch {
    /// Its middle, s of the recording.
    pub at_s: f64,
    /// Delay, us.
    pub delay_us: f64,
    /// Expanded uncertainty (k = 2) of the common content's delay, us.
    pub uncertainty_us: f64,
}

/// One cell that both channels have something in common in.
#[derive(Debug, Clone, Copy)]
struct Cell {
    window: usize,
    band: usize,
    /// 2 pi f, rad/us.
    omega: f64,
    /// Phase right minus left, delay not undone, rad.
    phase: f64,
    /// Its variance without wander, rad^2.
    variance: f64,
}

/// Where the cells agree.
#[derive(Debug, Clone, Copy)]
struct Agreement {
    delay_us: f64,
    opposed: bool,
    wander_us: f64,
    /// Share of all cells.
    share: f64,
    /// Log likelihood over that of the best rival.
    margin: f64,
}

/// About the delay, us, for undoing it in a second pass; 0 if nothing agrees.
pub fn coarse_delay_us(cells: &SkewCells) -> f64 {
    search(&coherent(cells)).map_or(0.0, |found| found.delay_us)
}

/// What can be told of the delay. `cells` are from a pass with [`coarse_delay_us`] undone; `rate_hz` of the recording.
pub fn skew(cells: &SkewCells, rate_hz: f64) -> Skew {
    let coherent = coherent(cells);
    let found = search(&coherent).map(|start| refine(&coherent, start));
    let content = content(cells, found.map(|found| found.delay_us));
    let untold = |content| Skew { content, delay: None, agreeing: None, opposed: false };
    let Some(found) = found else {
        // Mono needs cells, stereo without any that agree is wide.
        return untold(match content {
            Content::Mono => Content::Unclear,
            Content::PartlyCommon => Content::Wide,
            other => other,
        });
    };
    let clusters = Clusters::new(&coherent, &found, 0, cells.windows.len());
    let agreeing = Some(clusters.share);
    let said = |content, delay| Skew { content, delay, agreeing, opposed: found.opposed };
    match content {
        Content::Mono => {
            let Some(fit) = fit_delay(&differences(cells, &coherent, &found), rate_hz) else {
                return untold(Content::Unclear);
            };
            let reading_us = fit.uncertainty_us.hypot(2.0 * clusters.time_sigma_us);
            if !fit.resolved
                || reading_us > PRODUCTION_US
                || !fit.delay_us.is_finite()
                || !reading_us.is_finite()
            {
                return said(Content::Unclear, None);
            }
            said(
                content,
                Some(delay(cells, &coherent, &found, fit.delay_us, reading_us, MONO_PRODUCTION_US, 1.0)),
            )
        }
        Content::PartlyCommon => {
            // For mono, the fit knows crosstalk.
            let reading_us = (2.0 * clusters.sigma_us).hypot(CROSSTALK_SHARE * found.delay_us);
            let agree = clusters.share >= LEAST_AGREEING
                && found.margin >= LEAST_MARGIN
                && clusters.bands >= LEAST_BANDS
                && clusters.blocks >= LEAST_BLOCKS
                && reading_us <= MOST_US;
            if !agree {
                return said(Content::Wide, None);
            }
            said(
                content,
                Some(delay(
                    cells,
                    &coherent,
                    &found,
                    found.delay_us,
                    reading_us,
                    PRODUCTION_US,
                    clusters.share,
                )),
            )
        }
        other => said(other, None),
    }
}

/// Least share of precision that agrees. Of 120 real pieces, those below were off by up to 130 us.
const LEAST_AGREEING: f64 = 0.6;
/// Least log likelihood over the best rival.
const LEAST_MARGIN: f64 = 100.0;
/// Crosstalk draws the channels together: 34 dB of it both ways shorten a delay by up to 4 %.
const CROSSTALK_SHARE: f64 = 0.04;
/// Share of agreement below which the course along the tape is the production's.
const LEAST_FOR_WANDER: f64 = 0.9;
/// Least number of groups of bands that carry the delay (inverse sum of squared shares).
const LEAST_BANDS: f64 = 1.8;
/// Least number of blocks of time that carry it.
const LEAST_BLOCKS: f64 = 2.5;
/// Largest expanded uncertainty that is stated, us: more says nothing of a head.
const MOST_US: f64 = 8.0;

fn delay(
    cells: &SkewCells,
    coherent: &[Cell],
    found: &Agreement,
    delay_us: f64,
    reading_us: f64,
    production_us: f64,
    share: f64,
) -> SkewDelay {
    let (along, moved_us) = along(cells, coherent, found, delay_us - found.delay_us);
    let wander_us_rms = moved_us.filter(|_| share >= LEAST_FOR_WANDER);
    SkewDelay { delay_us, uncertainty_us: reading_us.hypot(production_us), reading_us, wander_us_rms, along }
}

/// The cells in which both channels have something in common.
fn coherent(cells: &SkewCells) -> Vec<Cell> {
    let mut found = Vec::new();
    for (window, powers) in cells.windows.iter().enumerate() {
        for (band, power) in powers.iter().enumerate() {
            let (hz, pairs) = (cells.bands_hz[band], cells.pairs[band]);
            let coherence = power.coherence();
            if hz > HIGHEST_HZ || !(coherence > LEAST_COHERENCE.max(3.0 / pairs)) {
                continue;
            }
            let omega = TAU * hz * 1e-6;
            // Rounding leaves something between equal channels, too.
            let apart = ((1.0 - coherence) / coherence).max(1e-9);
            found.push(Cell {
                window,
                band,
                omega,
                phase: power.cross.arg() - omega * cells.undone_us,
                variance: apart * (0.5 / pairs + PRODUCTION_VARIANCE) + LEAST_PHASE_RAD * LEAST_PHASE_RAD,
            });
        }
    }
    found
}

fn wrapped(rad: f64) -> f64 {
    rad - TAU * (rad / TAU).round()
}

/// Density of a cell's phase if it belongs to the delay: normal, wrapped as far as it matters.
fn density(residual: f64, variance: f64) -> f64 {
    (-residual * residual / (2.0 * variance)).exp() / (TAU * variance).sqrt()
}

/// Density of a phase of which nothing is known.
const BACKGROUND: f64 = 1.0 / TAU;

/// Tries every delay, both polarities and several wanders.
fn search(all: &[Cell]) -> Option<Agreement> {
    if all.len() < LEAST_CELLS {
        return None;
    }
    let every = all.len().div_ceil(SEARCH_CELLS);
    // Whole windows are left out, so that each band keeps its share.
    let some: Vec<Cell> = all.iter().filter(|cell| cell.window % every == 0).copied().collect();
    let steps = (WIDEST_US / STEP_US) as i32;
    let delays: Vec<f64> = (-steps..=steps).map(|step| f64::from(step) * STEP_US).collect();
    let mut best: Option<(f64, Agreement)> = None;
    let mut peaks: Vec<(f64, bool, f64)> = Vec::new();
    for wander_us in WANDERS_US {
        let mut curves = [vec![0.0; delays.len()], vec![0.0; delays.len()]];
        for cell in &some {
            let variance = cell.variance + (cell.omega * wander_us).powi(2);
            for (k, delay_us) in delays.iter().enumerate() {
                let residual = wrapped(cell.phase + cell.omega * delay_us);
                let other = wrapped(residual + PI);
                for (curve, residual) in curves.iter_mut().zip([residual, other]) {
                    curve[k] += (0.5 * density(residual, variance) + 0.5 * BACKGROUND).ln();
                }
            }
        }
        for (curve, opposed) in curves.iter().zip([false, true]) {
            for (&delay_us, &likelihood) in delays.iter().zip(curve) {
                peaks.push((delay_us, opposed, likelihood));
                if best.as_ref().is_none_or(|best| likelihood > best.0) {
                    let found = Agreement { delay_us, opposed, wander_us, share: 0.5, margin: 0.0 };
                    best = Some((likelihood, found));
                }
            }
        }
    }
    let (likelihood, mut found) = best?;
    let rival = peaks
        .iter()
        .filter(|peak| peak.1 != found.opposed || (peak.0 - found.delay_us).abs() > RIVAL_US)
        .map(|peak| peak.2)
        .fold(f64::NEG_INFINITY, f64::max);
    found.margin = (likelihood - rival) * every as f64;
    Some(found)
}

/// Residual delay of a cell against the agreement, us, its membership, and its precision, 1/us^2.
fn belongs(cell: &Cell, found: &Agreement) -> (f64, f64, f64) {
    let turn = if found.opposed { PI } else { 0.0 };
    let variance = cell.variance + (cell.omega * found.wander_us).powi(2);
    let residual = wrapped(cell.phase + cell.omega * found.delay_us + turn);
    let (inside, outside) = (found.share * density(residual, variance), (1.0 - found.share) * BACKGROUND);
    (-residual / cell.omega, inside / (inside + outside), cell.omega * cell.omega / variance)
}

/// Iterates delay and share of the mixture to where they stay (expectation and maximisation).
fn refine(cells: &[Cell], start: Agreement) -> Agreement {
    let mut found = start;
    for _ in 0..60 {
        let (mut weights, mut sum, mut members) = (0.0, 0.0, 0.0);
        for cell in cells {
            let (residual_us, member, precision) = belongs(cell, &found);
            weights += member * precision;
            sum += member * precision * residual_us;
            members += member;
        }
        if !(weights > 0.0) {
            break;
        }
        found.share = (members / cells.len() as f64).clamp(0.02, 0.98);
        found.delay_us += sum / weights;
        if (sum / weights).abs() < 1e-5 {
            break;
        }
    }
    found
}

/// How bands and times disagree.
struct Clusters {
    /// Standard uncertainty from both, us.
    sigma_us: f64,
    /// From times alone, us.
    time_sigma_us: f64,
    /// Share of the precision that agrees.
    share: f64,
    /// Groups of bands and blocks of time that carry the result.
    bands: f64,
    blocks: f64,
}

/// Bands of a group: half an octave.
const GROUP_BANDS: usize = 3;

impl Clusters {
    /// Of cells from `windows` windows, the first being `first`.
    fn new(cells: &[Cell], found: &Agreement, first: usize, windows: usize) -> Self {
        let block = (windows / 12).clamp(2, 10);
        let groups = cells.iter().map(|cell| cell.band / GROUP_BANDS + 1).max().unwrap_or(0);
        let blocks = windows / block + 1;
        let mut scores = vec![0.0; groups * blocks];
        let mut weights = vec![0.0; groups * blocks];
        let mut all = 0.0;
        for cell in cells {
            let (residual_us, member, precision) = belongs(cell, found);
            let at = (cell.window - first) / block * groups + cell.band / GROUP_BANDS;
            scores[at] += member * precision * residual_us;
            weights[at] += member * precision;
            all += precision;
        }
        let total: f64 = weights.iter().sum();
        let sums = |values: &[f64], by_band: bool| -> Vec<f64> {
            let mut sums = vec![0.0; if by_band { groups } else { blocks }];
            for (at, value) in values.iter().enumerate() {
                sums[if by_band { at % groups } else { at / groups }] += value;
            }
            sums
        };
        let squares = |values: &[f64]| values.iter().map(|x| x * x).sum::<f64>();
        let count = |by_band| total * total / squares(&sums(&weights, by_band));
        let variance = |by_band: bool, count: f64| {
            squares(&sums(&scores, by_band)) / (total * total) * count / (count - 1.0).max(0.3)
        };
        let (bands, blocks_used) = (count(true), count(false));
        let (by_band, by_time) = (variance(true, bands), variance(false, blocks_used));
        let both = squares(&scores) / (total * total);
        Self {
            sigma_us: (by_band + by_time - both).max(by_band).max(by_time).max(1.0 / total).sqrt(),
            time_sigma_us: by_time.max(1.0 / total).sqrt(),
            share: total / all,
            bands,
            blocks: blocks_used,
        }
    }
}

/// How the channels differ in each third of an octave, all windows together: for telling a delay from networks.
fn differences(cells: &SkewCells, coherent: &[Cell], found: &Agreement) -> Vec<Difference> {
    let block = (cells.windows.len() / 12).clamp(2, 10);
    let groups = cells.bands_hz.len() / FIT_BANDS;
    let turn = if found.opposed { PI } else { 0.0 };
    let mut rows = Vec::new();
    for group in 0..groups {
        let bands = group * FIT_BANDS..(group + 1) * FIT_BANDS;
        let mine: Vec<&Cell> = coherent.iter().filter(|cell| bands.contains(&cell.band)).collect();
        let hz = (cells.bands_hz[bands.start] * cells.bands_hz[bands.end - 1]).sqrt();
        // Phases against the delay that was found, weighted by precision; a cell that disagrees by far (a dropout)
        // counts by its membership.
        let row = |cell: &Cell| {
            let power = cells.windows[cell.window][cell.band];
            let residual = wrapped(cell.phase + cell.omega * found.delay_us + turn);
            let weight = belongs(cell, found).1.max(0.01) / cell.variance;
            let apart = (1.0 - power.coherence()) / power.coherence();
            (weight, residual, 10.0 * (power.right / power.left).log10(), apart)
        };
        let total: f64 = mine.iter().map(|cell| row(cell).0).sum();
        if mine.len() < 8 || !(total > 0.0) {
            continue;
        }
        let phasor: Complex64 = mine.iter().map(|c| row(c)).map(|r| Complex64::from_polar(r.0, r.1)).sum();
        let phase = phasor.arg();
        let level_db = mine.iter().map(|c| row(c)).map(|r| r.0 * r.2).sum::<f64>() / total;
        let apart = mine.iter().map(|c| row(c)).map(|r| r.0 * r.3).sum::<f64>() / total;
        let mut scores = vec![(0.0, 0.0); cells.windows.len() / block + 1];
        for cell in &mine {
            let (weight, residual, db, _) = row(cell);
            let score = &mut scores[cell.window / block];
            score.0 += weight * wrapped(residual - phase);
            score.1 += weight * (db - level_db);
        }
        let sigma = |of: fn(&(f64, f64)) -> f64| {
            scores.iter().map(|score| of(score).powi(2)).sum::<f64>().sqrt() / total
        };
        rows.push(Difference {
            hz,
            at_s: None,
            level_db,
            // Noise that is stronger in one channel lifts that one: 10 lg(1 + x) of half of what is apart.
            level_sigma_db: sigma(|score| score.1).hypot(2.2 * apart),
            phase_rad: phase - TAU * hz * found.delay_us * 1e-6,
            phase_sigma_rad: sigma(|score| score.0).max(1.0 / total.sqrt()),
        });
    }
    rows
}

/// Course of the delay along the tape and its rms movement without noise; `shift_us` is added to each delay.
fn along(
    cells: &SkewCells,
    coherent: &[Cell],
    found: &Agreement,
    shift_us: f64,
) -> (Vec<Stretch>, Option<f64>) {
    let block = (STRETCH_S / cells.window_s).round().max(1.0) as usize;
    let mut stretches = Vec::new();
    for mine in coherent.chunk_by(|a, b| a.window / block == b.window / block) {
        // Each stretch may lie elsewhere than the mean: it is found anew from there, with a free hand.
        let near = Agreement { wander_us: found.wander_us.max(1.5), ..*found };
        let own = refine(mine, near);
        let first = mine[0].window / block * block;
        let clusters = Clusters::new(mine, &own, first, block);
        let uncertainty_us = 2.0 * clusters.sigma_us;
        if mine.len() < 8 || !uncertainty_us.is_finite() || uncertainty_us > 2.0 * MOST_US {
            continue;
        }
        stretches.push(Stretch {
            at_s: (first as f64 + block as f64 / 2.0) * cells.window_s,
            delay_us: own.delay_us + shift_us,
            uncertainty_us,
        });
    }
    if stretches.len() < 4 {
        return (stretches, None);
    }
    // Sure stretches count alike: it is the tape that moves between them, not their noise.
    let weight = |s: &Stretch| 1.0 / (s.uncertainty_us.powi(2) + 1.0);
    let total: f64 = stretches.iter().map(weight).sum();
    let mean = stretches.iter().map(|s| weight(s) * s.delay_us).sum::<f64>() / total;
    let moved = stretches
        .iter()
        .map(|s| weight(s) * ((s.delay_us - mean).powi(2) - (s.uncertainty_us / 2.0).powi(2)))
        .sum::<f64>()
        / total;
    (stretches, Some(moved.max(0.0).sqrt()))
}
