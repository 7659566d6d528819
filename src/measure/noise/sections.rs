//! The sections `noise` and `saturation.noise` of a reading, put together from the parts.

use crate::measure::noise::hum::{HumBand, HumCourse, shares_flutter};
use crate::measure::noise::meter::{Reference, Silence};
use crate::measure::response::noise_bands::NoiseBands;
use crate::programme::{Colour, PlacedPart, Serves, Signal};
use crate::reading::{Level, Noise, NoiseBand, Pair, SaturationNoise};
use crate::signal::baseband::Band;

/// The loudest of the level tones: it stands best above the noise.
fn loudest(levels: &[Level]) -> Option<&Level> {
    levels
        .iter()
        .filter(|row| row.return_dbfs.iter().any(Option::is_some))
        .max_by(|a, b| a.programme_db.total_cmp(&b.programme_db).then(b.hz.total_cmp(&a.hz)))
}

/// What noise is stated against: the loudest level tone, brought to the programme's reference level.
pub(crate) fn reference(levels: &[Level], silenced: [bool; 2]) -> Option<Reference> {
    let tone = loudest(levels)?;
    let dbfs: Pair = [0, 1].map(|channel| {
        tone.return_dbfs[channel].filter(|_| !silenced[channel]).map(|level| level - tone.programme_db)
    });
    let words =
        format!("the level tone of {} Hz as returned, brought to the programme's reference level", tone.hz);
    Some(Reference { words, dbfs, uncertainty_db: tone.uncertainty_db })
}

/// Noise of the first silent part, with a row for each of them.
pub(crate) fn noise(
    silences: &[(&PlacedPart, &Silence)],
    levels: &[Level],
    silenced: [bool; 2],
) -> Option<Noise> {
    let reference = reference(levels, silenced)?;
    let mut noise = silences.first()?.1.noise(&reference);
    noise.parts =
        silences.iter().map(|(part, silence)| silence.row(&part.id, &part.purpose, &reference)).collect();
    Some(noise)
}

/// Rows of `saturation.noise`: every noise on both channels, if one of them serves saturation.
pub(crate) fn saturation_by_noise(
    noises: &[(&PlacedPart, &NoiseBands)],
    hiss: Option<&Silence>,
    levels: &[Level],
    silenced: [bool; 2],
) -> Vec<SaturationNoise> {
    if !noises.iter().any(|(part, _)| part.serves == Serves::Saturation) {
        return Vec::new();
    }
    let Some(level) = loudest(levels) else { return Vec::new() };
    let row = |part: &PlacedPart, noise: &NoiseBands| {
        let colour = match part.signal {
            Signal::Noise { colour: Colour::White, .. } => "white",
            _ => "pink",
        };
        let bands = noise.gains(hiss).into_iter().map(|band| {
            let mute = |pair: Pair| [0, 1].map(|side| pair[side].filter(|_| !silenced[side]));
            let db = mute([0, 1].map(|side| Some(band.gain_db[side]? - level.gain_db[side]?)));
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
    noises.iter().map(|(part, noise)| row(part, noise)).collect()
}

/// A steady tone that came off the tape, to hold hum against: its band, and its mean frequency in the return.
pub(crate) struct TapeTone<'a> {
    pub band: &'a Band,
    pub hz: f64,
}

/// Collects hum beside a tone.
pub(crate) struct HumBeside(Option<HumBand>);

impl HumBeside {
    pub(crate) fn new(rate_hz: f64) -> Self {
        Self(HumBand::new(rate_hz))
    }

    pub(crate) fn feed(&mut self, block: [&[f64]; 2]) {
        if let Some(hum) = &mut self.0 {
            hum.feed(block);
        }
    }

    /// Judges where the hum of `silence` gets in; `ratio` is the tape's time ratio in the silence.
    pub(crate) fn judge(self, silence: &mut Silence, ratio: f64, tone: Option<&TapeTone>) {
        let Some(components) = silence.hum_components() else { return };
        let hum: Option<HumCourse> = self.0.map(HumBand::finish);
        let likelihood = tone
            .zip(hum.as_ref())
            .and_then(|(tone, hum)| shares_flutter(hum, tone.band, tone.hz, components));
        components.judge_origin(ratio, likelihood);
    }
}
