//! One part of a programme to the meter that it serves.
//!
//! Parts are measured in parallel, the longest first; results are joined in the order of the programme.

use crate::capture::{Alignment, CaptureError, Stretch};
use crate::measure::distortion::harmonics::DistortionMeter;
use crate::measure::distortion::intermodulation::TwinToneMeter;
use crate::measure::flutter::meter::{FlutterMeter, FlutterPlan};
use crate::measure::meter::Meter;
use crate::measure::noise::meter::NoiseMeter;
use crate::measure::playback::{FADE_S, Playback, SILENCE_MARGIN_S};
use crate::measure::response::noise_bands::{NoiseBandsMeter, NoisePlace};
use crate::measure::response::sweep::{SweepMeter, SweepPlace};
use crate::measure::separation::erasing::ErasingMeter;
use crate::measure::separation::leakage::{LeakagePlan, SeparationMeter};
use crate::measure::tone::meter::ToneMeter;
use crate::measure::whole::played::Outcome;
use crate::programme::{Channels, PlacedPart, Serves, Signal};

/// Read before and behind a sweep, for the noise beside its ends, s.
const BESIDE_SWEEP_S: f64 = 0.2;

/// Feeds one part to its meter: what it is and what it serves, where it is read, by which meter with which plan.
///
/// What is measured in rounds is fed apart, by `trim`.
///
/// # Errors
/// If the source cannot be read.
pub(crate) fn play(
    playback: &Playback<'_>,
    part: &PlacedPart,
    reads_flutter: bool,
) -> Result<Outcome, CaptureError> {
    use Serves as S;
    let alignment = playback.alignment;
    let ratio = alignment.ratio(part);
    let steady = |fade_s: f64| alignment.steady(part, fade_s);
    let rest = || alignment.steady_rest(part, FADE_S);
    let fed = Fed { playback };
    match (&part.signal, part.serves) {
        (
            _,
            S::Nothing | S::Place | S::Source | S::Bias | S::BiasSweep | S::ReductionOut | S::ReductionIn,
        ) => Ok(Outcome::Missing),
        (Signal::Tone { hz }, S::Flutter) if reads_flutter => fed.to::<FlutterMeter>(
            rest(),
            |stretch| {
                let clock = alignment.clock.starting_at(stretch.from_s);
                Some(FlutterPlan { programme_hz: *hz, expected_hz: hz * ratio, clock })
            },
            |flutter, stretch| Some(Outcome::Flutter(Box::new(flutter), stretch)),
        ),
        (Signal::Tone { hz }, S::Distortion) => fed.to::<DistortionMeter>(
            steady(FADE_S),
            |_| Some(hz * ratio),
            |found, stretch| Some(Outcome::Harmonics(Box::new(found?), stretch)),
        ),
        (Signal::Chord { hz }, S::Distortion | S::Saturation) => fed.to::<TwinToneMeter>(
            steady(FADE_S),
            |_| Some(twin_hz(hz)?.map(|hz| hz * ratio)),
            |found, _| Some(Outcome::Twin(Box::new(found))),
        ),
        (Signal::Tone { hz }, S::Separation) => fed.to::<SeparationMeter>(
            steady(FADE_S),
            |_| Some(LeakagePlan { expected_hz: hz * ratio, driven: driven(part)? }),
            |found, _| Some(Outcome::Leakage(Box::new(found?))),
        ),
        (Signal::Tone { hz }, S::Erasing) => fed.to::<ErasingMeter>(
            rest(),
            |_| Some(hz * ratio),
            |found, stretch| Some(Outcome::Erased(found, stretch)),
        ),
        (Signal::Tone { hz }, _) => fed.to::<ToneMeter>(
            steady(FADE_S),
            |_| Some(hz * ratio),
            |found, stretch| Some(Outcome::Tone(Box::new(found?), stretch)),
        ),
        (Signal::Sweep { from_hz, to_hz }, S::Response) => {
            let whole = whole(part, alignment);
            fed.to::<SweepMeter>(
                whole.map(|whole| Stretch {
                    from_s: (whole.from_s - BESIDE_SWEEP_S).max(0.0),
                    to_s: whole.to_s + BESIDE_SWEEP_S,
                }),
                |stretch| {
                    let whole = whole?;
                    Some(SweepPlace {
                        from_hz: *from_hz,
                        to_hz: *to_hz,
                        ratio,
                        start_s: whole.from_s - playback.first_s(stretch),
                        length_s: whole.length_s(),
                    })
                },
                |found, _| Some(Outcome::Sweep(found)),
            )
        }
        (Signal::Silence, S::Noise) => fed.to::<NoiseMeter>(
            steady(SILENCE_MARGIN_S),
            |_| Some(ratio),
            |found, _| Some(Outcome::Silence(Box::new(found?))),
        ),
        (Signal::Noise { .. }, S::Response | S::Saturation) => fed.to::<NoiseBandsMeter>(
            steady(FADE_S),
            |stretch| {
                let first_s = playback.first_s(stretch);
                NoisePlace::new(part, &alignment.map, first_s, playback.options.reference_dbfs)
            },
            |found, _| Some(Outcome::Noise(Box::new(found?))),
        ),
        _ => Ok(Outcome::Missing),
    }
}

struct Fed<'a> {
    playback: &'a Playback<'a>,
}

impl Fed<'_> {
    /// Feeds a stretch to the meter `M` and files what it says; `Missing` where there is no stretch, plan, meter or result.
    fn to<M: Meter>(
        &self,
        stretch: Option<Stretch>,
        plan: impl FnOnce(Stretch) -> Option<M::Plan>,
        filed: impl FnOnce(M::Output, Stretch) -> Option<Outcome>,
    ) -> Result<Outcome, CaptureError> {
        let Some((stretch, plan)) = stretch.and_then(|stretch| Some((stretch, plan(stretch)?))) else {
            return Ok(Outcome::Missing);
        };
        let found = self.playback.run::<M>(stretch, plan)?;
        Ok(found.and_then(|found| filed(found, stretch)).unwrap_or(Outcome::Missing))
    }
}

/// The part from end to end; `None` if it is not all there.
fn whole(part: &PlacedPart, alignment: &Alignment) -> Option<Stretch> {
    let [from_s, to_s] =
        [part.start_s, part.start_s + part.length_s].map(|at_s| alignment.map.to_return(at_s));
    let there = from_s >= 0.0 && to_s <= alignment.duration_s && !alignment.map.is_torn(part);
    there.then_some(Stretch { from_s, to_s })
}

/// The one channel that `part` drives; with both driven nothing shows what leaks.
fn driven(part: &PlacedPart) -> Option<usize> {
    match part.channels {
        Channels::Left => Some(0),
        Channels::Right => Some(1),
        Channels::Both | Channels::Opposed => None,
    }
}

/// The two frequencies of a twin tone, the lower first; `None` for another chord.
pub(crate) fn twin_hz(hz: &[f64]) -> Option<[f64; 2]> {
    let &[a, b] = hz else { return None };
    Some([a.min(b), a.max(b)])
}
