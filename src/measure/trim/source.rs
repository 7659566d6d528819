//! The stretch with the monitor switch at SOURCE, and whether the rounds behind it are off the tape.
//!
//! The tape is heard later than the source, by the way from the record head to the playback head: at least half a millimetre,
//! which takes some 10 ms. Slates on both sides of the switch show it. The hiss of the tape is the second witness.

use crate::capture::Alignment;
use crate::measure::trim::pause_noise::PauseNoise;
use crate::programme::{PlacedPart, Signal, Timeline};
use crate::reading::{BiasPair, MonitorSwitch, Pair, Round, SourceStretch, SourceTone, minus};

/// More than this is a way between two heads, ms.
const BETWEEN_HEADS_MS: f64 = 12.0;
/// Less than this is none, ms.
const SAME_PLACE_MS: f64 = 4.0;
/// Noise that changes by less than this is the same, dB; by more than [`TAPE_NOISE_DB`] it is that of a tape.
const SAME_NOISE_DB: f64 = 1.0;
const TAPE_NOISE_DB: f64 = 3.0;

/// The stretch at SOURCE; `None` without tones there. `noise` is that at SOURCE and behind the switch.
pub(crate) fn source(
    alignment: &Alignment,
    timeline: &Timeline,
    tones: Vec<SourceTone>,
    noise: [Option<PauseNoise>; 2],
) -> Option<SourceStretch> {
    let at_s = tones.first()?.at_s;
    let [noise_dbfs, behind_noise_dbfs] =
        noise.map(|noise| -> Pair { [0, 1].map(|channel| noise?.dbfs(channel)) });
    let behind_ms = behind_ms(alignment, timeline);
    let rise = minus(behind_noise_dbfs, noise_dbfs);
    Some(SourceStretch {
        at_s,
        monitor: monitor(behind_ms, rise),
        behind_ms,
        noise_dbfs,
        behind_noise_dbfs,
        tones,
    })
}

/// By how much what follows the switch is heard later than what stands before it, ms.
fn behind_ms(alignment: &Alignment, timeline: &Timeline) -> Option<f64> {
    let [before, behind] = timeline.monitor_switch()?;
    let at_s = |part: &PlacedPart| {
        let Signal::Slate { index } = part.signal else { return None };
        Some(alignment.slates.iter().find(|slate| slate.slate.index == index)?.start_s)
    };
    // The clock of what stands before the switch: at the source no tape runs in it.
    let first = timeline.parts.iter().find(|part| matches!(part.signal, Signal::Slate { .. }))?;
    let ratio = (before.start_s - first.start_s) / (at_s(before)? - at_s(first)?);
    let expected_s = (behind.start_s - before.start_s) / ratio;
    let behind_ms = 1000.0 * (at_s(behind)? - at_s(before)? - expected_s);
    behind_ms.is_finite().then_some(behind_ms)
}

fn monitor(behind_ms: Option<f64>, noise_rises_db: Pair) -> MonitorSwitch {
    let rises = |by: &dyn Fn(f64) -> bool| noise_rises_db.into_iter().flatten().any(by);
    let same_noise = !rises(&|db| db.abs() > SAME_NOISE_DB);
    match behind_ms {
        Some(ms) if ms > BETWEEN_HEADS_MS => MonitorSwitch::Switched,
        Some(ms) if ms < -BETWEEN_HEADS_MS => MonitorSwitch::OtherWayRound,
        Some(ms) if ms.abs() < SAME_PLACE_MS && same_noise => MonitorSwitch::NotSwitched,
        None if rises(&|db| db > TAPE_NOISE_DB) => MonitorSwitch::Switched,
        None if rises(&|db| db < -TAPE_NOISE_DB) => MonitorSwitch::OtherWayRound,
        _ => MonitorSwitch::CannotTell,
    }
}

/// Gain at the source of a tone and its expanded uncertainty, dB.
fn gain(source: &SourceStretch, hz: f64, channel: usize) -> Option<(f64, f64)> {
    let tone = source.tones.iter().find(|tone| tone.hz == hz)?;
    tone.gain_db[channel].zip(tone.uncertainty_db[channel])
}

fn less(of: &mut Option<f64>, uncertainty: Option<&mut Option<f64>>, source: Option<(f64, f64)>) {
    *of = of.zip(source).map(|(db, source)| db - source.0);
    if let Some(uncertainty) = uncertainty {
        *uncertainty = uncertainty.zip(source).map(|(own, source)| own.hypot(source.1));
    }
}

/// Makes the gains of rounds those of the tape against the source, if the monitor was switched.
pub(crate) fn hold_against(source: &SourceStretch, rounds: &mut [Round], pairs: &mut [BiasPair]) {
    if source.monitor != MonitorSwitch::Switched {
        return;
    }
    for round in rounds {
        for channel in 0..2 {
            let at = round.level_hz.and_then(|hz| gain(source, hz, channel));
            less(&mut round.level_db[channel], Some(&mut round.level_uncertainty_db[channel]), at);
        }
        round.level_difference_db =
            round.level_db[0].zip(round.level_db[1]).map(|(left, right)| left - right);
    }
    for pair in pairs {
        for channel in 0..2 {
            let (low, high) = (gain(source, pair.low_hz, channel), gain(source, pair.high_hz, channel));
            less(&mut pair.low_db[channel], None, low);
            less(&mut pair.high_db[channel], None, high);
            let both = low.zip(high).map(|(low, high)| (high.0 - low.0, low.1.hypot(high.1)));
            less(&mut pair.difference_db[channel], Some(&mut pair.uncertainty_db[channel]), both);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn both_witnesses_must_agree_that_nothing_was_switched() {
        use MonitorSwitch::{CannotTell, NotSwitched, OtherWayRound, Switched};
        let quiet = [Some(0.1), Some(-0.2)];
        let hiss = [Some(14.0), None];
        let cases = [
            (Some(170.0), hiss, Switched),
            (Some(170.0), [None; 2], Switched),
            (Some(0.3), quiet, NotSwitched),
            (Some(-0.3), [None; 2], NotSwitched),
            // Something else changed between the two.
            (Some(0.3), hiss, CannotTell),
            (Some(8.0), quiet, CannotTell),
            (Some(-170.0), [Some(-14.0), Some(-12.0)], OtherWayRound),
            (None, hiss, Switched),
            (None, [Some(-14.0), None], OtherWayRound),
            (None, quiet, CannotTell),
        ];
        for (behind_ms, rise_db, want) in cases {
            assert_eq!(monitor(behind_ms, rise_db), want, "{behind_ms:?} {rise_db:?}");
        }
    }
}
