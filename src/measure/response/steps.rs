//! Level of the level tones, and response relative to the reference frequency.

use crate::measure::response::combined::combined;
use crate::measure::response::noise_bands::BandGain;
use crate::measure::response::sweep::{SweepPoint, band_level};
use crate::measure::tone::level_wander::{LevelWander, Sounded};
use crate::measure::tone::meter::Tone;
use crate::reading::{Level, Pair, Response, ResponsePoint, minus};
use crate::trade::octave_bands;

/// A tone of the programme and what came back of it.
#[derive(Debug, Clone, Copy)]
pub struct PlayedTone<'a> {
    /// Identifier of the part.
    pub part: &'a str,
    /// Frequency in the programme, Hz.
    pub hz: f64,
    /// Level in the programme, dB re its reference level.
    pub programme_db: f64,
    /// Its middle, s of the return.
    pub at_s: f64,
    /// What was measured.
    pub tone: &'a Tone,
}

impl PlayedTone<'_> {
    /// Expanded uncertainty (k = 2) of the level of `channel` without `wander`, dB, and when it sounded if there is any.
    fn own(&self, channel: usize, wander: Wander<'_>) -> Option<(f64, Option<Sounded>)> {
        let level = self.tone.levels[channel]?;
        let Some(wander) = wander.map(|wander| &wander[channel]) else {
            return Some((level.uncertainty_db, None));
        };
        let sounded = wander.sounded(self.tone, channel, self.at_s);
        Some((wander.without(&level, sounded.length_s), Some(sounded)))
    }

    /// Expanded uncertainty (k = 2) of the level of `channel` as that of the deck, whose level may `wander`, dB.
    pub fn uncertainty_db(&self, channel: usize, wander: Wander<'_>) -> Option<f64> {
        let (own_db, sounded) = self.own(channel, wander)?;
        Some(own_db.hypot(of_mean_db(channel, wander, sounded)))
    }
}

/// How the level of each channel wanders; `None` where no tape runs.
pub type Wander<'a> = Option<&'a [LevelWander; 2]>;

fn of_mean_db(channel: usize, wander: Wander<'_>, sounded: Option<Sounded>) -> f64 {
    wander.zip(sounded).map_or(0.0, |(wander, sounded)| wander[channel].of_mean_db(sounded))
}

fn difference(pair: Pair) -> Option<f64> {
    Some(pair[0]? - pair[1]?)
}

/// The row of one level tone; `reference_dbfs` is where the programme's reference level lies in its WAV.
pub fn level(played: &PlayedTone, reference_dbfs: f64, wander: Wander<'_>) -> Level {
    let return_dbfs = played.tone.levels.map(|level| level.map(|level| level.dbfs));
    let gain_db = return_dbfs.map(|level| level.map(|level| level - reference_dbfs - played.programme_db));
    let uncertainties = [0, 1].into_iter().filter_map(|channel| played.uncertainty_db(channel, wander));
    let uncertainty_db = uncertainties.fold(0.0, f64::max);
    Level {
        part: played.part.to_owned(),
        hz: played.hz,
        programme_db: played.programme_db,
        return_dbfs,
        gain_db,
        difference_db: difference(gain_db),
        uncertainty_db,
        programme_uncertainty_db: None,
    }
}

/// One frequency's gain before it is referred to the reference frequency.
struct Gain {
    hz: f64,
    db: Pair,
    /// Without what the level wandered meanwhile.
    uncertainty_db: Pair,
    /// When it was heard, where wander is to be added.
    sounded: [Option<Sounded>; 2],
}

/// A sweep and what came back of it.
#[derive(Debug, Clone, Copy)]
pub struct Swept<'a> {
    /// What was measured.
    pub points: &'a [SweepPoint],
    /// Level in the programme, dB re its reference level.
    pub programme_db: f64,
    /// Frequencies at its start and its end, in the programme, Hz.
    pub from_to_hz: (f64, f64),
    /// Its start, s of the return, and its length, s.
    pub from_s: f64,
    pub length_s: f64,
}

impl Swept<'_> {
    /// Octaves (natural) from its start to `hz`, as a share of its length.
    fn share(&self, hz: f64) -> f64 {
        (hz / self.from_to_hz.0).ln() / (self.from_to_hz.1 / self.from_to_hz.0).ln()
    }

    /// When it passed a band.
    fn sounded(&self, lower_hz: f64, upper_hz: f64) -> Sounded {
        let [from, to] = [self.share(lower_hz), self.share(upper_hz)];
        let at_s = self.from_s + self.length_s * (from + to) / 2.0;
        Sounded { at_s, length_s: self.length_s * (to - from).abs(), excess: 1.0 }
    }
}

/// Response by stepped tones (all at the same programme level), by sweep, and by noise (its bands and its level).
///
/// `None` if there is none of them, or nothing was measured at (or near) `reference_hz`.
pub fn response(
    steps: &[PlayedTone],
    sweep: Option<Swept<'_>>,
    noise: Option<(&[BandGain], f64)>,
    reference_hz: f64,
    reference_dbfs: f64,
    wander: Wander<'_>,
) -> Option<Response> {
    let programme_db = steps
        .first()
        .map(|step| step.programme_db)
        .or(sweep.map(|sweep| sweep.programme_db))
        .or(noise.map(|noise| noise.1))?;
    let stepped: Vec<Gain> = steps
        .iter()
        .map(|step| {
            let own = [0, 1].map(|channel| step.own(channel, wander));
            Gain {
                hz: step.hz,
                db: step.tone.levels.map(|l| l.map(|l| l.dbfs - reference_dbfs - step.programme_db)),
                uncertainty_db: own.map(|own| own.map(|own| own.0)),
                sounded: own.map(|own| own?.1),
            }
        })
        .collect();
    let steps = relative(stepped, reference_hz, wander);
    let swept = sweep.map_or_else(Vec::new, |swept| {
        let (from_hz, to_hz) = swept.from_to_hz;
        octave_bands::third_octaves(from_hz.min(to_hz), from_hz.max(to_hz))
            .filter(|band| band.lower_hz >= from_hz.min(to_hz) && band.upper_hz <= from_hz.max(to_hz))
            .map(|band| {
                // A sine at 0 dBFS has mean square 1/2.
                let at =
                    [0, 1].map(|channel| band_level(swept.points, channel, band.lower_hz, band.upper_hz));
                Gain {
                    hz: band.mid_hz,
                    db: at.map(|level| {
                        level.map(|level| level.0 + 10.0 * 2f64.log10() - reference_dbfs - swept.programme_db)
                    }),
                    uncertainty_db: at.map(|level| level.map(|level| level.1)),
                    sounded: wander
                        .map_or([None; 2], |_| [Some(swept.sounded(band.lower_hz, band.upper_hz)); 2]),
                }
            })
            .collect()
    });
    let sweep = relative(swept, reference_hz, wander);
    let noise = relative(noise.map_or_else(Vec::new, |noise| by_noise(noise.0)), reference_hz, None);
    if steps.is_empty() && sweep.is_empty() && noise.is_empty() {
        return None;
    }
    let corners = |rising: bool| {
        [0, 1].map(|channel| {
            let points =
                [&steps, &sweep, &noise].into_iter().find(|points| !points.is_empty()).unwrap_or(&noise);
            corner_hz(points, channel, reference_hz, rising)
        })
    };
    Some(Response {
        reference_hz,
        programme_db,
        low_3db_hz: corners(false),
        high_3db_hz: corners(true),
        combined: combined(&steps, &sweep, &noise, reference_hz),
        steps,
        sweep,
        noise,
    })
}

/// Bands of noise as gains.
fn by_noise(bands: &[BandGain]) -> Vec<Gain> {
    bands
        .iter()
        .map(|band| Gain {
            hz: band.hz,
            db: band.gain_db,
            uncertainty_db: band.uncertainty_db,
            sounded: [None; 2],
        })
        .collect()
}

/// Refers gains to the gain at `reference_hz` (interpolated between neighbours if it was not played itself).
fn relative(mut gains: Vec<Gain>, reference_hz: f64, wander: Wander<'_>) -> Vec<ResponsePoint> {
    gains.sort_by(|a, b| a.hz.total_cmp(&b.hz));
    let reference = [0, 1].map(|channel| {
        let known: Vec<(f64, f64)> =
            gains.iter().filter_map(|gain| Some((gain.hz.ln(), gain.db[channel]?))).collect();
        interpolate(&known, reference_hz.ln())
    });
    if reference.iter().all(Option::is_none) {
        return Vec::new();
    }
    let at_reference = [0, 1].map(|channel| {
        let gain = at_reference(&gains, channel, reference_hz)?;
        Some((gain.uncertainty_db[channel]?, gain.sounded[channel]))
    });
    gains
        .into_iter()
        .map(|gain| ResponsePoint {
            hz: gain.hz,
            db: minus(gain.db, reference),
            uncertainty_db: [0, 1].map(|channel| {
                reference[channel]?;
                gain.db[channel]?;
                let own = gain.uncertainty_db[channel]?;
                // 0 dB by definition; its own uncertainty stands for the channels' difference.
                if is_at(gain.hz, reference_hz) {
                    return Some(own.hypot(of_mean_db(channel, wander, gain.sounded[channel])));
                }
                let (at_reference, sounded) = at_reference[channel]?;
                let both = wander.zip(gain.sounded[channel].zip(sounded));
                let wandered = both.map_or(0.0, |(wander, (a, b))| wander[channel].of_difference_db(a, b));
                Some(own.hypot(at_reference).hypot(wandered))
            }),
            difference_db: difference(gain.db),
            difference_uncertainty_db: None,
        })
        .collect()
}

fn is_at(hz: f64, reference_hz: f64) -> bool {
    (hz / reference_hz).ln().abs() < 1e-6
}

/// By which the gain at the reference is known: its own tone, or the less sure one of its neighbours.
fn at_reference(gains: &[Gain], channel: usize, reference_hz: f64) -> Option<&Gain> {
    let known: Vec<&Gain> = gains
        .iter()
        .filter(|gain| gain.db[channel].is_some() && gain.uncertainty_db[channel].is_some())
        .collect();
    if let Some(own) = known.iter().find(|gain| is_at(gain.hz, reference_hz)) {
        return Some(own);
    }
    let after = known.partition_point(|gain| gain.hz < reference_hz);
    let beside = [after.checked_sub(1).and_then(|k| known.get(k)), known.get(after)];
    let unsure = |gain: &Gain| gain.uncertainty_db[channel].unwrap_or(0.0);
    beside.into_iter().flatten().copied().max_by(|a, b| unsure(a).total_cmp(&unsure(b)))
}

/// Linear interpolation in rising `points`; `None` outside them by more than a third octave.
fn interpolate(points: &[(f64, f64)], x: f64) -> Option<f64> {
    let after = points.partition_point(|point| point.0 < x);
    match (after.checked_sub(1).map(|i| points[i]), points.get(after)) {
        (_, Some(b)) if (b.0 - x).abs() < 1e-6 => Some(b.1),
        (Some(a), Some(b)) => Some(a.1 + (b.1 - a.1) * (x - a.0) / (b.0 - a.0)),
        (Some(a), None) if x - a.0 < 0.24 => Some(a.1),
        (None, Some(b)) if b.0 - x < 0.24 => Some(b.1),
        _ => None,
    }
}

/// Where the response first falls below -3 dB, going from the reference frequency outwards, Hz.
pub(crate) fn corner_hz(
    points: &[ResponsePoint],
    channel: usize,
    reference_hz: f64,
    rising: bool,
) -> Option<f64> {
    let mut row: Vec<(f64, f64)> = points
        .iter()
        .filter(|point| if rising { point.hz >= reference_hz } else { point.hz <= reference_hz })
        .filter_map(|point| Some((point.hz.ln(), point.db[channel]?)))
        .collect();
    if !rising {
        row.reverse();
    }
    row.windows(2).find_map(|pair| {
        let ((x0, y0), (x1, y1)) = (pair[0], pair[1]);
        (y0 > -3.0 && y1 <= -3.0).then(|| (x0 + (x1 - x0) * (y0 + 3.0) / (y0 - y1)).exp())
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn point(hz: f64, left: f64) -> Gain {
        Gain { hz, db: [Some(left), None], uncertainty_db: [Some(0.05), None], sounded: [None; 2] }
    }

    #[test]
    fn gains_are_referred_to_the_reference_and_corners_found() {
        let gains = vec![
            point(40.0, -8.0),
            point(100.0, -3.0),
            point(400.0, -2.0),
            point(10_000.0, -4.0),
            point(20_000.0, -8.0),
        ];
        let points = relative(gains, 400.0, None);
        assert_eq!(points[2].db, [Some(0.0), None]);
        assert_eq!(points[0].difference_db, None);
        // -3 dB lies two fifths of the way (in log frequency) from 100 to 40 Hz, and half way to 20 kHz less ...
        crate::assert_within!(
            corner_hz(&points, 0, 400.0, false).unwrap(),
            100.0 * 0.4f64.powf(0.4),
            0.01,
            "Hz"
        );
        crate::assert_within!(
            corner_hz(&points, 0, 400.0, true).unwrap(),
            10_000.0 * 2f64.powf(0.25),
            0.01,
            "Hz"
        );
        assert_eq!(corner_hz(&points, 1, 400.0, true), None);
    }
}
