//! The page of a reading: the summary, the report and the CSV files alike.

use super::brief;
use crate::judge::Limits;
use crate::judge::Reading;
use crate::reading::figures::UnitKind::{Dbfs, Microseconds, Seconds, SpeedPercent};
use crate::reading::figures::given;
use crate::reading::{CardUsed, QuantityMeaning, WarningId};
use crate::show::page::{Block, Kind, Page, Section};
use crate::show::remedies::with_options;
use crate::show::tables::{
    amplifier, causes, findings, flutter, found, level, noise, nonlinear, rounds, same_tape, separation,
    transport,
};
use crate::show::{Plot, words};
use crate::trade::{CAUTIONS, INJECTION_CAUTIONS, TRIMMER_CAUTIONS};

/// The page of `reading`; `plots` are drawn where pictures can be shown, and `limits` are named.
pub(in crate::show) fn reading_page(reading: &Reading, limits: Option<&Limits>, plots: Vec<Plot>) -> Page {
    let mut page = Page::new("Reading of", reading.capture.file.clone());
    head(&mut page, reading, limits);
    let sections = &mut page.sections;
    // What to do and what was found first; why, and all tables, behind the curves.
    sections.push(findings::work(reading));
    sections.push(brief::findings(&reading.findings));
    sections.extend(findings::not_judged(reading));
    sections.push(findings::warnings(&reading.warnings));
    if !plots.is_empty() {
        let curves = Section { kind: Kind::Curves, ..Section::new("Curves") };
        sections.push(plots.into_iter().fold(curves, |section, plot| section.block(Block::Plot(plot))));
    }
    sections.push(findings::findings(&reading.findings));
    measured(sections, reading);
    sections.push(meanings(&reading.meanings));
    let trimmers = if reading.rounds.is_empty() { &[] } else { &TRIMMER_CAUTIONS[..] };
    let open_deck = if reading.amplifier.is_some() { &INJECTION_CAUTIONS[..] } else { &[] };
    sections.push(Section::cautions(CAUTIONS.iter().chain(trimmers).chain(open_deck)));
    page
}

fn head(page: &mut Page, reading: &Reading, limits: Option<&Limits>) {
    let capture = &reading.capture;
    let made = reading.made.as_ref();
    // Who stops at the first screen must not take it for a deck's.
    let rehearsal = reading.warnings.iter().find(|warning| warning.id == WarningId::Rehearsal);
    page.fact("Rehearsal", rehearsal.map(|warning| warning.text.clone()));
    page.fact("Deck", made.and_then(|made| made.deck.clone()));
    page.fact("Read", made.map(|made| format!("{}, Deckproof {}", made.at, made.version)));
    page.fact("Job", made.and_then(|made| made.job.clone()));
    page.fact("Recipe", Some(words::recipe(reading)));
    page.fact("Circumstances", Some(words::circumstances(&reading.circumstances)));
    page.fact("Capture", Some(captured(reading)));
    page.fact("Limits", limits.map(|limits| limits.name.clone()));
    page.fact("Loopback", capture.loopback.as_ref().map(|file| format!("{file} (subtracted)")));
    page.fact("Card", reading.circumstances.card.as_ref().map(card));
}

/// Rate, depth, length and peaks of the return.
pub(super) fn captured(reading: &Reading) -> String {
    let capture = &reading.capture;
    let broken = reading.warnings.iter().any(|warning| warning.id == WarningId::BrokenSamples);
    let peaks = match capture.peak_dbfs {
        [None, None] if broken => "samples that are no numbers".to_owned(),
        [None, None] => "silent".to_owned(),
        peaks => {
            let each =
                peaks.map(|peak| peak.map_or("no signal".to_owned(), |peak| Dbfs.of(peak, None).number()));
            format!("peak left / right {} dBFS", each.join(" / "))
        }
    };
    let depth = if capture.depth == "float" { "float".to_owned() } else { format!("{} bit", capture.depth) };
    format!(
        "{} Hz, {depth}, {}; {peaks}; slates found: {}",
        capture.rate_hz,
        Seconds.of(capture.duration_s, None),
        capture.slates_found
    )
}

/// The card that was subtracted, in words.
fn card(card: &CardUsed) -> String {
    let mut off = Vec::new();
    off.extend((!card.level.is_empty()).then(|| "level".to_owned()));
    off.extend(card.response.then(|| "response".to_owned()));
    off.extend(card.delay_us.map(|us| format!("delay {}", Microseconds.of(us, None).signed())));
    off.extend(
        card.speed_percent.map(|percent| format!("speed {}", SpeedPercent.of(percent, None).signed())),
    );
    let tape = card.calibrated.tape.as_deref().unwrap_or("a calibrated tape, not told which");
    format!(
        "{} ({}), made {} from {tape}; played {} times before; subtracted: {}",
        card.name,
        card.file,
        card.made_at,
        given(f64::from(card.passes), 0),
        if off.is_empty() { "nothing".to_owned() } else { off.join(", ") }
    )
}

/// A section for everything that was measured.
fn measured(sections: &mut Vec<Section>, reading: &Reading) {
    let some = |is: bool, section: fn(&Reading) -> Section| is.then(|| section(reading));
    sections.extend(some(!reading.found.is_empty(), |reading| found::found(&reading.found)));
    sections.extend(reading.tape.as_ref().map(found::tape));
    sections.extend(reading.output.as_ref().map(level::output));
    sections.extend(some(!reading.level.is_empty(), |reading| level::level(&reading.level)));
    sections.extend(reading.response.as_ref().map(level::response));
    let reference_hz = reading.response.as_ref().map(|response| response.reference_hz);
    sections.extend(causes::causes(&reading.causes, &reading.unexplained, reference_hz));
    sections.extend(reading.amplifier.iter().flat_map(amplifier::amplifier));
    sections.extend(reading.azimuth.as_ref().map(level::azimuth));
    let has_slates = reading.found.is_empty();
    sections.extend(reading.speed.as_ref().map(|speed| transport::speed(speed, has_slates)));
    sections.extend(reading.flutter.as_ref().map(flutter::flutter));
    sections.extend(reading.same_tape.as_ref().map(same_tape::same_tape));
    sections.extend(reading.noise.as_ref().map(noise::noise));
    sections.extend(reading.distortion.as_ref().map(nonlinear::distortion));
    sections.extend(reading.intermodulation.as_ref().map(nonlinear::intermodulation));
    sections.extend(reading.saturation.iter().flat_map(nonlinear::saturation));
    sections.extend(reading.saturation.as_ref().and_then(|found| noise::at_high_levels(&found.noise)));
    sections
        .extend(some(!reading.separation.is_empty(), |reading| separation::separation(&reading.separation)));
    sections.extend(reading.erasing.as_ref().map(separation::erasing));
    sections.extend(some(!reading.rounds.is_empty(), |reading| {
        rounds::rounds(reading.source.as_ref(), &reading.rounds, &reading.bias)
    }));
    sections.extend(reading.bias_sweep.as_ref().map(rounds::bias_sweep));
    sections.extend(reading.noise_reduction.as_ref().map(rounds::reduction));
    sections.push(transport::dropouts(&reading.dropouts));
}

/// What every quantity can mean in this return, measured or not.
fn meanings(rows: &[QuantityMeaning]) -> Section {
    let facts =
        rows.iter().map(|row| (row.quantity.clone(), with_options(&row.meaning, &row.remedies))).collect();
    Section::new("What each figure can mean, measured or not").block(Block::Facts(facts))
}
