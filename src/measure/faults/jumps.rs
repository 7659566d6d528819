//! Where time jumps in a return, by all that shows it.

use crate::measure::faults::phase_jumps::{PhaseJump, phase_jumps};
use crate::measure::faults::tears::{Torn, mean_hz, tears};
use crate::measure::flutter::deviation::flat_hz;
use crate::measure::whole::played::{FlutterTone, Played};
use crate::programme::PlacedPart;

/// Jumps of time, in true seconds of the return.
pub(crate) struct Jumps {
    /// Stretches in which time jumps: those that the slates show, and those that only the tones show.
    pub torn: Vec<Torn>,
    /// Where the phase of the flutter tone jumps.
    pub phase_jumps: Vec<PhaseJump>,
    /// Where the monitor is switched from SOURCE to TAPE: time jumps there by the way between two heads, as it must.
    pub switch: Option<Torn>,
}

impl Jumps {
    pub fn of(played: &Played<'_>) -> Self {
        let phase_jumps: Vec<PhaseJump> = played
            .flutters()
            .flat_map(|tone| {
                let found = phase_jumps(tone.bands, flat_hz(tone.bands[0].centre_hz)).into_iter();
                found.map(move |jump| PhaseJump { at_s: tone.stretch.from_s + jump.at_s, ..jump })
            })
            .collect();
        let mut speeds: Vec<(f64, f64, f64)> = played
            .tones()
            .filter(|(_, tone)| tone.hz > 300.0)
            .map(|(part, tone)| (part.start_s, part.length_s, tone.tone.hz / tone.hz))
            .collect();
        let mut wow_percent = None;
        if let Some(FlutterTone { part, hz, found, bands, .. }) = played.flutter() {
            speeds.extend(mean_hz(bands).map(|mean_hz| (part.start_s, part.length_s, mean_hz / hz)));
            wow_percent = found.and_then(|flutter| flutter.wow_rms_percent);
        }
        let mut torn = tears(&played.alignment.slates, played.timeline, &speeds, wow_percent);
        torn.extend(played.alignment.map.torn().iter().map(|torn| Torn {
            from_s: torn.from_s,
            to_s: torn.to_s,
            missing_s: torn.missing_s,
            left_out: true,
        }));
        torn.sort_by(|a, b| a.from_s.total_cmp(&b.from_s));
        let switch = switch(played);
        torn.retain(|torn| {
            switch.is_none_or(|switch| torn.from_s > switch.from_s || torn.to_s < switch.to_s)
        });
        Self { torn, phase_jumps, switch }
    }

    /// Whether time jumps beside `part`.
    pub fn tear(&self, part: &PlacedPart, played: &Played<'_>) -> bool {
        let at_s = played.alignment.map.to_return(part.start_s + part.length_s / 2.0);
        self.torn.iter().any(|torn| at_s > torn.from_s && at_s < torn.to_s)
    }
}

/// From the slate before the switch to the one behind it.
fn switch(played: &Played<'_>) -> Option<Torn> {
    let [before, behind] = played.timeline.monitor_switch()?;
    let alignment = played.alignment;
    let at_s = alignment.map.to_return((before.start_s + before.length_s + behind.start_s) / 2.0);
    let from = alignment.slates.iter().rev().find(|slate| slate.start_s < at_s)?;
    let to = alignment.slates.iter().find(|slate| slate.start_s > at_s)?;
    Some(Torn { from_s: from.start_s, to_s: to.start_s, missing_s: 0.0, left_out: false })
}
