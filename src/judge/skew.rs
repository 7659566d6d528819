//! What ordinary music says of azimuth, in words.

use crate::reading::figures::UnitKind;
use crate::reading::{SkewConsensus, SkewContent, SkewReading, SkewTape};

/// Fills in every `why`, `says` and `turn` from the figures.
pub fn judge_skew(reading: &mut SkewReading) {
    for tape in &mut reading.tapes {
        tape.why = why(tape);
    }
    let turned = turn(&reading.consensus);
    reading.consensus.says = says(reading);
    reading.consensus.turn = turned;
}

fn why(tape: &SkewTape) -> String {
    let text = match (tape.content, tape.common_uncertainty_us) {
        (SkewContent::Mono, _) => {
            "one programme on both tracks, each with its own hiss: the best case. A delay that was in the programme before it \
             was recorded does not show"
        }
        (SkewContent::PartlyCommon, Some(common_us)) => {
            let agreeing = tape.agreeing_percent.unwrap_or(0.0);
            let mut text = format!(
                "stereo; {agreeing:.0} % of what is common to both channels agrees on one delay, known to {}. A \
                 production may delay a channel by itself, which no signal shows: that is in the uncertainty",
                UnitKind::Microseconds.of(common_us, common_us)
            );
            if tape.outlier {
                text += OUTLYING;
            }
            return text;
        }
        (SkewContent::PartlyCommon | SkewContent::Wide, _) => {
            "too little is common to both channels, or it agrees on no one delay: wide stereo, spaced microphones, effects. \
             Take speech, a voice in the middle, or a mono recording"
        }
        (SkewContent::OneTrackDoubled, _) => {
            "both channels are one track, even the hiss is the same (a mono switch, a mono head, or one channel copied): \
             nothing of azimuth is in it. Record both tracks, left and right apart"
        }
        (SkewContent::MonoFile, _) => "the file has one channel. Record in stereo, left and right apart",
        (SkewContent::OneChannel, _) => {
            "one channel carries next to nothing. Look at leads, plugs and the sound card's input, and record again"
        }
        (SkewContent::Silence, _) => {
            "both channels carry next to nothing. Set the sound card's input higher, and record again"
        }
        (SkewContent::TooShort, _) => {
            "it is too short. Record a minute or more of each tape, and never less than 10 s"
        }
        (SkewContent::Unclear, _) => {
            "one programme on both tracks, but too noisy, too narrow in band, or with channels too different in response \
             for a delay. Record more of the tape, or take a better one"
        }
    };
    let outlying = if tape.outlier { OUTLYING } else { "" };
    format!("{text}{outlying}")
}

const OUTLYING: &str = ". It differs from the other tapes and was left out: its recorder was set differently, or its \
production has a delay of its own";

fn says(reading: &SkewReading) -> String {
    let all = &reading.consensus;
    let (Some(delay_us), Some(uncertainty_us), Some(angle), Some(angle_uncertainty)) =
        (all.delay_us, all.uncertainty_us, all.angle_arcmin, all.angle_uncertainty_arcmin)
    else {
        return "no tape is usable, so nothing can be said of this deck's azimuth".to_owned();
    };
    let basis = match all.tapes {
        1 => format!(
            "one tape alone: how far its recorder was off is not known. Recorders differ by {} (standard deviation; common \
             practice, no source), and the uncertainty holds that. Take more tapes, from other recorders",
            UnitKind::Microseconds.of(all.recorders_us, None)
        ),
        n => format!(
            "relative to the mean of {n} tapes' recorders, whose spread is in the uncertainty; tapes from one recorder \
             count as one"
        ),
    };
    let lags = if delay_us > 0.0 { "lags" } else { "leads" };
    let head = if delay_us.abs() > uncertainty_us {
        let cost = all.loss_at_10k_db.map_or(String::new(), |db| {
            format!(", which costs {} at 10 kHz in each channel", UnitKind::Db.of(-db, None))
        });
        format!(
            "the right channel {lags} by more than the uncertainty: the playback head is tilted by {}{cost}",
            UnitKind::ArcMinutes.of(angle, angle_uncertainty).signed().full()
        )
    } else {
        format!(
            "no tilt is shown: {}. The head is upright within that uncertainty",
            UnitKind::ArcMinutes.of(angle, angle_uncertainty).signed().full()
        )
    };
    format!("{head}; {basis}")
}

fn turn(all: &SkewConsensus) -> Option<String> {
    let (delay_us, uncertainty_us) = (all.delay_us?, all.uncertainty_us?);
    if delay_us.abs() <= uncertainty_us {
        return None;
    }
    Some(
        "note how the azimuth screw of the playback head stands. Turn it a little and record one of the tapes again. Go on \
         that way if its delay comes nearer to 0 us, else turn back: no figure says the way beforehand. If the deck records, \
         set its recording azimuth afterwards"
            .to_owned(),
    )
}
