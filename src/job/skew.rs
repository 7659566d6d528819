//! Azimuth from ordinary music: recordings of several tapes in, what they say out.

use super::recording::Recording;
use crate::capture::{CaptureError, HealthMeter, Source};
use crate::judge::judge_skew;
use crate::measure::{
    Consensus, Content, Meter, RECORDERS_US, Skew, SkewCells, SkewMeter, coarse_delay_us, consensus, skew,
};
use crate::reading::{
    FileClock, SKEW_FORMAT, SkewConsensus, SkewContent, SkewReading, SkewStretch, SkewTape, SkewVerdict,
    Warning, WarningId,
};
use crate::trade::{Medium, playback_losses};
use std::path::Path;

/// How the recordings are read.
#[derive(Debug, Clone, Copy, Default)]
pub struct SkewOptions {
    /// Left and right in files with more than two channels, from 0.
    pub channels: Option<[usize; 2]>,
    /// The tape that was played.
    pub medium: Medium,
}

/// Reads the recordings one after the other; `under_way` hears which one is read. Memory: a few MiB and some 2 kB for a
/// second of the longest recording.
///
/// # Errors
/// [`CaptureError`] if one cannot be read or is a copy of another; all are opened before the first is read.
pub fn skew_tapes(
    recordings: &[Recording<'_>],
    options: &SkewOptions,
    under_way: &mut dyn FnMut(&Path),
) -> Result<SkewReading, CaptureError> {
    let open = recordings.iter().map(|recording| recording.open(options.channels));
    let mut tapes = Vec::new();
    for (opened, facts) in open.collect::<Result<Vec<_>, _>>()? {
        under_way(&facts.path);
        let mut tape = tape(opened.source(), &facts.name, facts.mono_file, &options.medium)?;
        if facts.cut_short {
            tape.warnings.push(Warning::new(
                WarningId::CutEnd,
                "The file is shorter than its header says: the recorder was interrupted. What is there was read.",
            ));
        }
        if let Some(first) = tapes.iter().position(|other| is_copy(other, &tape)) {
            return Err(CaptureError::Copy {
                path: facts.path.clone(),
                first: recordings[first].path().to_owned(),
            });
        }
        tapes.push(tape);
    }
    Ok(together(tapes, &options.medium))
}

/// Delays of one recording agree to within this share of their uncertainty, lengths to within so many seconds: two tapes do both once
/// in some thousands.
const SAME: (f64, f64) = (0.02, 0.005);

/// Whether two tapes are one recording, in two files.
fn is_copy(a: &SkewTape, b: &SkewTape) -> bool {
    let (Some(one), Some(other), Some(uncertainty)) = (a.delay_us, b.delay_us, a.uncertainty_us) else {
        return false;
    };
    (a.duration_s - b.duration_s).abs() < SAME.1 && (one - other).abs() < SAME.0 * uncertainty
}

/// One tape: heard twice, because a large delay must be undone before the bands are summed.
fn tape(source: &dyn Source, name: &str, mono: bool, medium: &Medium) -> Result<SkewTape, CaptureError> {
    let rate_hz = source.rate_hz();
    let mut health = [HealthMeter::default(), HealthMeter::default()];
    let first = cells(source, 0.0, &mut |block| {
        for (meter, samples) in health.iter_mut().zip(block) {
            meter.feed(samples);
        }
    })?;
    let cells = cells(source, coarse_delay_us(&first), &mut |_| {})?;
    let found = skew(&cells, rate_hz);
    let clipped = health.map(|meter| meter.finish().clipped_samples);
    Ok(described(name, rate_hz, cells.length_s, mono, &found, clipped, medium))
}

/// The cells of the whole recording with `undone_us` undone; `also` hears every block.
fn cells(
    source: &dyn Source,
    undone_us: f64,
    also: &mut dyn FnMut([&[f64]; 2]),
) -> Result<SkewCells, CaptureError> {
    let mut meter = SkewMeter::new(source.rate_hz(), undone_us).expect("it has room at every rate");
    source.read(0, u64::MAX, &mut |block| {
        meter.feed(block);
        also(block);
    })?;
    Ok(meter.finish())
}

fn described(
    name: &str,
    rate_hz: f64,
    duration_s: f64,
    mono: bool,
    found: &Skew,
    clipped: [u64; 2],
    medium: &Medium,
) -> SkewTape {
    let delay = found.delay.as_ref().filter(|_| !mono);
    let angle = |delay_us: f64| medium.arcmin_from_delay_us(delay_us);
    let opposed = found.opposed && delay.is_some();
    let mut warnings = Vec::new();
    if clipped.iter().any(|&count| count > 0) {
        warnings.push(Warning::new(
            WarningId::Clipped,
            format!(
                "Clipped samples: left {}, right {}. Clipping of one channel moves the delay: turn the sound card's input \
                 down, and record again.",
                clipped[0], clipped[1]
            ),
        ));
    }
    if opposed {
        warnings.push(Warning::new(
            WarningId::Inverted,
            "The channels have opposite polarity at all frequencies; the figures are corrected for it. Look for a crossed \
             lead, plug or head winding, on this deck or on the one that recorded.",
        ));
    }
    SkewTape {
        file: name.to_owned(),
        rate_hz,
        duration_s,
        delay_us: delay.map(|delay| delay.delay_us),
        uncertainty_us: delay.map(|delay| delay.uncertainty_us),
        angle_arcmin: delay.map(|delay| angle(delay.delay_us)),
        verdict: if delay.is_some() { SkewVerdict::Usable } else { SkewVerdict::CannotTell },
        angle_uncertainty_arcmin: delay.map(|delay| angle(delay.uncertainty_us)),
        common_uncertainty_us: delay.map(|delay| delay.reading_us),
        content: if mono { SkewContent::MonoFile } else { content(found.content) },
        agreeing_percent: found.agreeing.filter(|_| !mono).map(|share| 100.0 * share),
        opposed,
        wander_us_rms: delay.and_then(|delay| delay.wander_us_rms),
        along: delay.map_or(Vec::new(), |delay| {
            let stretch = |stretch: &crate::measure::Stretch| SkewStretch {
                at_s: FileClock::default().at(stretch.at_s),
                delay_us: stretch.delay_us,
                uncertainty_us: stretch.uncertainty_us,
            };
            delay.along.iter().map(stretch).collect()
        }),
        outlier: false,
        why: String::new(),
        warnings,
    }
}

fn content(content: Content) -> SkewContent {
    match content {
        Content::Mono => SkewContent::Mono,
        Content::PartlyCommon => SkewContent::PartlyCommon,
        Content::Wide => SkewContent::Wide,
        Content::OneTrackDoubled => SkewContent::OneTrackDoubled,
        Content::OneChannel => SkewContent::OneChannel,
        Content::Silence => SkewContent::Silence,
        Content::TooShort => SkewContent::TooShort,
        Content::Unclear => SkewContent::Unclear,
    }
}

/// All tapes with their consensus.
fn together(mut tapes: Vec<SkewTape>, medium: &Medium) -> SkewReading {
    let usable: Vec<(usize, (f64, f64))> = tapes
        .iter()
        .enumerate()
        .filter_map(|(k, tape)| Some((k, (tape.delay_us?, tape.uncertainty_us?))))
        .collect();
    let values: Vec<(f64, f64)> = usable.iter().map(|tape| tape.1).collect();
    let agreed: Option<Consensus> = consensus(&values);
    let mut used = values.len();
    for ((k, _), outlier) in usable.iter().zip(agreed.iter().flat_map(|agreed| &agreed.outliers)) {
        tapes[*k].outlier = *outlier;
        used -= usize::from(*outlier);
    }
    let angle = agreed.as_ref().map(|agreed| medium.arcmin_from_delay_us(agreed.delay_us));
    let loss = |angle: f64| {
        playback_losses::azimuth_loss_db(angle, medium.track_width_mm, 10_000.0, medium.speed_mm_s)
    };
    let consensus = SkewConsensus {
        delay_us: agreed.as_ref().map(|agreed| agreed.delay_us),
        uncertainty_us: agreed.as_ref().map(|agreed| agreed.uncertainty_us),
        angle_arcmin: angle,
        angle_uncertainty_arcmin: agreed
            .as_ref()
            .map(|agreed| medium.arcmin_from_delay_us(agreed.uncertainty_us)),
        loss_at_10k_db: angle.map(loss).filter(|db| db.is_finite()),
        tapes: used as u32,
        spread_us: agreed.as_ref().and_then(|agreed| agreed.spread_us),
        recorders_us: RECORDERS_US,
        says: String::new(),
        turn: None,
    };
    let mut reading = SkewReading { format: SKEW_FORMAT.to_owned(), made: None, tapes, consensus };
    judge_skew(&mut reading);
    reading
}
