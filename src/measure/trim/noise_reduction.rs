//! Tracking of the deck's noise reduction: the same tones with it out and in, and the noise of both halves.

use crate::measure::trim::pause_noise::PauseNoise;
use crate::reading::{Pair, ReductionBand, ReductionRow, ReductionTracking, minus};

/// A tone of one half: level in the programme, frequency, gain with its expanded uncertainty, `[left, right]`.
pub(crate) type ReductionTone = (f64, f64, [Option<(f64, f64)>; 2]);

/// Bands of the summary, Hz: bass, middle, treble.
const BANDS_HZ: [(f64, f64); 3] = [(20.0, 500.0), (500.0, 3000.0), (3000.0, 20_000.0)];
/// Halves whose tones differ by no more than this are the same, dB, unless the tones are less sure than that.
const ALIKE_DB: f64 = 0.15;
/// Noise that is lowered by less than this is not lowered, dB.
const NOT_LOWERED_DB: f64 = 0.5;
/// Noise that is lowered by more than this has been reduced, dB.
const LOWERED_DB: f64 = 1.0;

/// In against out; `None` if one half is missing.
pub(crate) fn tracking(
    out: &[ReductionTone],
    within: &[ReductionTone],
    noise_out: Option<PauseNoise>,
    noise_in: Option<PauseNoise>,
) -> Option<ReductionTracking> {
    let mut rows: Vec<ReductionRow> = out
        .iter()
        .filter_map(|&(programme_db, hz, out)| {
            let twin = within.iter().find(|tone| tone.0 == programme_db && tone.1 == hz)?;
            let both = |f: fn((f64, f64), (f64, f64)) -> f64| -> Pair {
                [0, 1].map(|channel| Some(f(out[channel]?, twin.2[channel]?)))
            };
            Some(ReductionRow {
                programme_db,
                hz,
                out_db: out.map(|gain| gain.map(|gain| gain.0)),
                in_db: twin.2.map(|gain| gain.map(|gain| gain.0)),
                mistracking_db: both(|out, within| within.0 - out.0),
                uncertainty_db: both(|out, within| out.1.hypot(within.1)),
            })
        })
        .collect();
    if rows.is_empty() {
        return None;
    }
    rows.sort_by(|a, b| b.programme_db.total_cmp(&a.programme_db).then(a.hz.total_cmp(&b.hz)));
    let noise = |pause: Option<PauseNoise>| -> Pair { [0, 1].map(|channel| pause?.dbfs(channel)) };
    let (noise_out_dbfs, noise_in_dbfs) = (noise(noise_out), noise(noise_in));
    let noise_lowered_db = minus(noise_out_dbfs, noise_in_dbfs);
    let uncertainty_db = noise_out.zip(noise_in).map(|(a, b)| a.uncertainty_db().hypot(b.uncertainty_db()));
    Some(ReductionTracking {
        bands: bands(&rows),
        switched: switched(&rows, noise_lowered_db),
        rows,
        noise_out_dbfs,
        noise_in_dbfs,
        noise_lowered_db,
        noise_uncertainty_db: noise_lowered_db.map(|lowered| lowered.and(uncertainty_db)),
    })
}

/// Whether the second half differs from the first as noise reduction makes it.
fn switched(rows: &[ReductionRow], noise_lowered_db: Pair) -> Option<bool> {
    let lowered: Vec<f64> = noise_lowered_db.iter().flatten().copied().collect();
    if lowered.iter().any(|&db| db > LOWERED_DB) {
        return Some(true);
    }
    let alike = rows.iter().all(|row| {
        let of_channel = |channel: usize| row.mistracking_db[channel].zip(row.uncertainty_db[channel]);
        [0, 1]
            .into_iter()
            .filter_map(of_channel)
            .all(|(db, uncertainty)| db.abs() <= ALIKE_DB.max(1.5 * uncertainty))
    });
    let same_noise = !lowered.is_empty() && lowered.iter().all(|db| db.abs() < NOT_LOWERED_DB);
    if alike && same_noise {
        return Some(false);
    }
    // Tones that differ have been through something else in the second half.
    (!alike).then_some(true)
}

fn bands(rows: &[ReductionRow]) -> Vec<ReductionBand> {
    let mut levels_db: Vec<f64> = rows.iter().map(|row| row.programme_db).collect();
    levels_db.dedup();
    let cells = levels_db.iter().flat_map(|&db| BANDS_HZ.map(|band| (db, band)));
    cells
        .filter_map(|(programme_db, (from_hz, to_hz))| {
            let of_band: Vec<&ReductionRow> = rows
                .iter()
                .filter(|row| row.programme_db == programme_db && row.hz >= from_hz && row.hz < to_hz)
                .collect();
            let values = |channel: usize| {
                of_band.iter().filter_map(move |row| Some((row.hz, row.mistracking_db[channel]?)))
            };
            let worst = [0, 1].map(|channel| values(channel).max_by(|a, b| a.1.abs().total_cmp(&b.1.abs())));
            (!of_band.is_empty()).then(|| ReductionBand {
                programme_db,
                from_hz,
                to_hz,
                mean_db: [0, 1].map(|channel| {
                    let count = values(channel).count();
                    (count > 0).then(|| values(channel).map(|value| value.1).sum::<f64>() / count as f64)
                }),
                worst_db: worst.map(|worst| worst.map(|worst| worst.1)),
                worst_hz: worst.map(|worst| worst.map(|worst| worst.0)),
            })
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn half(db: impl Fn(f64, f64) -> f64) -> Vec<ReductionTone> {
        [-10.0, -40.0]
            .into_iter()
            .flat_map(|level_db| [130.0, 1000.0, 10_000.0].map(|hz| (level_db, hz)))
            .map(|(level_db, hz)| (level_db, hz, [Some((db(level_db, hz), 0.05)), None]))
            .collect()
    }

    fn pause(dbfs: f64) -> Option<PauseNoise> {
        Some(PauseNoise { a_weighted: [0.5 * 10f64.powf(dbfs / 10.0); 2], length_s: 4.0 })
    }

    #[test]
    fn in_against_out_by_level_and_band() {
        let treble = |level_db: f64, hz: f64| if hz > 5000.0 && level_db < -30.0 { -2.0 } else { 0.1 };
        let got = tracking(&half(|_, _| 0.1), &half(treble), pause(-60.0), pause(-69.0)).unwrap();
        assert_eq!((got.rows.len(), got.bands.len()), (6, 6));
        crate::assert_within!(got.rows[5].mistracking_db[0].unwrap(), -2.1, 1e-9, "dB");
        assert_eq!(got.rows[5].mistracking_db[1], None);
        let worst =
            got.bands.iter().find(|band| band.from_hz == 3000.0 && band.programme_db == -40.0).unwrap();
        assert_eq!((worst.worst_hz[0], worst.mean_db[1]), (Some(10_000.0), None));
        crate::assert_within!(got.noise_lowered_db[1].unwrap(), 9.0, 1e-9, "dB");
        assert_eq!(got.switched, Some(true));
    }

    #[test]
    fn two_halves_alike_were_not_switched_only_if_the_noise_says_so_too() {
        let same = || half(|_, _| 0.1);
        let judge = |a, b| tracking(&same(), &same(), a, b).unwrap().switched;
        assert_eq!(judge(pause(-60.0), pause(-60.2)), Some(false));
        assert_eq!(judge(None, None), None);
        assert_eq!(judge(pause(-60.0), pause(-69.0)), Some(true));
        // Between the two.
        assert_eq!(judge(pause(-60.0), pause(-60.8)), None);
        assert_eq!(tracking(&same(), &[], None, None), None);
    }
}
