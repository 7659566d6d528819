//! Levels, response and amplifier from all played parts.

use crate::measure::faults::jumps::Jumps;
use crate::measure::response::amplifier;
use crate::measure::response::steps::{self, PlayedTone, Swept, level};
use crate::measure::tone::level_wander::LevelWander;
use crate::measure::whole::played::{Outcome, Played, on_both};
use crate::programme::{PlacedPart, Serves, Signal};
use crate::reading::{Amplifier, Level, Response};
use crate::trade::sound_card::top_hz;

/// Upper edge of a third octave over its middle: 10^(1/20) (IEC 61260-1).
const HALF_THIRD_OCTAVE: f64 = 1.122_018;

/// One row for each level tone.
pub(crate) fn levels(played: &Played<'_>, wander: &[LevelWander; 2]) -> Vec<Level> {
    let reference_dbfs = played.options.reference_dbfs;
    played.tones_serving(Serves::Level).map(|tone| level(&tone, reference_dbfs, Some(wander))).collect()
}

/// By stepped tones, sweep and noise, as far as they were played.
pub(crate) fn response(played: &Played<'_>, jumps: &Jumps, wander: &[LevelWander; 2]) -> Option<Response> {
    // Stepped tones alone know what coarse samples do to them.
    let coarse = played.options.is_coarse();
    let sweep =
        played.parts().filter(|_| !coarse).find_map(|(part, outcome)| match (&part.signal, outcome) {
            // Frequencies of a sweep are told by time.
            (Signal::Sweep { from_hz, to_hz }, Outcome::Sweep(points))
                if on_both(part) && !jumps.tear(part, played) =>
            {
                let map = &played.alignment.map;
                let from_s = map.to_return(part.start_s);
                Some(Swept {
                    points,
                    programme_db: part.level_db,
                    from_to_hz: (*from_hz, *to_hz),
                    from_s,
                    length_s: map.to_return(part.start_s + part.length_s) - from_s,
                })
            }
            _ => None,
        });
    let hiss = played.silences().next().map(|silence| silence.1);
    let noise = played
        .noises()
        .find(|(part, _)| part.serves == Serves::Response && !coarse)
        .map(|(_, noise)| (noise.gains(hiss), noise.programme_db()));
    let mut response = steps::response(
        &ladder(played),
        sweep,
        noise.as_ref().map(|(gains, programme_db)| (gains.as_slice(), *programme_db)),
        played.timeline.reference_hz,
        played.options.reference_dbfs,
        Some(wander),
    )?;
    // What the capture's own filter does near half its rate is no deck's response.
    let top_hz = top_hz(played.rate_hz);
    for points in [&mut response.steps, &mut response.noise, &mut response.combined] {
        points.retain(|point| point.hz <= top_hz);
    }
    // A third octave of the sweep is the mean of what lies between its edges.
    response.sweep.retain(|point| point.hz * HALF_THIRD_OCTAVE <= top_hz);
    Some(response)
}

/// Tones that serve response at the level that most of them have.
fn ladder<'a>(played: &'a Played<'_>) -> Vec<PlayedTone<'a>> {
    let serving: Vec<PlayedTone> = played.tones_serving(Serves::Response).collect();
    let near = |tone: &PlayedTone, level: f64| (tone.programme_db - level).abs() < 0.01;
    let commonest = serving
        .iter()
        .map(|tone| tone.programme_db)
        .max_by_key(|level| serving.iter().filter(|tone| near(tone, *level)).count());
    serving.into_iter().filter(|tone| commonest.is_some_and(|level| near(tone, level))).collect()
}

/// The playback amplifier against its curve, without time constants yet.
pub(crate) fn amplifier(played: &Played<'_>) -> Option<Amplifier> {
    let tones: Vec<(&PlacedPart, PlayedTone)> = played.tones().collect();
    amplifier::amplifier(&tones, played.timeline.reference_hz, played.options.reference_dbfs)
}
