//! What was odd about a return, in words that say what to do.

use super::faults::faults;
use super::recording::FileFacts;
use crate::capture::{Alignment, Scan};
use crate::measure::Measured;
use crate::reading::figures::{UnitKind, frequency};
use crate::reading::{self, Facts, Origin, RecordedOn, Warning, WarningId};
use crate::trade::sound_card::top_hz;

/// Why no slate was found, as far as the recording shows.
pub(super) fn no_slate_why(scan: &Scan, reading: &Facts) -> String {
    let peak = scan.health.iter().map(|health| health.peak).fold(0.0, f64::max);
    if let Some(broken) = broken_signal(scan) {
        broken
    } else if peak < 1e-4 {
        "the recording is silent (peak below -80 dBFS); check cables, input and level".into()
    } else if peak < 0.005 {
        "the recording is very quiet (peak below -46 dBFS); check cables, input and level".into()
    } else if reading.capture.duration_s < 4.0 {
        format!("the recording is only {:.1} s long", reading.capture.duration_s)
    } else if scan.chirps.iter().map(Vec::len).sum::<usize>() > 20 {
        "this is not a Deckproof programme, or too little of one".into()
    } else {
        "this is not a Deckproof programme".into()
    }
}

/// Why nothing is heard of a recording whose samples are no numbers; `None` if they are, or something is heard.
pub(super) fn broken_signal(scan: &Scan) -> Option<String> {
    let silent = scan.health.iter().all(|health| health.peak < 1e-4);
    (silent && scan.broken_samples > 0).then(|| {
        format!(
            "{} of its samples are no numbers, or absurdly large ones: the file is damaged, or its header names another \
             kind of samples than it holds; save it anew from the program that recorded it",
            scan.broken_samples
        )
    })
}

/// Says that samples were no numbers, if some were.
pub(super) fn broken_samples(scan: &Scan) -> Option<Warning> {
    (scan.broken_samples > 0).then(|| {
        Warning::new(
            WarningId::BrokenSamples,
            format!(
                "{} samples of the file are no numbers, or absurdly large ones; they were read as silence. The program \
                 that wrote the file damaged it: record again, with 24 bit samples.",
                scan.broken_samples
            ),
        )
    })
}

/// A channel in which more than this of the other stands is not its own, as a ratio of amplitude: -26 dB. Decks separate by 30 dB and
/// more (common practice, no source).
const MOST_LEAK: f64 = 0.05;
/// Samples that stand off zero by more than this leave less room on one side, full scale 1.
const MOST_OFFSET: f64 = 0.05;
/// More clicks than this are said.
const MOST_CLICKS: u64 = 2;

/// What the samples themselves show, whatever is in them.
pub(super) fn samples_warnings(scan: &Scan) -> Vec<Warning> {
    let clicks = scan.clicks();
    let offset = scan.health.iter().map(|health| health.offset.abs()).fold(0.0, f64::max);
    // The corners of clipped tones are none.
    let clipped = scan.health.iter().any(|health| health.top.is_some());
    let clicks = (clicks > MOST_CLICKS && !clipped).then(|| {
        Warning::new(
            WarningId::Clicks,
            format!(
                "The return holds {clicks} clicks of a few samples: a bad contact, static, or buffers that ran over. Noise is \
                 not stated, and levels near the clicks may be wrong. Check plugs and leads, choose a larger buffer, and \
                record again."
            ),
        )
    });
    let offset = (offset > MOST_OFFSET).then(|| {
        Warning::new(
            WarningId::Offset,
            format!(
                "The samples stand off zero by {:.0} % of full scale: the sound card or the deck's output has an offset. It \
                 takes room from the level on one side. Measure the deck's output for direct voltage, then look at the \
                 sound card.",
                100.0 * offset
            ),
        )
    });
    let coarse = scan.is_coarse().then(|| {
        Warning::new(
            WarningId::CoarseSamples,
            "The samples have no more than 8 bit, whatever the file's format: quiet tones, phase, distortion and noise are \
             lost in their steps. Record again with 16 or 24 bit.",
        )
    });
    clicks.into_iter().chain(offset).chain(coarse).collect()
}

/// Adds a warning for everything odd about the return.
pub(super) fn warn(reading: &mut Facts, alignment: &Alignment, facts: &FileFacts, measured: &Measured) {
    let wiring = alignment.wiring;
    let mut add = |id: WarningId, text: String| reading.warnings.push(Warning::new(id, text));
    let [left, right] = reading.capture.clipped_samples;
    if left + right > 0 {
        add(
            WarningId::Clipped,
            format!(
                "{left} samples on the left and {right} on the right are clipped: the recording was clipped. \
                 Levels, response near them and distortion are wrong. Lower the sound card's input and record again."
            ),
        );
    }
    let loudest = alignment.slates.iter().flat_map(|slate| slate.amplitude).fold(0.0, f64::max);
    if loudest > 0.0 && loudest < 0.01 {
        add(
            WarningId::TooQuiet,
            format!(
                "The programme's reference level came back at only {:.0} dBFS: the sound card's own noise is in the \
                 way. Raise its input level until the level tone stands near -12 dBFS.",
                20.0 * loudest.log10()
            ),
        );
    }
    if wiring.mono {
        add(
            WarningId::Mono,
            "Both channels carry one and the same signal (or the file has one channel): nothing can be said of the \
             right channel, of channel differences or of azimuth. Check that the recording is in stereo and that no \
             mono switch or adaptor is in the way."
                .into(),
        );
    }
    let rate_hz = reading.capture.rate_hz * alignment.clock.rate();
    if top_hz(rate_hz).is_finite() {
        add(
            WarningId::LowRate,
            format!(
                "The file has only {rate_hz:.0} samples a second: above {} the capture's own filter is in the way. Nothing is \
                 stated of what lies there, or needs it. Record at 44100 Hz or more.",
                frequency(top_hz(rate_hz))
            ),
        );
    }
    let leak = wiring.leaks[0].max(wiring.leaks[1]);
    if !wiring.mono && leak > MOST_LEAK {
        add(
            WarningId::Crossfeed,
            format!(
                "The channels are mixed into each other: of a chirp on one channel alone, {} came back on the other. A \
                 sound card's enhancement (widening, crossfeed) does that, or a cable or adaptor that joins the channels; a \
                 playback head that bad is worn out. Levels, response, azimuth and noise of each channel are not its own.",
                UnitKind::Db.of(20.0 * leak.log10(), 1.0)
            ),
        );
    }
    if wiring.flips {
        add(
            WarningId::PolarityFlips,
            "The channels are of one polarity in some slates and of opposite polarity in others: a loose lead, or an edited \
             file. No azimuth is stated. Look at plugs and leads, and record again."
                .into(),
        );
    }
    if wiring.swapped {
        add(
            WarningId::Swapped,
            "Left and right were exchanged somewhere between player and sound card; the reading has it undone. \
             Check the cables before trusting which channel is which."
                .into(),
        );
    }
    match wiring.inverted {
        [false, false] => {}
        [true, true] => add(
            WarningId::Inverted,
            "Both channels came back with inverted polarity. Many decks do that; it is no fault in itself."
                .into(),
        ),
        [left, _] => add(
            WarningId::Inverted,
            format!(
                "The {} channel came back with inverted polarity against the other; the reading has it undone. \
                 Look for a balanced cable wired the wrong way, or a head wired backwards.",
                if left { "left" } else { "right" }
            ),
        ),
    }
    if alignment.cut_start {
        add(
            WarningId::CutStart,
            "The recording began after the programme did; the parts before it are missing. Start recording first, \
             then the tape."
                .into(),
        );
    }
    if alignment.cut_end {
        let why = if facts.cut_short {
            " The file was not closed properly: the recorder was interrupted."
        } else {
            ""
        };
        add(
            WarningId::CutEnd,
            format!("The recording ended before the programme did; the parts after it are missing.{why}"),
        );
    }
    let rate = alignment.clock.rate();
    if rate != 1.0 {
        let header = reading.capture.rate_hz;
        add(
            WarningId::RateMismatch,
            format!(
                "The file says {header:.0} Hz, but the programme in it runs as if recorded at {:.0} Hz: player and \
                 recorder disagree on the sample rate. It was measured as {:.0} Hz; set both to one rate and record \
                 again to be sure of the speed.",
                header * rate,
                header * rate
            ),
        );
    }
    if !measured.facts.dropouts.is_empty() {
        let deepest = measured.facts.dropouts.iter().map(|d| d.depth_db).fold(0.0, f64::max);
        let left_out = match measured.facts.dropouts.len() {
            1 => format!("1 dropout in the steady tones, {deepest:.0} dB deep. It was"),
            count => format!("{count} dropouts in the steady tones, the deepest {deepest:.0} dB. They were"),
        };
        add(
            WarningId::Dropouts,
            format!("{left_out} left out of the levels. Clean heads and tape path, or use a better tape."),
        );
    }
    if let Some(mains) = measured.facts.noise.as_ref().and_then(|noise| noise.mains.as_ref())
        && mains.hum_db.iter().flatten().any(|&db| db > -55.0)
    {
        add(
            WarningId::Hum,
            format!(
                "The silent part holds hum of the {:.0} Hz mains. It may change levels at low frequencies. {}",
                mains.nominal_hz.unwrap_or(mains.hz),
                match mains.origin {
                    Origin::Recorded =>
                        "It lies on the tape: look where it was recorded, for a ground loop first.",
                    _ => "Look for a ground loop between deck and computer first.",
                }
            ),
        );
    }
    in_rounds(reading, &measured.facts);
    reading.warnings.extend(tape_heard(reading, &measured.facts));
    reading.warnings.extend(measured.evidence.warnings.iter().cloned());
    let faults = faults(reading, &measured.evidence);
    reading.warnings.extend(faults);
}

/// More weighted rms flutter than a chain without a tape has, percent: player and recorder leave some millionths.
const TAPE_FLUTTER_PERCENT: f64 = 0.01;
/// Further from each other no two clocks run, percent; a sample rate taken for another is told apart before.
const CLOCKS_PERCENT: f64 = 0.2;

/// Says that there was a tape where none was told.
fn tape_heard(reading: &Facts, measured: &reading::Measured) -> Option<Warning> {
    let told = match reading.circumstances.recorded_on? {
        RecordedOn::Loopback => "a loopback capture",
        RecordedOn::Injected => "injected",
        _ => return None,
    };
    let mut heard = Vec::new();
    let flutter = measured.flutter.as_ref().and_then(|flutter| flutter.weighted_rms_percent);
    if let Some(percent) = flutter.filter(|&percent| percent > TAPE_FLUTTER_PERCENT) {
        heard.push(format!("weighted flutter of {} rms", UnitKind::Percent.of(percent, None)));
    }
    let speed = measured.speed.as_ref().map(|speed| speed.error_percent);
    if let Some(percent) = speed.filter(|percent| percent.abs() > CLOCKS_PERCENT) {
        heard.push(format!("a speed error of {}", UnitKind::SpeedPercent.of(percent, None)));
    }
    (!heard.is_empty()).then(|| {
        Warning::new(
            WarningId::TapeHeard,
            format!(
                "It was told that no tape was in the chain ({told}), but {} says that one was. All figures of deck and sound \
                 card hold the tape, too. Read it again, and say whose recording it is.",
                heard.join(" and ")
            ),
        )
    })
}

/// What was odd about jobs in rounds.
fn in_rounds(reading: &mut Facts, measured: &reading::Measured) {
    let moved: Vec<String> = measured
        .rounds
        .iter()
        .filter_map(|round| Some(format!("round {}: {}", round.round, round.moved.as_ref()?)))
        .collect();
    if !moved.is_empty() {
        reading.warnings.push(Warning::new(
            WarningId::TurnedInTone,
            format!(
                "A level moved while a tone sounded ({}). The tone is stated from its steady stretch, and tones of another \
                 setting in that round are not stated. Turn only in the silence and the chirps; if nothing was turned, look \
                 for a loose contact, or a tape that leaves the head.",
                moved.join("; ")
            ),
        ));
    }
    // Where no deck is in the chain there is nothing to switch.
    if matches!(reading.circumstances.recorded_on, Some(RecordedOn::Loopback | RecordedOn::Injected)) {
        return;
    }
    if measured.noise_reduction.as_ref().is_some_and(|found| found.switched == Some(false)) {
        reading.warnings.push(Warning::new(
            WarningId::NoiseReductionNotSwitched,
            "Both halves are the same, noise included: noise reduction was in or out in both of them, or it does nothing. \
             Switch it in at the pause, with two heads in recording and again in playback.",
        ));
    }
    if measured.bias_sweep.as_ref().is_some_and(|sweep| sweep.steps.len() > 2 && sweep.rising.is_none()) {
        reading.warnings.push(Warning::new(
            WarningId::BiasNotStepped,
            "The treble moved by less than 1 dB from the first round to the last, or the channels against each other: the \
             bias was not stepped. Turn the bias of both channels the same way, one step a round, and record again.",
        ));
    }
}
