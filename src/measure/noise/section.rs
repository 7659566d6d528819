//! The sections `noise` and `saturation.noise` of a reading, put together from the parts.

use crate::capture::CaptureError;
use crate::measure::noise::hum::{HumBand, shares_flutter};
use crate::measure::noise::reference::Reference;
use crate::measure::playback::Playback;
use crate::measure::response::noise_bands::NoiseBands;
use crate::measure::whole::played::{Outcome, Played};
use crate::programme::{Colour, PlacedPart, Serves, Signal};
use crate::reading::{Level, Noise, NoiseBand, SaturationNoise, minus};
use crate::signal::DB_PER_NEPER;
use crate::signal::baseband::Band;

/// The loudest of the level tones: it stands best above the noise.
fn loudest(levels: &[Level]) -> Option<&Level> {
    levels
        .iter()
        .filter(|row| row.return_dbfs.iter().any(Option::is_some))
        .max_by(|a, b| a.programme_db.total_cmp(&b.programme_db).then(b.hz.total_cmp(&a.hz)))
}

/// What noise is stated against: the loudest level tone, converted to 0 dB of the programme.
pub(crate) fn reference(levels: &[Level]) -> Option<Reference> {
    let tone = loudest(levels)?;
    let dbfs = tone.return_dbfs.map(|dbfs| dbfs.map(|dbfs| dbfs - tone.programme_db));
    let words = format!("the level tone of {} Hz as returned, converted to 0 dB of the programme", tone.hz);
    Some(Reference { words, dbfs, uncertainty_db: tone.uncertainty_db })
}

/// Noise of the first silent part, with a row for each of them.
pub(crate) fn noise(played: &Played<'_>, levels: &[Level]) -> Option<Noise> {
    let reference = reference(levels)?;
    let rows = played.silences().map(|(part, silence)| silence.row(&part.id, &part.purpose, &reference));
    let mut noise = played.silences().next()?.1.noise(&reference);
    unsure_by_steps(&mut noise, &reference, played.options.step);
    Some(Noise { parts: rows.collect(), ..noise })
}

/// Noise that is less than this many steps of the samples is not what it was before.
const LEAST_STEPS: f64 = 0.6;

/// Adds what samples in steps of `step` do to the noise: a twelfth of the step's square, where the noise is larger than that.
fn unsure_by_steps(noise: &mut Noise, reference: &Reference, step: f64) {
    if step <= 0.0 {
        return;
    }
    for channel in 0..2 {
        let Some(dbfs) = noise.unweighted_db[channel]
            .or(noise.a_weighted_db[channel])
            .zip(reference.dbfs[channel])
            .map(|(db, zero)| db + zero)
        else {
            continue;
        };
        let power = 10f64.powf(dbfs / 10.0) / 2.0;
        let by_step_db = DB_PER_NEPER * (step * step / 12.0 / power);
        let sure = power.sqrt() >= LEAST_STEPS * step;
        for uncertainty in [&mut noise.uncertainty_db[channel], &mut noise.itu468_uncertainty_db[channel]] {
            *uncertainty = uncertainty.filter(|_| sure).map(|db| db.hypot(by_step_db));
        }
    }
}

/// Rows of `saturation.noise`: every noise on both channels, if one of them serves saturation.
pub(crate) fn saturation_by_noise(played: &Played<'_>, levels: &[Level]) -> Vec<SaturationNoise> {
    let serves = |(part, _): (&PlacedPart, &NoiseBands)| part.serves == Serves::Saturation;
    if played.options.is_coarse() || !played.noises().any(serves) {
        return Vec::new();
    }
    let hiss = played.silences().next().map(|silence| silence.1);
    let Some(level) = loudest(levels) else { return Vec::new() };
    let row = |part: &PlacedPart, noise: &NoiseBands| {
        let colour = match part.signal {
            Signal::Noise { colour: Colour::White, .. } => "white",
            _ => "pink",
        };
        let bands = noise.gains(hiss).into_iter().map(|band| {
            let db = minus(band.gain_db, level.gain_db);
            let uncertainty_db = [0, 1].map(|side| {
                db[side]?;
                band.uncertainty_db[side].map(|u| u.hypot(level.uncertainty_db))
            });
            NoiseBand { hz: band.hz, db, uncertainty_db }
        });
        SaturationNoise {
            part: part.id.clone(),
            colour: colour.to_owned(),
            programme_db: part.level_db,
            bands: bands.collect(),
        }
    };
    played.noises().map(|(part, noise)| row(part, noise)).collect()
}

/// Where hum that stands in a silence gets in: its lines are looked at again beside the longest steady tone.
///
/// # Errors
/// If the source cannot be read.
pub(crate) fn trace_hum(playback: &Playback<'_>, played: &mut Played<'_>) -> Result<(), CaptureError> {
    let hums =
        |outcome: &Outcome| matches!(outcome, Outcome::Silence(silence) if silence.components.is_some());
    let Some(index) = played.outcomes.iter().position(hums) else { return Ok(()) };
    let ratio = playback.alignment.ratio(&played.timeline.parts[index]);
    let longest = played
        .parts()
        .filter_map(|(part, outcome)| match (outcome, &part.signal) {
            (Outcome::Flutter(result, stretch), Signal::Tone { hz }) => {
                Some((&result.1, *stretch, *hz, part))
            }
            (Outcome::Tone(tone, stretch), Signal::Tone { hz }) => Some((&tone.band, *stretch, *hz, part)),
            _ => None,
        })
        .filter(|(_, stretch, hz, _)| stretch.length_s() > 9.0 && *hz > 2000.0)
        .max_by(|a, b| a.1.length_s().total_cmp(&b.1.length_s()));
    let energy = |band: &Band| band.samples.iter().map(|z| z.norm_sqr()).sum::<f64>();
    let mut likelihood = None;
    if let (Some((bands, stretch, hz, part)), Outcome::Silence(silence)) = (longest, &played.outcomes[index])
    {
        let hum = playback.run::<HumBand>(stretch, 1.0)?;
        let band = if energy(&bands[0]) >= energy(&bands[1]) { &bands[0] } else { &bands[1] };
        let tone_hz = hz * playback.alignment.ratio(part);
        likelihood = hum
            .zip(silence.components.as_ref())
            .and_then(|(hum, components)| shares_flutter(&hum, band, tone_hz, components));
    }
    if let Outcome::Silence(silence) = &mut played.outcomes[index]
        && let Some(components) = &mut silence.components
    {
        components.judge_origin(ratio, likelihood);
    }
    Ok(())
}
