//! One part of a programme to the meter that it serves.

use crate::capture::{Alignment, CaptureError, Source, Stretch, extend_mended, is_sound};
use crate::measure::distortion::harmonics::{DistortionMeter, Harmonics};
use crate::measure::distortion::intermodulation::{TwinTone, TwinToneMeter};
use crate::measure::flutter::meter::FlutterMeter;
use crate::measure::noise::meter::{NoiseMeter, Silence};
use crate::measure::noise::sections::{HumBeside, TapeTone};
use crate::measure::response::noise_bands::{NoiseBands, NoiseBandsMeter, NoisePlace};
use crate::measure::response::sweep::{SweepMeter, SweepPlace, SweepPoint};
use crate::measure::separation::erasing::{Erased, ErasingMeter};
use crate::measure::separation::leakage::{Leakage, SeparationMeter};
use crate::measure::tone::meter::{Tone, ToneMeter};
use crate::measure::whole::measured::MeasureOptions;
use crate::programme::{Channels, PlacedPart, Serves, Signal, Timeline};
use crate::reading::Flutter;
use crate::signal::baseband::Band;

/// Rise and fall of tones and noises in a programme, and what the room of a deck's meters adds, s.
pub(crate) const FADE_S: f64 = 0.02;
/// Between one channel and the other lies at most this, s (a tilted head, a converter): blocks need not care.
pub(crate) const SILENCE_MARGIN_S: f64 = 0.25;

/// What one part gave.
pub(crate) enum Outcome {
    Tone(Box<Tone>, Stretch),
    Sweep(Vec<SweepPoint>),
    Flutter(Box<(Option<Flutter>, [Band; 2])>, Stretch),
    Silence(Option<Box<Silence>>),
    Noise(Option<Box<NoiseBands>>),
    Harmonics(Box<Harmonics>, Stretch),
    Twin(Box<TwinTone>),
    Leakage(Box<Leakage>),
    Erased(Erased, Stretch),
    Missing,
}

impl Outcome {
    pub(crate) fn gave_something(&self) -> bool {
        match self {
            Self::Tone(..) => true,
            Self::Sweep(points) => !points.is_empty(),
            Self::Flutter(result, _) => result.0.is_some(),
            Self::Silence(silence) => silence.is_some(),
            Self::Noise(bands) => bands.is_some(),
            Self::Harmonics(..) | Self::Twin(_) | Self::Leakage(_) | Self::Erased(..) => true,
            Self::Missing => false,
        }
    }
}

/// Feeds one part to its meter.
pub(crate) fn play(
    source: &dyn Source,
    alignment: &Alignment,
    part: &PlacedPart,
    reads_flutter: bool,
    options: &MeasureOptions,
) -> Result<Outcome, CaptureError> {
    let rate_hz = source.rate_hz();
    let ratio = alignment.ratio(part);
    match (&part.signal, part.serves) {
        (Signal::Tone { hz }, Serves::Flutter) if reads_flutter => {
            let Some(stretch) = alignment.steady_rest(part, FADE_S) else { return Ok(Outcome::Missing) };
            let mut meter =
                FlutterMeter::new(rate_hz, *hz, hz * ratio, alignment.clock.starting_at(stretch.from_s));
            read(source, alignment, stretch, &mut |block| meter.feed(block))?;
            Ok(Outcome::Flutter(Box::new(meter.finish()), stretch))
        }
        // The latter are measured apart, by what stands in rounds.rs.
        (_, Serves::Nothing | Serves::Place)
        | (_, Serves::Bias | Serves::BiasSweep | Serves::ReductionOut | Serves::ReductionIn) => {
            Ok(Outcome::Missing)
        }
        (Signal::Tone { hz }, Serves::Distortion) => {
            let Some(stretch) = alignment.steady(part, FADE_S) else { return Ok(Outcome::Missing) };
            let Some(mut meter) = DistortionMeter::new(rate_hz, hz * ratio) else {
                return Ok(Outcome::Missing);
            };
            read(source, alignment, stretch, &mut |block| meter.feed(block))?;
            Ok(meter.finish().map_or(Outcome::Missing, |found| Outcome::Harmonics(Box::new(found), stretch)))
        }
        (Signal::Chord { hz }, Serves::Distortion | Serves::Saturation) => {
            let Some(stretch) = alignment.steady(part, FADE_S) else { return Ok(Outcome::Missing) };
            let Some(twin) = twin_hz(hz) else { return Ok(Outcome::Missing) };
            let Some(mut meter) = TwinToneMeter::new(rate_hz, twin.map(|hz| hz * ratio)) else {
                return Ok(Outcome::Missing);
            };
            read(source, alignment, stretch, &mut |block| meter.feed(block))?;
            Ok(Outcome::Twin(Box::new(meter.finish())))
        }
        (Signal::Tone { hz }, Serves::Separation) => {
            let Some(stretch) = alignment.steady(part, FADE_S) else { return Ok(Outcome::Missing) };
            let driven = match part.channels {
                Channels::Left => 0,
                Channels::Right => 1,
                // With both driven nothing shows what leaks.
                Channels::Both | Channels::Opposed => return Ok(Outcome::Missing),
            };
            let Some(mut meter) = SeparationMeter::new(rate_hz, hz * ratio, driven) else {
                return Ok(Outcome::Missing);
            };
            read(source, alignment, stretch, &mut |block| meter.feed(block))?;
            Ok(meter.finish().map_or(Outcome::Missing, |found| Outcome::Leakage(Box::new(found))))
        }
        (Signal::Tone { hz }, Serves::Erasing) => {
            let Some(stretch) = alignment.steady_rest(part, FADE_S) else { return Ok(Outcome::Missing) };
            let Some(mut meter) = ErasingMeter::new(rate_hz, hz * ratio) else { return Ok(Outcome::Missing) };
            read(source, alignment, stretch, &mut |block| meter.feed(block))?;
            Ok(Outcome::Erased(meter.finish(silenced(alignment)), stretch))
        }
        (Signal::Tone { hz }, _) => {
            let Some(stretch) = alignment.steady(part, FADE_S) else { return Ok(Outcome::Missing) };
            let Some(mut meter) = ToneMeter::new(rate_hz, hz * ratio) else { return Ok(Outcome::Missing) };
            read(source, alignment, stretch, &mut |block| meter.feed(block))?;
            Ok(meter.finish().map_or(Outcome::Missing, |tone| Outcome::Tone(Box::new(tone), stretch)))
        }
        (Signal::Sweep { from_hz, to_hz }, Serves::Response) => {
            let whole = Stretch {
                from_s: alignment.map.to_return(part.start_s),
                to_s: alignment.map.to_return(part.start_s + part.length_s),
            };
            if whole.from_s < 0.0 || whole.to_s > alignment.duration_s || alignment.map.is_torn(part) {
                return Ok(Outcome::Missing);
            }
            // A little more on either side, for the noise beside the sweep's ends.
            let stretch = Stretch { from_s: (whole.from_s - 0.2).max(0.0), to_s: whole.to_s + 0.2 };
            let from_s = (stretch.from_s * rate_hz).floor() / rate_hz;
            let place = SweepPlace {
                from_hz: *from_hz,
                to_hz: *to_hz,
                ratio,
                start_s: whole.from_s - from_s,
                length_s: whole.length_s(),
            };
            let mut meter = SweepMeter::new(rate_hz, place);
            read(source, alignment, stretch, &mut |block| meter.feed(block))?;
            Ok(Outcome::Sweep(meter.finish()))
        }
        (Signal::Silence, Serves::Noise) => {
            let Some(stretch) = alignment.steady(part, SILENCE_MARGIN_S) else { return Ok(Outcome::Missing) };
            let mut meter = NoiseMeter::new(rate_hz).for_ratio(ratio);
            read(source, alignment, stretch, &mut |block| meter.feed(block))?;
            Ok(Outcome::Silence(meter.finish().map(Box::new)))
        }
        (Signal::Noise { .. }, Serves::Response | Serves::Saturation) => {
            let Some(stretch) = alignment.steady(part, FADE_S) else { return Ok(Outcome::Missing) };
            let from_s = (stretch.from_s * rate_hz).floor() / rate_hz;
            let Some(place) = NoisePlace::new(part, &alignment.map, from_s) else {
                return Ok(Outcome::Missing);
            };
            let mut meter = NoiseBandsMeter::new(rate_hz, place);
            read(source, alignment, stretch, &mut |block| meter.feed(block))?;
            Ok(Outcome::Noise(meter.finish(options.reference_dbfs).map(Box::new)))
        }
        _ => Ok(Outcome::Missing),
    }
}

/// Where hum that stands in a silence gets in: its lines are looked at again beside the longest steady tone.
pub(crate) fn trace_hum(
    source: &dyn Source,
    timeline: &Timeline,
    alignment: &Alignment,
    outcomes: &mut [Outcome],
) -> Result<(), CaptureError> {
    let hums = |outcome: &mut Outcome| match outcome {
        Outcome::Silence(Some(silence)) => silence.hum_components().is_some(),
        _ => false,
    };
    let Some(index) = outcomes.iter_mut().position(hums) else { return Ok(()) };
    let ratio = alignment.ratio(&timeline.parts[index]);
    let mut beside = HumBeside::new(source.rate_hz());
    let longest = outcomes
        .iter()
        .zip(&timeline.parts)
        .filter_map(|(outcome, part)| match (outcome, &part.signal) {
            (Outcome::Flutter(result, stretch), Signal::Tone { hz }) => {
                Some((&result.1, *stretch, *hz, part))
            }
            (Outcome::Tone(tone, stretch), Signal::Tone { hz }) => Some((&tone.band, *stretch, *hz, part)),
            _ => None,
        })
        .filter(|(_, stretch, hz, _)| stretch.length_s() > 9.0 && *hz > 2000.0)
        .max_by(|a, b| a.1.length_s().total_cmp(&b.1.length_s()));
    let energy = |band: &Band| band.samples.iter().map(|z| z.norm_sqr()).sum::<f64>();
    let tone = match longest {
        Some((bands, stretch, hz, part)) => {
            read(source, alignment, stretch, &mut |block| beside.feed(block))?;
            let band = if energy(&bands[0]) >= energy(&bands[1]) { &bands[0] } else { &bands[1] };
            let band = band.clone();
            Some((band, hz * alignment.ratio(part)))
        }
        None => None,
    };
    let tone = tone.as_ref().map(|(band, hz)| TapeTone { band, hz: *hz });
    if let Outcome::Silence(Some(silence)) = &mut outcomes[index] {
        beside.judge(silence, ratio, tone.as_ref());
    }
    Ok(())
}

/// Reads a stretch with channels and polarity put right; what is no number is read as 0 (the scan has counted it).
pub(crate) fn read(
    source: &dyn Source,
    alignment: &Alignment,
    stretch: Stretch,
    sink: &mut dyn FnMut([&[f64]; 2]),
) -> Result<(), CaptureError> {
    let rate_hz = source.rate_hz();
    let wiring = alignment.wiring;
    let mut turned = [Vec::new(), Vec::new()];
    let from = (stretch.from_s * rate_hz).floor().max(0.0) as u64;
    let to = (stretch.to_s * rate_hz).floor().max(0.0) as u64;
    source.read(from, to, &mut |block| {
        let block = if wiring.swapped { [block[1], block[0]] } else { block };
        let mut put_right = |channel: usize| {
            turned[channel].clear();
            if !wiring.inverted[channel] && is_sound(block[channel]) {
                return false;
            }
            extend_mended(&mut turned[channel], block[channel]);
            if wiring.inverted[channel] {
                turned[channel].iter_mut().for_each(|x| *x = -*x);
            }
            true
        };
        let put_right = [put_right(0), put_right(1)];
        // What is right already is handed on as it is.
        sink([0, 1].map(|channel| if put_right[channel] { &turned[channel][..] } else { block[channel] }));
    })
}

/// The two frequencies of a twin tone, the lower first; `None` for another chord.
pub(crate) fn twin_hz(hz: &[f64]) -> Option<[f64; 2]> {
    let &[a, b] = hz else { return None };
    Some([a.min(b), a.max(b)])
}

/// Channels that do not exist or carry nothing.
pub(crate) fn silenced(alignment: &Alignment) -> [bool; 2] {
    let wiring = alignment.wiring;
    [wiring.dead[0], wiring.dead[1] || wiring.mono]
}
