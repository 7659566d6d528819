//! Flutter of the tone that it was read from.

use crate::measure::faults::jumps::Jumps;
use crate::measure::flutter::same_tape::TapeCourse;
use crate::measure::whole::played::{FlutterTone, Played};
use crate::reading::Flutter;

/// The flutter, and the course of its tone against the place on the tape.
pub(crate) fn flutter(played: &Played<'_>, jumps: &Jumps) -> (Option<Flutter>, Option<TapeCourse>) {
    let Some(FlutterTone { part, hz, found, bands, stretch }) = played.flutter() else {
        return (None, None);
    };
    let jumped = !jumps.splices_s.is_empty() || jumps.tear(part, played);
    let flutter = found.cloned().map(|flutter| Flutter {
        simultaneous_null_hz: Some(played.options.medium.simultaneous_null_hz()),
        // A jump is a peak that no tape made.
        unweighted_peak_percent: flutter.unweighted_peak_percent.filter(|_| !jumped),
        ..flutter
    });
    let expected_hz = hz * played.alignment.ratio(part);
    let course = (!jumped)
        .then(|| TapeCourse::of(bands, expected_hz, part, played.alignment, stretch.from_s))
        .flatten();
    (flutter, course)
}
