//! The card of a house tape.

use crate::judge::{passes, passes_since, renewal};
use crate::reading::Card;
use crate::reading::figures::UnitKind::{Db, Fluxivity, Microseconds, Percent, SpeedPercent};
use crate::reading::figures::{Figure, frequency, given, programme_level};
use crate::show::page::{Block, Page, Section, Tone};
use crate::show::tables::level::by_way;

/// The card's page; `now` is the date, as readings write it.
pub(in crate::show) fn card_page(card: &Card, now: &str) -> Page {
    let mut page = Page::new("House tape", card.name.clone());
    let on = card.made.deck.as_ref().map_or(String::new(), |deck| format!(", on {deck}"));
    page.fact("Card made", Some(format!("{}, Deckproof {}{on}", card.made.at, card.made.version)));
    let by = &card.calibrated;
    let tape = by.tape.as_deref().unwrap_or("not told which");
    let at = by.at.as_ref().map_or(String::new(), |at| format!(", {at}"));
    page.fact("Calibrated tape", Some(format!("{tape} (read from {}{at})", by.file)));
    page.fact(
        "Its 0 dB",
        by.fluxivity_nwb_per_m.map(|nwb| {
            let stated = by.fluxivity_stated.as_deref().filter(|word| *word != "unknown");
            format!("{} nWb/m{}", given(nwb, 1), stated.map_or(String::new(), |word| format!(", {word}")))
        }),
    );
    page.fact(
        "Programme",
        card.recipe.as_ref().map(|recipe| format!("{}, code {}", recipe.name, recipe.code)),
    );
    page.fact("Tape type", Some(card.tape_type.map_or("not told".into(), |tape| format!("{tape:?}"))));
    let since = passes_since(card);
    page.fact("Passes", Some(format!("{}, {since} of them since the card was made", passes(card))));
    page.sections = vec![figures(card), response(card), history(card)];
    page.sections.push(Section::new("Notes").list_or(card.notes.clone(), "None."));
    let reasons = renewal(card, now, None);
    let renew = Section::new("Renew the card?");
    page.sections.push(if reasons.is_empty() {
        renew.say("Not yet.")
    } else {
        renew.say_all(Tone::Warning, reasons)
    });
    page
}

fn figures(card: &Card) -> Section {
    let mut facts: Vec<(String, String)> = Vec::new();
    let told = |figure: Option<Figure>| figure.map_or("cannot tell".to_owned(), |figure| figure.number());
    for tone in &card.level {
        let [left, right] = tone.db.map(|db| told(db.map(|db| Db.of(db, tone.uncertainty_db).signed())));
        let sure = Db.of(tone.uncertainty_db, tone.uncertainty_db).spread().unwrap_or_default();
        facts.push((
            format!(
                "level of {} at {}, left / right",
                frequency(tone.hz),
                programme_level(tone.programme_db)
            ),
            format!("{left} / {right} dB, each +- {sure}"),
        ));
        if tone.fluxivity_nwb_per_m != [None; 2] {
            let [left, right] =
                tone.fluxivity_nwb_per_m.map(|nwb| told(nwb.map(|nwb| Fluxivity.of(nwb, None))));
            facts.push(("as fluxivity".to_owned(), format!("{left} / {right} nWb/m")));
        }
    }
    let mut one = |name: &str, figure: Option<Figure>| {
        let text = figure.map_or("not on the card".to_owned(), |figure| figure.signed().full());
        facts.push((name.to_owned(), text));
    };
    let delay =
        card.azimuth.as_ref().map(|azimuth| Microseconds.of(azimuth.delay_us, azimuth.uncertainty_us));
    one("delay (positive: right lags)", delay);
    let speed = card.speed.map(|speed| SpeedPercent.of(speed.error_percent, speed.uncertainty_percent));
    one("speed (positive: fast)", speed);
    let most = card
        .flutter_at_most_percent
        .map(|percent| format!("at most {} %", Percent.of(percent, None).ceiling()));
    facts.extend(most.map(|most| ("flutter of the tape, weighted rms".to_owned(), most)));
    Section::new("The recording itself").say("From readings; uncertainties k = 2.").block(Block::Facts(facts))
}

fn response(card: &Card) -> Section {
    let section = Section::new("Response of the recording");
    let Some(response) = &card.response else { return section.say("Not on the card.") };
    let section = section.say(format!("In dB against {}.", frequency(response.reference_hz))).tables(by_way(
        &response.steps,
        &response.sweep,
        &response.noise,
    ));
    if card.azimuth.is_none() {
        return section;
    }
    section.say(
        "The loss by the tape's own tilt is not in it: that depends on the deck's tilt, and follows from the delay.",
    )
}

fn history(card: &Card) -> Section {
    let facts = card.history.iter().map(|pass| {
        let figures = [
            pass.delay_us
                .map(|us| format!("delay {}", Microseconds.of(us, pass.delay_uncertainty_us).signed())),
            pass.speed_percent.map(|percent| {
                format!("speed {}", SpeedPercent.of(percent, pass.speed_uncertainty_percent).signed())
            }),
        ];
        let words = [Some(pass.file.clone()), pass.deck.clone()].into_iter().chain(figures).flatten();
        let at = pass.at.clone().unwrap_or_else(|| "not known when".to_owned());
        (at, words.collect::<Vec<_>>().join("; "))
    });
    let facts: Vec<(String, String)> = facts.collect();
    let section = Section::new("Passes");
    if facts.is_empty() { section.say("None counted.") } else { section.block(Block::Facts(facts)) }
}
