//! All that is measured from one aligned return: every part of the programme is fed to the meter that it serves.

use crate::capture::{Alignment, CaptureError, Source};
use crate::measure::faults::surroundings::surroundings;
use crate::measure::faults::unmeasured::{Gave, unmeasured};
use crate::measure::noise::section::trace_hum;
use crate::measure::playback::{FADE_S, MeasureOptions, Playback};
use crate::measure::trim::rounds::add_rounds;
use crate::measure::whole::assembled::assemble;
use crate::measure::whole::evidence::Evidence;
use crate::measure::whole::played::{Outcome, Played};
use crate::measure::whole::playing::play;
use crate::programme::{PlacedPart, Serves, Timeline};
use crate::reading;
use rayon::prelude::*;

/// All that was measured from one return.
#[derive(Debug, Clone, Default)]
pub struct Measured {
    /// The sections of a reading.
    pub facts: reading::Measured,
    /// What was found besides.
    pub evidence: Evidence,
}

/// Measures every part of `timeline` that `source` holds, in parallel.
///
/// Channels and polarity are put right by `alignment.wiring`. A channel that is dead or does not exist (a mono
/// recording) gives no values.
///
/// # Errors
/// If the source cannot be read.
pub fn measure(
    source: &dyn Source,
    timeline: &Timeline,
    alignment: &Alignment,
    options: &MeasureOptions,
) -> Result<Measured, CaptureError> {
    let playback = Playback { source, alignment, options };
    let flutter = flutter_parts(timeline, alignment);
    // The longest first, so that no core is left with a long one at the end.
    let mut order: Vec<(usize, &PlacedPart)> = timeline.parts.iter().enumerate().collect();
    order.sort_by(|a, b| b.1.length_s.total_cmp(&a.1.length_s));
    let (mut outcomes, around) = rayon::join(
        || -> Vec<(usize, Result<Outcome, CaptureError>)> {
            order
                .into_iter()
                .par_bridge()
                .map(|(index, part)| (index, play(&playback, part, flutter.contains(&index))))
                .collect()
        },
        || surroundings(&playback, timeline),
    );
    outcomes.sort_by_key(|outcome| outcome.0);
    let mut outcomes = outcomes.into_iter().map(|outcome| outcome.1).collect::<Result<Vec<_>, _>>()?;
    for outcome in &mut outcomes {
        outcome.without_clipped(options.tops);
        outcome.quantised(options.step, source.rate_hz());
    }
    let mut played = Played { timeline, alignment, options, rate_hz: source.rate_hz(), outcomes };
    trace_hum(&playback, &mut played)?;
    let wander = played.level_wander();
    let (mut facts, mut evidence) = assemble(&played, around?, &wander);
    add_rounds(&mut facts, &playback, timeline, &wander)?;
    let parts: Vec<bool> = played.outcomes.iter().map(Outcome::gave_something).collect();
    let gave = Gave {
        parts: &parts,
        flutter: facts.flutter.is_some(),
        response: facts.response.is_some() || !options.response_expected,
    };
    evidence.warnings.extend(unmeasured(timeline, alignment, source.rate_hz(), &gave));
    Ok(Measured { facts, evidence })
}

/// Indices of the parts that flutter is read from: the longest of which enough is in the recording. Without slates several may
/// be stretches of one tone.
fn flutter_parts(timeline: &Timeline, alignment: &Alignment) -> Vec<usize> {
    const LEAST_S: f64 = 3.0;
    const LEAST_STRETCH_S: f64 = 1.5;
    let slated = timeline.levels_are_known();
    let length = |part: &PlacedPart| alignment.steady_rest(part, FADE_S).map_or(0.0, |s| s.length_s());
    let least_s = if slated { LEAST_S } else { LEAST_STRETCH_S };
    let long = |(_, part): &(usize, &PlacedPart)| part.serves == Serves::Flutter && length(part) > least_s;
    let parts = || timeline.parts.iter().enumerate().filter(long);
    let Some(longest) = parts().max_by(|a, b| length(a.1).total_cmp(&length(b.1))) else { return vec![] };
    let read = |(index, part): &(usize, &PlacedPart)| {
        *index == longest.0 || !slated && part.signal == longest.1.signal
    };
    parts().filter(read).map(|part| part.0).collect()
}
