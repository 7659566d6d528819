//! What must be said of a return without slates: why nothing was believed, and what was assumed.

use super::unslated::{Listened, UnslatedOptions};
use super::warnings::broken_signal;
use crate::capture::{BetweenKind, Heard, HeardTone, NamedBy, Names, Scan, of_one_tone};
use crate::measure::Measured;
use crate::programme::Track;
use crate::reading::{Warning, WarningId};
use crate::trade::test_tapes::{ERAS_16K_DB, FRINGING_BELOW_HZ, MOST_SPEED_ERROR_PERCENT};

/// Most frequencies that one sentence lists.
const MOST: usize = 6;
/// A lone tone that is shorter than this may be a held note, s.
const LONE_S: f64 = 8.0;
/// A tape of leaders and data has so many frequencies at most.
const MOST_LEADERS: usize = 2;
/// A sweep without tones spans so many octaves, or it is a glide of something else.
const SWEEP_OCTAVES: f64 = 3.0;

fn hz(value: f64) -> String {
    format!("{:.0} Hz", value)
}

fn places(tones: &[HeardTone]) -> String {
    let shown: Vec<String> = tones
        .iter()
        .take(MOST)
        .map(|tone| format!("{} at {:.1} s", hz(tone.hz), tone.heard.from_s))
        .collect();
    let more = tones.len().saturating_sub(MOST);
    if more > 0 { format!("{} and {more} more", shown.join(", ")) } else { shown.join(", ") }
}

/// Why the tones are not believed to be a test recording's; `None` if they are.
pub(super) fn disbelieved(
    heard: &Heard,
    names: &Names,
    unslated: &UnslatedOptions,
    scan: &Scan,
    duration_s: f64,
) -> Option<String> {
    let peak = scan.health.iter().map(|health| health.peak).fold(0.0, f64::max);
    let by = |whose: NamedBy| names.names.iter().flatten().filter(|name| name.by == whose).count();
    if let Some(known) = unslated.known.filter(|_| by(NamedBy::Known) == 0) {
        return Some(format!(
            "no steady tone within {MOST_SPEED_ERROR_PERCENT} % of {} Hz was found; name the pitch of a tone that sounds for \
             two seconds or more",
            known.hz
        ));
    }
    let wide = |k: &crate::capture::Glide| (k.to_hz / k.from_hz).log2().abs() > SWEEP_OCTAVES;
    if by(NamedBy::Known) > 0
        || heard.tones.is_empty() && heard.sweeps.iter().any(|sweep| sweep.even && wide(sweep))
    {
        return None;
    }
    if heard.tones.is_empty() {
        if let Some(broken) = broken_signal(scan) {
            return Some(broken);
        }
        return Some(match () {
            () if peak < 1e-4 => "the recording is silent (peak below -80 dBFS); check cables, input and level".into(),
            () if duration_s < 2.0 => format!("the recording is only {duration_s:.1} s long; record the whole tape"),
            () if !heard.impure.is_empty() => format!(
                "what is steady has other sounds beside it, or no even level, as notes and data have ({}); if the pitch of one \
                 is known, give it with --known-hz",
                places(&heard.impure)
            ),
            () => "nothing in it is steady: speech, music or noise; record a tape with test tones of two seconds or more"
                .into(),
        });
    }
    // A line at the mains frequency, and nothing else.
    let hum = |tone: &HeardTone| {
        [50.0, 60.0].iter().any(|mains| {
            let order = (tone.hz / mains).round();
            (1.0..=6.0).contains(&order) && (tone.hz - order * mains).abs() < 0.3 * order
        })
    };
    if heard.sweeps.is_empty() && heard.tones.iter().all(hum) {
        return Some(format!(
            "only hum of the mains was ({}); check the tape and the cables",
            places(&heard.tones)
        ));
    }
    let named = names.agreeing();
    let tones_s: f64 = heard.tones.iter().map(|tone| tone.heard.length_s()).sum();
    // Leaders of data may have any frequency, but they have one or two; data keeps its level.
    let leaders = of_one_tone(heard.tones.iter().map(|tone| tone.hz)).len() <= MOST_LEADERS;
    let others = heard.between.iter().filter(|between| between.kind == BetweenKind::Other);
    let other_s: f64 =
        others.map(|other| if leaders { other.moving_s } else { other.stretch.length_s() }).sum();
    let longest_s = heard.tones.iter().map(|tone| tone.heard.length_s()).fold(0.0, f64::max);
    let remedy =
        "if they are test tones, name their frequencies in a file (--tape), or one of them with --known-hz";
    if named * 5 < heard.tones.len() * 3 && !leaders {
        return Some(format!(
            "steady tones were found ({}), but no speed error makes them usual test tones; {remedy}",
            places(&heard.tones)
        ));
    }
    // One or two notes that are held by chance at a usual frequency, in the midst of music.
    if named < 4 && !heard.sweeps.iter().any(wide) && longest_s < LONE_S && other_s > 1.5 * tones_s {
        return Some(format!(
            "only {} between much else, which may be music; {remedy}",
            if named == 1 {
                format!("one steady tone ({})", places(&heard.tones))
            } else {
                format!("few steady tones ({})", places(&heard.tones))
            },
        ));
    }
    None
}

/// What was assumed, and what the tape itself leaves open.
pub(super) fn remarks(listened: &Listened, measured: &Measured, slates: usize) -> Vec<Warning> {
    let mut remarks = vec![no_slate(listened)];
    if slates > 0 {
        remarks.push(Warning::new(
            WarningId::SlatesThere,
            format!(
                "{slates} slates were found in this return: it carries a programme of Deckproof. Read it without --unslated; \
                 that is surer and tells more."
            ),
        ));
    }
    remarks.extend(guessed(listened));
    remarks.extend(levels(listened, measured));
    remarks.extend(tape(listened));
    remarks.extend(recording(listened, measured));
    remarks
}

fn no_slate(listened: &Listened) -> Warning {
    let Listened { heard, names, .. } = listened;
    let count = |n: usize, what: &str| if n == 1 { format!("1 {what}") } else { format!("{n} {what}s") };
    let sweeps = if heard.sweeps.is_empty() {
        String::new()
    } else {
        format!(", {}", count(heard.sweeps.len(), "sweep"))
    };
    Warning::new(
        WarningId::NoSlate,
        format!(
            "Read without slates: {}{sweeps} were found by listening, {} of them at nominal frequencies. Left and right are \
             taken as they came; a swap of channels would not show.",
            count(heard.tones.len(), "steady tone"),
            names.agreeing(),
        ),
    )
}

fn guessed(listened: &Listened) -> Option<Warning> {
    let Listened { names, heard, .. } = listened;
    let guesses: Vec<f64> = names
        .names
        .iter()
        .flatten()
        .filter(|name| name.by == NamedBy::Guess)
        .map(|name| name.nominal_hz)
        .collect();
    if guesses.is_empty() {
        return None;
    }
    let anchored = names.agreeing() > guesses.len();
    let mut distinct = guesses.clone();
    distinct.sort_by(f64::total_cmp);
    distinct.dedup();
    let shown: Vec<String> = distinct.iter().map(|hz| format!("{hz}")).collect();
    let how = if anchored {
        "with the speed error that the known ones have".to_owned()
    } else {
        format!(
            "a speed error of {:+.2} % would make {} of {} tones usual ones",
            100.0 * (names.ratio - 1.0),
            names.agreeing(),
            heard.tones.len()
        )
    };
    let mut text = format!("Nominal frequencies are a guess ({} Hz): {how}.", shown.join(", "));
    if let Some(other) = names.rival.map(|rival| rival.ratio) {
        let first = heard
            .tones
            .iter()
            .zip(&names.names)
            .find_map(|(tone, name)| Some((tone.hz, (*name)?.nominal_hz)));
        if let Some((heard_hz, nominal_hz)) = first {
            text += &format!(
                " The tone heard at {heard_hz:.1} Hz is taken for {nominal_hz} Hz; it may as well be {:.0} Hz at a speed error \
                 of {:+.1} %.",
                heard_hz / other,
                100.0 * (other - 1.0)
            );
        }
    }
    let name_them = "name the tape's frequencies in a file (--tape), or one of them with --known-hz";
    if !names.tells_speed {
        text += &format!(" Speed cannot be told by it: {name_them}.");
    } else if !anchored {
        text += &format!(" Speed rests on it; {name_them}.");
    }
    Some(Warning::new(WarningId::NominalGuessed, text))
}

fn levels(listened: &Listened, measured: &Measured) -> Option<Warning> {
    let tones = &listened.served.tones;
    let ladder: Vec<f64> = tones.iter().filter(|tone| tone.response).map(|tone| tone.hz).collect();
    if ladder.is_empty() && tones.len() > 1 && measured.facts.response.is_none() {
        return Some(Warning::new(
            WarningId::NoLadder,
            "The tones do not make a ladder of equal level, so no response is stated. If the levels of the tones are known, \
             name them in the tape's file (--tape).",
        ));
    }
    if ladder.is_empty() || listened.served.levels_told {
        return None;
    }
    Some(Warning::new(
        WarningId::LevelsAssumed,
        format!(
            "The {} tones of the ladder are taken to be recorded at one level (beside what the tape's file corrects); their level \
             in the programme is stated as it came back, against the level tone.",
            ladder.len()
        ),
    ))
}

fn tape(listened: &Listened) -> Vec<Warning> {
    let values = listened.values;
    let mut remarks = Vec::new();
    if values.eras_disagree() {
        remarks.push(Warning::new(
            WarningId::NoCertificate,
            format!(
                "The tape has no certificate, or its corrections were not given: reference tapes of different makes and years \
                 disagree by up to {ERAS_16K_DB} dB at 16 kHz (common practice). That is in the uncertainty of the response; \
                 give the certificate's values with --tape."
            ),
        ));
    }
    if let Some((recorded, played)) = values.switched() {
        remarks.push(Warning::new(
            WarningId::EqualisationConverted,
            format!(
                "The tape is recorded for {} and was played back at {}: by IEC 60094-1 the difference was subtracted from the response.",
                recorded.name(),
                played.name()
            ),
        ));
    }
    let Some(file) = values.file else { return remarks };
    if file.track == Some(Track::Full) {
        let low: Vec<String> = listened
            .served
            .tones
            .iter()
            .filter(|tone| tone.response && tone.hz < FRINGING_BELOW_HZ)
            .map(|tone| format!("{}", tone.hz))
            .collect();
        let which = if low.is_empty() { String::new() } else { format!(" ({} Hz)", low.join(", ")) };
        remarks.push(Warning::new(
            WarningId::Fringing,
            format!(
                "The tape is recorded over its full width: below some {FRINGING_BELOW_HZ} Hz a narrower head takes in flux from \
                 beside its track and reads too much, by some decibels at the lowest tones{which}. Do not set the bass by them."
            ),
        ));
    }
    if let (Some(reference), Some(standard)) = (file.reference, values.deck_standard)
        && reference.against(&standard).1 > 0.0
    {
        remarks.push(Warning::new(
            WarningId::FluxStatementUnknown,
            "It is not known whether the flux of the tape and that of the deck's standard are stated short-circuit or \
             open-circuit: the two differ by 0.8 dB (200 and 220 nWb/m are one mark). That is in the uncertainty of the level.",
        ));
    }
    remarks
}

fn recording(listened: &Listened, measured: &Measured) -> Vec<Warning> {
    let Listened { heard, served, .. } = listened;
    let mut remarks = Vec::new();
    let unmeasured: Vec<String> = heard
        .sweeps
        .iter()
        .enumerate()
        .filter(|(k, _)| {
            served.sweep != Some(*k) || measured.facts.response.as_ref().is_none_or(|r| r.sweep.is_empty())
        })
        .map(|(_, sweep)| format!("{:.0} to {:.0} Hz at {:.1} s", sweep.from_hz, sweep.to_hz, sweep.from_s))
        .collect();
    if !unmeasured.is_empty() {
        remarks.push(Warning::new(
            WarningId::SweepUnmeasured,
            format!(
                "A sweep was found and not measured ({}): it does not move evenly in octaves per second, or it is not the \
                 longest one.",
                unmeasured.join("; ")
            ),
        ));
    }
    if let Some(first) = heard.tones.first().filter(|tone| tone.heard.from_s < 0.05) {
        remarks.push(Warning::new(
            WarningId::CutStart,
            format!("The recording begins within a tone ({}): what came before it is missing.", hz(first.hz)),
        ));
    }
    if let Some(last) = heard.tones.last().filter(|tone| tone.heard.to_s > served.alignment.duration_s - 0.05)
    {
        remarks.push(Warning::new(
            WarningId::CutEnd,
            format!("The recording ends within a tone ({}): what comes behind it is missing.", hz(last.hz)),
        ));
    }
    let loudest = heard.tones.iter().flat_map(|tone| tone.dbfs).fold(f64::NEG_INFINITY, f64::max);
    if loudest.is_finite() && loudest < -40.0 {
        remarks.push(Warning::new(
            WarningId::TooQuiet,
            format!(
                "The loudest tone came back at only {loudest:.0} dBFS: the sound card's own noise is in the way. Raise its input \
                 level until the level tone stands near -12 dBFS."
            ),
        ));
    }
    if served.silence.is_none() {
        remarks.push(Warning::new(
            WarningId::NoSilence,
            "No silence of two seconds or more lies between the tones, so no noise is stated: before the first and behind the \
             last there may be leader, or no tape.",
        ));
    }
    let alone = |side: usize| served.alignment.wiring.dead[side];
    if !served.alignment.wiring.mono && (alone(0) || alone(1)) {
        let side = if alone(0) { "left" } else { "right" };
        remarks.push(Warning::new(
            WarningId::DeadChannel,
            format!(
                "The {side} channel has none of the tones, or 24 dB less of them than the other: nothing is stated of it. Check its \
                 cable, then head and amplifier; a tape may carry one channel only."
            ),
        ));
    }
    remarks
}
