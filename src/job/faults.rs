//! Faults of the recording that the meters found, in words that say what to do.

use crate::capture::{Alignment, FoundSlate};
use crate::measure::{Evidence, LevelDependence};
use crate::reading::{Facts, NoiseReduction, Warning, WarningId};

/// Warnings about what was done to the signal on its way into the file.
pub(super) fn faults(reading: &Facts, evidence: &Evidence) -> Vec<Warning> {
    let mut warnings = Vec::new();
    // Steps of 8 bit make holes and walls of their own.
    if !reading.warnings.iter().any(|warning| warning.id == WarningId::CoarseSamples) {
        warnings.extend(level_dependence(reading, evidence));
        warnings.extend(lossy(reading, evidence));
    }
    warnings.extend(time_jump(evidence));
    warnings.extend(not_running(evidence));
    warnings
}

fn not_running(evidence: &Evidence) -> Option<Warning> {
    let mut found = Vec::new();
    if let Some([from_s, to_s]) = evidence.ran_s {
        found.push(format!(
            "the flutter tone does not run through, and flutter and dropouts were read between {:.1} and {:.1} s only",
            from_s.seconds(),
            to_s.seconds()
        ));
    }
    if let Some(from_s) = evidence.lost_from_s {
        found.push(format!(
            "no slate was found behind {:.1} s though the return goes on, and what is read behind it is uncertain, noise \
             above all",
            from_s.seconds()
        ));
    }
    (!found.is_empty()).then(|| {
        Warning::new(
            WarningId::TapeNotRunning,
            format!(
                "The tape seems to have stopped, run down or come up late, or to have a long gap: {}. Make sure that the deck \
                 was not stopped. Then check take-up, brakes and the end of the tape, and record again.",
                found.join("; ")
            ),
        )
    })
}

fn level_dependence(reading: &Facts, evidence: &Evidence) -> Option<Warning> {
    let told = reading.circumstances.noise_reduction == NoiseReduction::On;
    let text = match evidence.level_dependence? {
        // Who said that it was on needs no advice to look.
        LevelDependence::Lowered(_) | LevelDependence::Lifted(_) if told => return None,
        LevelDependence::Lowered(db) => format!(
            "Quiet treble came back {db:.1} dB weaker than loud treble, low tones did not: noise reduction was on while \
             playing a tape that was recorded without it. Response, bias and noise are wrong. Switch it off, in the deck \
             and in the sound card's settings, and record again."
        ),
        LevelDependence::Lifted(db) => format!(
            "Quiet treble came back {db:.1} dB stronger than loud treble, low tones did not: the tape was recorded with \
             noise reduction and played back without. Response and bias are wrong. Switch it off while recording, and record \
             again."
        ),
        LevelDependence::Suppressed(db) => format!(
            "The silence is {db:.0} dB quieter than the noise beside a quiet tone: the sound card suppresses noise. Noise \
             figures are wrong, quiet tones may be. Switch noise suppression and every enhancement off in its settings, \
             and record again."
        ),
    };
    Some(Warning::new(WarningId::NoiseReductionOn, text))
}

fn lossy(reading: &Facts, evidence: &Evidence) -> Option<Warning> {
    // In clipping hiss has holes as well.
    let clipped = reading.capture.clipped_samples.iter().any(|&count| count > 0);
    let signs: Vec<&str> = evidence
        .lossy_signs
        .iter()
        .filter(|sign| !(clipped && sign.by_clipping))
        .map(|sign| sign.text.as_str())
        .collect();
    if signs.is_empty() {
        return None;
    }
    Some(Warning::new(
        WarningId::Lossy,
        format!(
            "The return went through lossy compression or a conversion that cut its treble: {}. Noise, treble, phase \
             and distortion are uncertain. Record to WAV at 44.1 kHz or more over a cable, without an app or a link that \
             compresses.",
            signs.join("; ")
        ),
    ))
}

fn time_jump(evidence: &Evidence) -> Option<Warning> {
    let mut found: Vec<String> = evidence
        .torn
        .iter()
        .map(|torn| {
            let what = if torn.missing_s > 0.0 { "are missing" } else { "are too much" };
            let left_out = if torn.left_out { " (nothing there was measured)" } else { "" };
            format!(
                "about {:.0} ms {what} between {:.1} and {:.1} s{left_out}",
                1000.0 * torn.missing_s.abs(),
                torn.from_s.seconds(),
                torn.to_s.seconds()
            )
        })
        .collect();
    let jumps = &evidence.phase_jumps;
    let sure = jumps.iter().filter(|jump| jump.sure).count();
    if let Some(first) = jumps.first() {
        let count = match jumps.len() {
            1 => "once".to_owned(),
            n => format!("{n} times"),
        };
        let how_sure = match sure {
            0 => "probably".to_owned(),
            n if n == jumps.len() => "surely".to_owned(),
            n => format!("{n} of them surely"),
        };
        let at_s = first.at_s.seconds();
        found.push(format!("the phase of the flutter tone jumps {count}, {how_sure}, first at {at_s:.2} s"));
    }
    let perhaps = if evidence.torn.is_empty() && sure == 0 { "probably " } else { "" };
    (!found.is_empty()).then(|| {
        Warning::new(
            WarningId::TimeJump,
            format!(
                "Samples were {perhaps}lost or came twice on the way into the file: {}. Speed leaves these places out. The highest \
                 peak of flutter is not stated. Other figures near them may be wrong. Close other programs, choose a larger \
                buffer, try another socket, and record again.",
                found.join("; ")
            ),
        )
    })
}

/// Says that the file holds the programme, or parts of it, more than once.
pub(super) fn several_takes(found: &[FoundSlate], alignment: &Alignment) -> Option<Warning> {
    let others = found
        .iter()
        .filter(|slate| slate.slate.code == alignment.slates.first().map_or(0, |used| used.slate.code))
        .filter(|slate| alignment.slates.iter().all(|used| used.start_s != slate.start_s))
        .count();
    let first_s = alignment.clock.at(alignment.slates.first()?.start_s).seconds();
    (others > 0).then(|| {
        Warning::new(
            WarningId::SeveralTakes,
            format!(
                "The file holds the programme, or parts of it, more than once: {others} slates belong to another playing. \
                 The fullest one was read, with its first slate at {first_s:.1} s. Cut the file if you meant another."
            ),
        )
    })
}
