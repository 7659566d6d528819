//! Whose flutter: what repeats with the tape over several playings, apart from what does not.
//!
//! The tone itself is the ruler: its phase says which place of the recording passes the head, to a part of a period, however
//! the speeds differ or drift. Slates say which period. So the deviation of each playback becomes a function of the place on
//! the tape, exactly: what the recording made is the same function in all of them, and what a playback adds is its own.
//!
//! The mean over all pairs of playings of one's spectrum times the other's conjugate has the power of the common part as its
//! expectation, bin by bin. A steady line of a playback has one random phase for the whole stretch and does not average out
//! over time, only over playings; the variance is therefore counted bin by bin and playback by playback. Its factors were
//! calibrated by trials against known parts (see the tests).
//!
//! Where slates are wrong by some periods, the correlation of the playings says so. In the trials
//! (`tests/reference/same_tape_trials.py`: noise, lines, both at one rate, 2 to 6 playings) the truth lay within k = 2
//! in 92 to 100 of 100. Intervals are wide where one line of the playback is most of its flutter: with four playings
//! such a share is still only a limit, though the line gets its name. A line gets a name only if chance would do it
//! less than once in fifty times.

use crate::capture::{Alignment, FoundSlate};
use crate::measure::flutter::deviation::{BAND_HZ, Course, beside_hz};
use crate::programme::{PlacedPart, Signal, slate};
use crate::reading::{FlutterBand, FlutterShare, Playing, SameTape, SharedFigure, SharedLine, Whose};
use crate::signal::baseband::Band;
use crate::signal::spectrum::hann;
use crate::signal::statistics::{exponential_mean, mean, median};
use crate::trade::flutter_weighting::response_db;
use crate::trade::octave_bands::third_octaves;
use inner_loops::complex_forward;
use num_complex::Complex64;
use thiserror::Error;

/// The deviation of one playback against the place on the tape.
#[derive(Debug, Clone, PartialEq)]
pub struct TapeCourse {
    /// Place of each sample, s of the programme; rising.
    places_s: Vec<f64>,
    /// Deviation of the speed there, percent of the mean.
    percent: Vec<f64>,
    /// One period of the tone, s of the programme: what the place may be wrong by, a whole number of times.
    period_s: f64,
    /// Mean speed against the programme, percent.
    speed_error_percent: f64,
}

/// Why playings cannot be laid over each other.
#[derive(Debug, Clone, PartialEq, Error)]
#[non_exhaustive]
pub enum SameTapeError {
    /// The tone is not in all of them for long enough.
    #[error(
        "the playings have only {common_s:.1} s of the flutter tone in common, {LEAST_S} s are needed; play back the whole \
         programme each time, and take one with a long flutter tone (flutter)"
    )]
    TooShort {
        /// What they have in common, s.
        common_s: f64,
    },
    /// Fewer than two.
    #[error("at least two playings of one recording are needed")]
    TooFew,
}

/// Shortest stretch that all must have, s.
const LEAST_S: f64 = 10.0;
/// Rate at which the courses are compared, Hz: four times the band.
const GRID_HZ: f64 = 1000.0;
/// What the filters need at both ends, s.
const SETTLE_S: f64 = 0.3;
/// By how many periods the slates may be wrong: wow between a slate and the tone moves it by a millisecond or two.
const MOST_PERIODS: i32 = 12;
/// Stretch at an end of the tone over which its speed is carried on to the slate beside it, s.
const CARRIED_S: f64 = 2.0;
/// A line has at least this share of the whole power.
const LEAST_LINE: f64 = 0.002;
/// Rates by which periods are told, Hz: slower ones hardly see a period.
const FINE_HZ: [f64; 2] = [10.0, 200.0];
/// A shift by whole periods is believed if it makes the playings this much more alike.
const MUCH_BETTER: f64 = 1.1;
/// Bins of one line are not independent: the variance of a sum is this much larger. Calibrated as [`CALIBRATED`].
const CORRELATED: f64 = 2.5;
/// Share of the stretch over which it fades in and out, for sums: so that they are those of the whole stretch, nearly.
const FADED: f64 = 0.1;
/// Factor of variances, calibrated by trials: 95 of 100 known shares within k = 2.
const CALIBRATED: f64 = 1.4;
/// Most lines that are named.
const MOST_LINES: usize = 8;
/// A line stands this far above its surroundings, power.
const STANDS_OUT: f64 = 12.0;
/// A line is the recording's if chance makes such agreement less often than this.
const CHANCE: f64 = 0.02;

impl TapeCourse {
    /// The course of the flutter tone in `part`, from both channels' bands; `from_s` is where the bands begin in the return.
    pub(crate) fn of(
        bands: &[Band; 2],
        expected_hz: f64,
        part: &PlacedPart,
        alignment: &Alignment,
        from_s: f64,
    ) -> Option<Self> {
        let Signal::Tone { hz } = part.signal else { return None };
        let course = Course::of(bands, expected_hz)?;
        let count = course.cycles.len();
        let start_s = from_s + bands[0].first_s;
        let off = by_slates(&course.cycles, course.rate_hz, start_s, hz, alignment)?;
        let places_s: Vec<f64> = course.cycles.iter().map(|cycles| (cycles + off.round()) / hz).collect();
        let rises = places_s.windows(2).all(|pair| pair[1] > pair[0]);
        let length_s = (count.checked_sub(1)?) as f64 / course.rate_hz;
        let speed_error_percent = 100.0 * ((places_s.last()? - places_s.first()?) / length_s - 1.0);
        (rises && places_s.iter().all(|place| place.is_finite())).then(|| Self {
            places_s,
            percent: course.percent,
            period_s: 1.0 / hz,
            speed_error_percent,
        })
    }

    /// The deviation at even places from `from_s` on, by cubic interpolation; `count` of them at [`GRID_HZ`].
    fn evenly(&self, from_s: f64, count: usize) -> Vec<f64> {
        let mut at = 1;
        (0..count)
            .map(|k| {
                let place_s = from_s + k as f64 / GRID_HZ;
                while at + 3 < self.places_s.len() && self.places_s[at + 1] <= place_s {
                    at += 1;
                }
                let (x, y) = (&self.places_s[at - 1..at + 3], &self.percent[at - 1..at + 3]);
                (0..4)
                    .map(|i| {
                        let others = (0..4).filter(|j| *j != i);
                        y[i] * others.map(|j| (place_s - x[j]) / (x[i] - x[j])).product::<f64>()
                    })
                    .sum()
            })
            .collect()
    }

    /// First and last place, s.
    fn ends_s(&self) -> (f64, f64) {
        (self.places_s[0], self.places_s[self.places_s.len() - 1])
    }
}

/// A window that is flat but for its ends.
fn flat(length: usize) -> Vec<f64> {
    let ends = (FADED / 2.0 * length as f64).max(1.0);
    let rise = |x: f64| 0.5 - 0.5 * (std::f64::consts::PI * (x / ends).min(1.0)).cos();
    (0..length).map(|k| rise(k as f64 + 0.5) * rise(length as f64 - k as f64 - 0.5)).collect()
}

/// Turns of a tone of `hz` at place 0 of the programme, by the slates on either side: from the middle of a slate to the tone its
/// speed at that end is carried on. `None` without a slate beside it.
fn by_slates(cycles: &[f64], rate_hz: f64, start_s: f64, hz: f64, alignment: &Alignment) -> Option<f64> {
    let edge = ((CARRIED_S * rate_hz) as usize).min(cycles.len().checked_sub(1)?);
    let last = cycles.len() - 1;
    let end_s = start_s + last as f64 / rate_hz;
    let middle = |slate: &FoundSlate| {
        let place_s = alignment.map.to_programme(slate.start_s) + slate::LENGTH_S / 2.0;
        (alignment.map.to_return(place_s), place_s)
    };
    let before = alignment.slates.iter().rfind(|slate| slate.start_s < start_s).map(middle);
    let after = alignment.slates.iter().find(|slate| slate.start_s > end_s - CARRIED_S).map(middle);
    let carried = |(at_s, place_s): (f64, f64), from: usize, to: usize, here: usize| {
        let turns_per_s = (cycles[to] - cycles[from]) * rate_hz / (to - from) as f64;
        let here_s = start_s + here as f64 / rate_hz;
        place_s * hz - (cycles[here] + (at_s - here_s) * turns_per_s)
    };
    let before = before.map(|middle| carried(middle, 0, edge, 0));
    let after = after.map(|middle| carried(middle, last - edge, last, last));
    match (before, after) {
        (Some(before), Some(after)) => Some((before + after) / 2.0),
        (one, other) => one.or(other),
    }
}

/// Spectra of all playings over one stretch, as rms amplitudes a bin.
struct Spectra {
    bins: Vec<Vec<Complex64>>,
    step_hz: f64,
}

impl Spectra {
    fn new(rows: &[Vec<f64>], window: &[f64]) -> Self {
        let length = window.len();
        let power = window.iter().map(|w| w * w).sum::<f64>();
        let scale = (2.0 / (power * length as f64)).sqrt();
        let bins = rows
            .iter()
            .map(|row| {
                let mut z: Vec<Complex64> =
                    row.iter().zip(window).map(|(x, w)| Complex64::new(x * w * scale, 0.0)).collect();
                complex_forward(length).process(&mut z);
                z.truncate(length / 2);
                z
            })
            .collect();
        Self { bins, step_hz: GRID_HZ / length as f64 }
    }

    fn shares(&self) -> Vec<Shares> {
        (0..self.bins.first().map_or(0, Vec::len))
            .map(|k| Shares::of(&self.bins.iter().map(|bins| bins[k]).collect::<Vec<_>>()))
            .collect()
    }

    fn hz(&self, bin: usize) -> f64 {
        bin as f64 * self.step_hz
    }

    fn within(&self, [low_hz, high_hz]: [f64; 2]) -> std::ops::RangeInclusive<usize> {
        let last = self.bins.first().map_or(0, |bins| bins.len().saturating_sub(1));
        let first = ((low_hz / self.step_hz).ceil() as usize).max(1);
        first..=((high_hz / self.step_hz).floor() as usize).min(last)
    }

    /// How alike two playings are when the second is `lag_s` further on.
    fn alike(&self, one: usize, other: usize, lag_s: f64) -> f64 {
        let bins = self.within(FINE_HZ);
        bins.map(|k| {
            let turn = Complex64::from_polar(1.0, std::f64::consts::TAU * self.hz(k) * lag_s);
            (self.bins[one][k].conj() * self.bins[other][k] * turn).re
        })
        .sum()
    }
}

/// What the playings say of one bin.
#[derive(Debug, Clone, Copy, Default)]
struct Shares {
    /// Power of what is common, expectation; may be negative by chance.
    common: f64,
    /// Mean power.
    all: f64,
    /// Variance of `common`.
    variance: f64,
    /// Variance of one playback's own power.
    own_variance: f64,
    /// How likely chance makes them agree as well.
    chance: f64,
    /// Lower bound of the mean power of the playings' own.
    least_own: f64,
}

impl Shares {
    fn of(z: &[Complex64]) -> Self {
        let n = z.len() as f64;
        let mean_z = z.iter().sum::<Complex64>() / n;
        let all = mean(z.iter().map(Complex64::norm_sqr));
        let own = z.iter().map(|z| (z - mean_z).norm_sqr()).sum::<f64>() / (n - 1.0);
        let common = mean_z.norm_sqr() - own / n;
        let agreement = (mean_z.norm_sqr() / all.max(1e-300)).min(1.0);
        let chance = chance(z.len(), agreement);
        let kept = common.max(0.0);
        // By chance the playings agree, and then their own part does not show in how they differ.
        let hidden = own + chance * all;
        let variance = CALIBRATED
            * (own * own / (n * (n - 1.0)) + 2.0 * (kept + own / n) * hidden / n + chance * kept * kept);
        let own_variance = variance + CALIBRATED * 2.0 * kept * own;
        let furthest = z.iter().enumerate().flat_map(|(k, a)| z[..k].iter().map(move |b| (a - b).norm_sqr()));
        let least_own = furthest.fold(0.0, f64::max) / 4.0;
        Self { common, all, variance, own_variance, chance, least_own }
    }
}

/// How likely `count` random phases agree as well as this or better; `agreement` is the square of their mean vector.
///
/// Two: the share of angles that are closer. More: for little agreement after Rayleigh, exp(-n R^2); for much of it the
/// volume of the ellipsoid of phases about agreement, whichever is less.
fn chance(count: usize, agreement: f64) -> f64 {
    use std::f64::consts::{PI, TAU};
    if count == 2 {
        return (2.0 * agreement - 1.0).clamp(-1.0, 1.0).acos() / PI;
    }
    let n = count as f64;
    // Unit ball in count - 1 dimensions: 2, pi, then by recursion.
    let ball = (3..count).rev().step_by(2).fold(1.0, |product, m| product * TAU / m as f64)
        * if count.is_multiple_of(2) { 2.0 } else { PI };
    let closely = ball * (n * n * (1.0 - agreement)).max(0.0).powf((n - 1.0) / 2.0)
        / (n.powf((n - 2.0) / 2.0) * TAU.powf(n - 1.0));
    closely.min((-n * agreement).exp())
}

/// The flutter of the recording apart from that of the playings; `files` are their names.
///
/// # Errors
/// [`SameTapeError`] if there are too few, or too little that all of them have.
pub fn same_tape(courses: &[TapeCourse], files: &[String]) -> Result<SameTape, SameTapeError> {
    if courses.len() < 2 || files.len() != courses.len() {
        return Err(SameTapeError::TooFew);
    }
    let from_s = courses.iter().map(|course| course.ends_s().0).fold(f64::NEG_INFINITY, f64::max) + SETTLE_S;
    let to_s = courses.iter().map(|course| course.ends_s().1).fold(f64::INFINITY, f64::min) - SETTLE_S;
    let common_s = to_s - from_s;
    if !(common_s >= LEAST_S) {
        return Err(SameTapeError::TooShort { common_s: common_s.max(0.0) });
    }
    let count = (common_s * GRID_HZ) as usize;
    let mut rows: Vec<Vec<f64>> = courses.iter().map(|course| course.evenly(from_s, count)).collect();
    rows.iter_mut().for_each(|row| crate::signal::fm::detrend(row));
    let first = Spectra::new(&rows, &flat(count));
    for other in 1..courses.len() {
        let period_s = courses[other].period_s;
        let score = |periods: i32| first.alike(0, other, f64::from(periods) * period_s);
        let best = (-MOST_PERIODS..=MOST_PERIODS).max_by(|a, b| score(*a).total_cmp(&score(*b))).unwrap_or(0);
        if best != 0 && score(best) > MUCH_BETTER * score(0).max(0.0) {
            // `alike` turns the other one forward: it is read further on by as much.
            rows[other] = courses[other].evenly(from_s + f64::from(best) * period_s, count);
            crate::signal::fm::detrend(&mut rows[other]);
        }
    }
    let spectra = Spectra::new(&rows, &flat(count));
    let sharp = Spectra::new(&rows, &hann(count));
    let shares = spectra.shares();
    let sums = Sums::new(&spectra, &shares);
    let weight = |hz: f64| 10f64.powf(response_db(hz) / 10.0);
    let [low_hz, split_hz, high_hz] = BAND_HZ;
    let kinds = |which: Which| FlutterShare {
        unweighted_rms: sums.figure(which, [low_hz, high_hz], |_| 1.0),
        weighted_rms: sums.figure(which, [low_hz, high_hz], weight),
        wow_rms: sums.figure(which, [low_hz, split_hz], |_| 1.0),
        flutter_rms: sums.figure(which, [split_hz, high_hz], |_| 1.0),
    };
    let playings = courses.iter().zip(files).enumerate().map(|(k, (course, file))| Playing {
        file: file.clone(),
        speed_error_percent: course.speed_error_percent,
        all_unweighted_rms_percent: sums.all(k, [low_hz, high_hz]).max(0.0).sqrt(),
        own: kinds(Which::Own(k)),
    });
    let bands = third_octaves(0.2, 160.0).map(|band| FlutterBand {
        hz: band.nominal_hz,
        recording: sums.figure(Which::Recording, [band.lower_hz, band.upper_hz], |_| 1.0),
        playback: sums.figure(Which::Playback, [band.lower_hz, band.upper_hz], |_| 1.0),
    });
    Ok(SameTape {
        playings: playings.collect(),
        from_s,
        to_s,
        recording: kinds(Which::Recording),
        playback: kinds(Which::Playback),
        bands: bands.collect(),
        lines: lines(&sharp, &sharp.shares()),
        assumed: assumed(courses.len()),
    })
}

/// What is asked for.
#[derive(Debug, Clone, Copy)]
enum Which {
    Recording,
    Playback,
    Own(usize),
}

/// Sums over bins, with the noise of the demodulated tone known from beyond the band.
struct Sums<'a> {
    spectra: &'a Spectra,
    shares: &'a [Shares],
    /// Power of the noise a bin at 1 Hz that is the same in all playings (hiss on the tape), and of each playback's own.
    common_noise: f64,
    noises: Vec<f64>,
}

impl<'a> Sums<'a> {
    fn new(spectra: &'a Spectra, shares: &'a [Shares]) -> Self {
        let beyond = spectra.within(beside_hz(BAND_HZ[2]).into());
        let count = beyond.clone().count().max(1) as f64;
        let common_noise =
            beyond.clone().map(|k| shares[k].common / spectra.hz(k).powi(2)).sum::<f64>().max(0.0) / count;
        let noises = spectra
            .bins
            .iter()
            .map(|bins| exponential_mean(beyond.clone().map(|k| bins[k].norm_sqr() / spectra.hz(k).powi(2))))
            .collect();
        Self { spectra, shares, common_noise, noises }
    }

    /// All power of one playback in a band, noise subtracted.
    fn all(&self, playback: usize, band_hz: [f64; 2]) -> f64 {
        let bins = self.spectra.within(band_hz);
        bins.map(|k| {
            self.spectra.bins[playback][k].norm_sqr() - self.noises[playback] * self.spectra.hz(k).powi(2)
        })
        .sum()
    }

    fn figure(&self, which: Which, band_hz: [f64; 2], weight: impl Fn(f64) -> f64) -> SharedFigure {
        let mean_noise = mean(&self.noises);
        let (mut power, mut variance, mut noise) = (0.0, 0.0, 0.0);
        for k in self.spectra.within(band_hz) {
            let (share, hz) = (&self.shares[k], self.spectra.hz(k));
            let by_weight = weight(hz);
            let (own, taken, spread) = match which {
                Which::Recording => (share.common, self.common_noise, share.variance),
                Which::Playback => (share.all - share.common, mean_noise - self.common_noise, share.variance),
                Which::Own(playback) => (
                    self.spectra.bins[playback][k].norm_sqr() - share.common,
                    self.noises[playback] - self.common_noise,
                    share.own_variance,
                ),
            };
            let taken = taken.max(0.0) * hz * hz;
            power += by_weight * (own - taken);
            noise += by_weight * taken;
            variance += by_weight * by_weight * spread;
        }
        // The noise itself is known to some percent.
        stated(power, 2.0 * (CORRELATED * variance).sqrt() + NOISE_UNCERTAINTY * noise)
    }
}

/// What the noise is known to, share: a median over 150 Hz of bins, and that it grows with frequency squared.
const NOISE_UNCERTAINTY: f64 = 0.1;

/// A power and its expanded uncertainty as an rms.
fn stated(power: f64, uncertainty: f64) -> SharedFigure {
    let rms = power.max(0.0).sqrt();
    let highest = (power.max(0.0) + uncertainty).sqrt();
    let lowest = (power - uncertainty).max(0.0).sqrt();
    let told = power > uncertainty;
    SharedFigure {
        percent: told.then_some(rms),
        uncertainty_percent: told.then(|| (highest - rms).max(rms - lowest)),
        below_percent: highest,
    }
}

/// The strongest lines. A line fills three bins of the window; the middle one tells the phase.
fn lines(spectra: &Spectra, shares: &[Shares]) -> Vec<SharedLine> {
    let band = spectra.within([BAND_HZ[0].max(3.0 * spectra.step_hz), BAND_HZ[2]]);
    let mut found: Vec<(f64, usize)> = Vec::new();
    let total = band.clone().map(|k| shares[k].all).sum::<f64>();
    for k in band {
        let here = shares[k].all;
        if (1..=2).any(|off| shares[k - off].all > here || shares.get(k + off).is_none_or(|s| s.all > here)) {
            continue;
        }
        let reach = ((1.0 / spectra.step_hz) as usize).max(12);
        let around = (k.saturating_sub(reach).max(1)..(k + reach).min(shares.len()))
            .filter(|other| other.abs_diff(k) > 3)
            .map(|other| shares[other].all);
        let floor = median(around);
        if here > STANDS_OUT * floor && here > LEAST_LINE * total {
            found.push((here, k));
        }
    }
    found.sort_by(|a, b| b.0.total_cmp(&a.0));
    let lines = found.into_iter().take(MOST_LINES).map(|(_, k)| {
        let share = &shares[k];
        let power: f64 = shares[k - 2..=(k + 2).min(shares.len() - 1)].iter().map(|share| share.all).sum();
        // Where the power lies among the three, the line lies between the bins.
        let moment = shares[k + 1].all - shares[k - 1].all;
        let offset = moment / (shares[k - 1].all + share.all + shares[k + 1].all).max(1e-300);
        let whose = if share.least_own > 0.5 * share.all {
            Whose::Playback
        } else if share.chance < CHANCE && share.common > 0.8 * share.all {
            Whose::Recording
        } else if spectra.bins.len() > 2 && share.common + 2.0 * share.variance.sqrt() < 0.5 * share.all {
            Whose::Playback
        } else {
            Whose::CannotTell
        };
        SharedLine {
            hz: spectra.hz(k) + offset * spectra.step_hz,
            percent_peak: (2.0 * power).sqrt(),
            whose,
            by_chance: share.chance,
        }
    });
    lines.collect()
}

fn assumed(playings: usize) -> Vec<String> {
    let mut assumed = vec![
        "All playings are of one and the same recording, which nobody touched in between, on decks or a deck whose capstan \
         starts at another angle each time. What starts at the same angle each time looks like the recording."
            .to_owned(),
        "What a cassette's own reels and friction do at the same place of the tape each time counts as the recording."
            .to_owned(),
        "Hiss on the tape repeats with it; it is subtracted by what stands beyond 200 Hz.".to_owned(),
    ];
    if playings == 2 {
        assumed.push(
            "With two playings a steady line of the playback agrees by chance once in fifty times as well as one of the \
             recording: three or more playings, each started anew, are surer."
                .to_owned(),
        );
    }
    assumed
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::signal::test_signals::Random;
    use std::f64::consts::TAU;

    /// Many sines with random phases: rms of all, from 0.4 to 120 Hz.
    fn noise(seed: u64, rms: f64) -> impl Fn(f64) -> f64 {
        // Seeds one apart would begin alike.
        let mut random = Random(seed.wrapping_mul(0x9E37_79B9_7F4A_7C15));
        let sines: Vec<(f64, f64)> =
            (0..400).map(|_| (0.4 * 300f64.powf(random.share()), TAU * random.share())).collect();
        move |t| {
            rms * (2.0 / 400.0f64).sqrt()
                * sines.iter().map(|(hz, at)| (TAU * hz * t + at).sin()).sum::<f64>()
        }
    }

    fn course(slip_s: f64, percent: impl Fn(f64) -> f64) -> TapeCourse {
        let places: Vec<f64> = (0..24_000).map(|k| 5.0 + k as f64 / 1200.0).collect();
        TapeCourse {
            percent: places.iter().map(|place| percent(*place)).collect(),
            places_s: places.iter().map(|place| place + slip_s).collect(),
            period_s: 1.0 / 3150.0,
            speed_error_percent: 0.0,
        }
    }

    fn names(count: usize) -> Vec<String> {
        (0..count).map(|k| format!("{k}.wav")).collect()
    }

    /// `widest` is a share of the figure: 20 s tell a single playback's own part only roughly.
    fn holds(figure: SharedFigure, want: f64, widest: f64) {
        let (got, uncertainty) = (figure.percent.unwrap(), figure.uncertainty_percent.unwrap());
        assert!(
            (got - want).abs() <= uncertainty && uncertainty < widest * got,
            "{got} +- {uncertainty}, true {want}"
        );
    }

    #[test]
    fn common_and_own_parts_are_told_apart_even_a_period_off() {
        let tape = noise(1, 0.05);
        let owns: Vec<_> = (0..3).map(|k| noise(10 + k, 0.05)).collect();
        for slip in [0.0, 1.0, -2.0] {
            let courses: Vec<TapeCourse> = owns
                .iter()
                .enumerate()
                .map(|(k, own)| {
                    let slip_s = if k == 1 { slip / 3150.0 } else { 0.0 };
                    course(slip_s, |t| tape(t) + own(t))
                })
                .collect();
            let found = same_tape(&courses, &names(3)).unwrap();
            holds(found.recording.unweighted_rms, 0.05, 0.5);
            holds(found.playback.unweighted_rms, 0.05, 0.5);
            for playback in &found.playings {
                let own = playback.own.unweighted_rms;
                // Few sines tell little of a single playback: a limit may be all there is.
                let off = own.percent.map_or(0.0, |percent| (percent - 0.05).abs());
                assert!(
                    0.05 <= own.below_percent && off <= own.uncertainty_percent.unwrap_or(0.0),
                    "{own:?}"
                );
            }
        }
    }

    #[test]
    fn lines_get_a_name_by_their_phases_only() {
        // Phases of the playback's line are a third of a turn apart, those of the recording's are alike.
        let tape = noise(2, 0.01);
        let courses: Vec<TapeCourse> = (0..3)
            .map(|k| {
                let own = noise(20 + k, 0.01);
                let phase = TAU / 3.0 * k as f64;
                course(0.0, |t| {
                    tape(t) + own(t) + 0.1 * (TAU * 4.1 * t).sin() + 0.08 * (TAU * 9.3 * t + phase).sin()
                })
            })
            .collect();
        let found = same_tape(&courses, &names(3)).unwrap();
        let near = |hz: f64| found.lines.iter().find(|line| (line.hz - hz).abs() < 0.1).unwrap();
        assert!(near(9.3).whose == Whose::Playback, "{:?}", found.lines);
        assert_within!(near(4.1).percent_peak, 0.1, 0.01, "%");
        assert!(near(4.1).whose == Whose::Recording && near(4.1).by_chance < 0.02, "{:?}", found.lines);
    }

    #[test]
    fn chance_is_the_share_of_random_phases_that_agree_as_well() {
        // Counted over an even grid of phases; the first may stand at 0.
        for (count, agreement) in [(2, 0.9), (3, 0.97), (3, 0.9), (4, 0.93)] {
            let steps: usize = if count == 4 { 200 } else { 1000 };
            let all = steps.pow(count as u32 - 1);
            let better = (0..all).filter(|index| {
                let (mut sum, mut rest) = (Complex64::new(1.0, 0.0), *index);
                for _ in 1..count {
                    sum += Complex64::from_polar(1.0, TAU * (rest % steps) as f64 / steps as f64);
                    rest /= steps;
                }
                (sum / count as f64).norm_sqr() >= agreement
            });
            let share = better.count() as f64 / all as f64;
            // The ellipsoid is the beginning of a series.
            assert_within!(chance(count, agreement) / share, 1.0, 0.15, "", "{count} phases, {agreement}");
        }
    }

    #[test]
    fn too_few_and_too_short_are_refused() {
        let one = course(0.0, |_| 0.0);
        assert_eq!(same_tape(std::slice::from_ref(&one), &names(1)), Err(SameTapeError::TooFew));
        let mut short = one.clone();
        (short.places_s, short.percent) = (short.places_s[..6000].to_vec(), short.percent[..6000].to_vec());
        let told = same_tape(&[one.clone(), short], &names(2)).unwrap_err().to_string();
        assert!(told.contains("only 4.4 s"), "{told}");
        // Silence of flutter is none, and no number is made up.
        let still = same_tape(&[one.clone(), one], &names(2)).unwrap();
        assert_eq!(still.recording.unweighted_rms.percent, None);
    }
}
