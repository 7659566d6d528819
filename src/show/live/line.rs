//! A picture as one line: of text, for a log or a screen reader, and of JSON, for another program.

use super::{azimuth, bias, response, said};
use crate::harmless::harmless;
use crate::reading::figures::UnitKind;
use crate::reading::{PhaseTurn, Picture, Shown};
use crate::show::json;
use crate::show::remedies::KNOWN_HZ;

/// Most characters of a line of text.
const COLUMNS: usize = 120;
/// With less room than this, the beginning of something says nothing.
const SHORTEST: usize = 20;

/// The picture in one line of text, which stands for itself: time, figure, verdict, what else must be known.
///
/// No escape codes, at most 120 characters, no line feed. What has no more room is left out, the least needed first.
pub fn plain_line(picture: &Picture) -> String {
    let mut line = format!("{}: ", said::clock(picture.at_s));
    let mut room = COLUMNS - line.chars().count();
    for (k, part) in parts(picture).into_iter().enumerate() {
        let text = if k == 0 { harmless(&part.text) } else { format!("; {}", harmless(&part.text)) };
        let length = text.chars().count();
        if length <= room {
            line += &text;
            room -= length;
        } else if part.must_be_said && room > SHORTEST {
            line.extend(text.chars().take(room - 3).chain("...".chars()));
            room = 0;
        }
    }
    line
}

/// The figures of the picture in words, for the job's file; `None` where there are none now.
pub fn kept_line(picture: &Picture) -> Option<String> {
    let figure = said::turned_and_judged(picture.figure.as_ref()?);
    let all = std::iter::once(figure).chain(of_view(picture)).filter(|text| !text.is_empty());
    Some(harmless(&all.collect::<Vec<_>>().join("; ")))
}

/// One thing that is said of a picture.
pub(super) struct Part {
    /// In words.
    pub text: String,
    /// Rather cut than left out.
    must_be_said: bool,
}

impl Part {
    fn must(text: String) -> Self {
        Self { text, must_be_said: true }
    }

    fn may(text: String) -> Self {
        Self { text, must_be_said: false }
    }
}

/// What is said of a picture without drawing it, the most needed first.
pub(super) fn parts(picture: &Picture) -> Vec<Part> {
    let mut parts = Vec::new();
    if let Some(figure) = &picture.figure {
        parts.push(Part::must(said::turned_and_judged(figure)));
    }
    if let Shown::Nothing { why } = &picture.shown {
        let why = why.trim_end_matches('.');
        parts.push(Part::must(format!("no figure of {} now: {why}", picture.view.as_str())));
    }
    let has_figure = !parts.is_empty();
    parts.extend(of_view(picture).into_iter().filter(|text| !text.is_empty()).map(Part::may));
    // What spoils the figure stands right behind it.
    let clipped = picture.meters.clipped.iter().zip(["left", "right"]).filter(|(clipped, _)| **clipped);
    let clipped = clipped.map(|(_, side)| format!("clipping {side}"));
    let troubles = picture.troubles.iter().map(|trouble| format!("trouble: {trouble}"));
    let wrong: Vec<Part> = clipped.chain(troubles).map(Part::must).collect();
    let place = usize::from(has_figure || !parts.is_empty());
    parts.splice(place..place, wrong);
    parts.push(Part::may(format!("playing: {}", said::playing(&picture.playing))));
    parts
}

/// What the view has beside its figure.
fn of_view(picture: &Picture) -> Vec<String> {
    let deviation = |value| said::deviation(UnitKind::Db, value, None);
    match &picture.shown {
        Shown::Nothing { .. } => Vec::new(),
        Shown::Azimuth(now) => {
            let turn = match now.turn {
                PhaseTurn::Known { .. } => String::new(),
                PhaseTurn::Unknown { .. } => "turn of phase not known".to_owned(),
            };
            vec![azimuth::leading(now).to_owned(), turn, format!("delay {}", azimuth::smaller(now))]
        }
        Shown::Level(now) => {
            let levels = said::both(now.dbfs, |value| said::told(UnitKind::Dbfs, value, None));
            let is_figure = picture.figure.as_ref().map(|figure| figure.value) == now.difference_db;
            let difference = format!("left minus right {}", deviation(now.difference_db));
            if is_figure { vec![levels] } else { vec![levels, difference] }
        }
        Shown::Bias(now) => {
            let each = now.high.iter().flat_map(|high| {
                let name = said::hertz(high.hz);
                let [left, right] = [0, 1].map(|channel| bias::past(high, channel));
                let difference = said::both(high.difference_db, deviation);
                [format!("{name}: {difference}"), format!("{name}: left {left}, right {right}")]
            });
            each.collect()
        }
        Shown::Speed(now) => {
            let untold = format!("frequency not told ({KNOWN_HZ}), so no error is stated");
            let untold = if now.nominal_is_known { String::new() } else { untold };
            let flutter = now.flutter.as_ref().and_then(|flutter| flutter.weighted_quasi_peak_percent);
            let flutter = said::figure(UnitKind::Percent, flutter, None);
            let flutter = flutter.map(|figure| format!("flutter weighted quasi-peak {figure}"));
            let hz = format!("tone reads {}", said::told(UnitKind::Hertz, Some(now.hz_1s), None));
            vec![hz, untold, flutter.unwrap_or_default()]
        }
        Shown::Response(now) => vec![response::place(now)],
        Shown::Noise(now) => vec![
            format!(
                "A-weighted {}",
                said::both(now.a_weighted_db, |value| said::told(now.unit(), value, None))
            ),
            format!("hum {}", said::both(now.hum_db, |value| said::told(now.unit(), value, None))),
        ],
    }
}

/// The picture as one line of JSON (`deckproof-live/1`), with a line feed at the end.
///
/// Text in it is harmless. A number that is NaN or infinite stands as `null`.
pub fn json_line(picture: &Picture) -> String {
    // Cannot fail: no map has keys other than strings, and no `Serialize` here is our own.
    json::harmless_json(&serde_json::to_string(picture).unwrap_or_default()) + "\n"
}
