//! Flutter of the tone that it was read from.

use crate::measure::faults::jumps::Jumps;
use crate::measure::flutter::same_tape::TapeCourse;
use crate::measure::flutter::stretches::{ToneBands, flutter_of};
use crate::measure::whole::played::{FlutterTone, Played};
use crate::reading::Flutter;

/// The flutter, and the course of its tone against the place on the tape.
pub(crate) fn flutter(played: &Played<'_>, jumps: &Jumps) -> (Option<Flutter>, Option<TapeCourse>) {
    let Some(FlutterTone { part, hz, found, bands, stretch }) = played.flutter() else {
        return (None, None);
    };
    let expected_hz = hz * played.alignment.ratio(part);
    let tones: Vec<ToneBands<'_>> = played
        .flutters()
        .map(|tone| ToneBands { bands: tone.bands, clock: played.clock(tone.stretch) })
        .collect();
    let found = if tones.len() > 1 { flutter_of(&tones, hz, expected_hz) } else { found.cloned() };
    let jumped = !jumps.phase_jumps.is_empty() || played.flutters().any(|tone| jumps.tear(tone.part, played));
    let flutter = found.map(|flutter| Flutter {
        simultaneous_null_hz: Some(played.options.medium.simultaneous_null_hz()),
        // A jump is a peak that no tape made.
        unweighted_peak_percent: flutter.unweighted_peak_percent.filter(|_| !jumped),
        ..flutter
    });
    let course = (!jumped)
        .then(|| TapeCourse::of(bands, expected_hz, part, played.alignment, stretch.from_s))
        .flatten();
    (flutter, course)
}
