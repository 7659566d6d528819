//! What lies around the tones: some parts are read once more, for their noise and not for what they serve.

use crate::capture::{CaptureError, Stretch};
use crate::measure::faults::cells::{CellMeter, Cells};
use crate::measure::meter::Meter;
use crate::measure::playback::Playback;
use crate::measure::tone::meter::{Tone, ToneMeter};
use crate::programme::{Channels, Colour, PlacedPart, Serves, Signal, Timeline};

/// As much of a part is read again, s: cells of some ninety frames are even within half a decibel.
const READ_S: f64 = 2.0;

/// Noise of a few parts of the programme, and the level of the flutter tone.
#[derive(Debug, Clone, Default)]
pub(crate) struct Surroundings {
    /// The channels that are there.
    pub there: [bool; 2],
    /// The longest silence that serves noise.
    pub silence: Option<Cells>,
    /// Beside the longest loud tone between 2 and 5 kHz.
    pub loud_treble: Option<LoudTone>,
    /// Beside the first loud tone below 1100 Hz.
    pub loud_low: Option<Cells>,
    /// Beside the lowest quiet tone, with its frequency, Hz.
    pub quiet_low: Option<(Cells, f64)>,
    /// The first pink noise, and its level in the programme, dB.
    pub pink: Option<(Cells, f64)>,
}

/// A long, loud tone.
#[derive(Debug, Clone)]
pub(crate) struct LoudTone {
    /// When it starts, s of the programme.
    pub at_s: f64,
    /// Frequency in the programme, Hz.
    pub hz: f64,
    /// Frequency in the return, Hz.
    pub seen_hz: f64,
    /// Level in the programme, dB.
    pub programme_db: f64,
    /// Noise beside it.
    pub cells: Cells,
    /// The tone at its start and at its end.
    pub ends: [Option<Tone>; 2],
}

/// Reads the surroundings.
///
/// # Errors
/// If the source cannot be read.
pub(crate) fn surroundings(
    playback: &Playback<'_>,
    timeline: &Timeline,
) -> Result<Surroundings, CaptureError> {
    const MARGIN_S: f64 = 0.1;
    let alignment = playback.alignment;
    let rate_hz = playback.rate_hz();
    let whole = |part: &PlacedPart| alignment.steady(part, MARGIN_S);
    let parts: Vec<(&PlacedPart, Stretch)> = timeline
        .parts
        .iter()
        .filter(|part| matches!(part.channels, Channels::Both))
        .filter_map(|part| Some((part, whole(part)?)))
        .filter(|(_, stretch)| stretch.length_s() > 1.0)
        .collect();
    let longer =
        |a: &&(&PlacedPart, Stretch), b: &&(&PlacedPart, Stretch)| a.1.length_s().total_cmp(&b.1.length_s());
    let tone_hz = |part: &PlacedPart| match part.signal {
        Signal::Tone { hz } => hz,
        _ => f64::NAN,
    };
    let cells = |stretch: Stretch| -> Result<Option<Cells>, CaptureError> {
        let end = Stretch { from_s: stretch.from_s, to_s: stretch.to_s.min(stretch.from_s + READ_S + 0.1) };
        Ok(playback.run::<CellMeter>(end, ())?.flatten())
    };
    let mut found = Surroundings { there: alignment.wiring.there(), ..Surroundings::default() };
    if let Some((_, stretch)) = parts
        .iter()
        .filter(|(part, _)| matches!((&part.signal, part.serves), (Signal::Silence, Serves::Noise)))
        .max_by(longer)
    {
        // What rings into it and the start of an echo are left out.
        found.silence = cells(Stretch { from_s: stretch.from_s + 0.3, to_s: stretch.to_s })?;
    }
    if let Some((part, stretch)) = parts
        .iter()
        .filter(|(part, stretch)| {
            (2000.0..5000.0).contains(&tone_hz(part)) && part.level_db > -6.0 && stretch.length_s() > 6.0
        })
        .max_by(longer)
    {
        let hz = tone_hz(part);
        let expected_hz = hz * alignment.ratio(part);
        let length_s = (stretch.length_s() / 2.0).min(READ_S);
        let start = Stretch { from_s: stretch.from_s, to_s: stretch.from_s + length_s };
        let end = Stretch { from_s: stretch.to_s - length_s, to_s: stretch.to_s };
        // One reading serves both.
        let mut beside = CellMeter::new(rate_hz, ());
        let mut ends = [None, None];
        for (place, found) in [start, end].into_iter().zip(&mut ends) {
            let Some(mut meter) = ToneMeter::new(rate_hz, expected_hz) else { continue };
            let first = place.from_s == start.from_s;
            playback.read(place, &mut |block| {
                meter.feed(block);
                if let Some(beside) = beside.as_mut().filter(|_| first) {
                    beside.feed(block);
                }
            })?;
            *found = meter.finish();
        }
        found.loud_treble = beside.and_then(CellMeter::finish).map(|cells| LoudTone {
            at_s: part.start_s,
            hz,
            seen_hz: expected_hz,
            programme_db: part.level_db,
            cells,
            ends,
        });
    }
    if let Some((_, stretch)) = parts.iter().find(|(part, _)| tone_hz(part) < 1100.0 && part.level_db > -6.0)
    {
        found.loud_low = cells(*stretch)?;
    }
    if let Some((part, stretch)) = parts
        .iter()
        .filter(|(part, _)| tone_hz(part) < 1100.0 && (-30.0..=-15.0).contains(&part.level_db))
        .min_by(|a, b| tone_hz(a.0).total_cmp(&tone_hz(b.0)))
    {
        found.quiet_low = cells(*stretch)?.map(|cells| (cells, tone_hz(part)));
    }
    if let Some((part, stretch)) =
        parts.iter().find(|(part, _)| matches!(part.signal, Signal::Noise { colour: Colour::Pink, .. }))
    {
        found.pink = cells(*stretch)?.map(|cells| (cells, part.level_db));
    }
    Ok(found)
}
