//! A card of a house tape: as JSON, and for people.

use super::text::Page;
use super::words;
use crate::judge::{decimals, frequency, passes, passes_since, renewal, signed, unsigned};
use crate::reading::{Card, Pair, ResponsePoint};

/// The card as pretty JSON (`deckproof-card/1`), with a line feed at the end.
pub fn card_to_json(card: &Card) -> String {
    // Cannot fail: keys are strings, and no `Serialize` here is our own.
    let mut json = serde_json::to_string_pretty(card).unwrap_or_default();
    json.push('\n');
    json
}

/// JSON Schema of the card, pretty, with a line feed at the end.
pub fn card_schema() -> String {
    let mut json = serde_json::to_string_pretty(&schemars::schema_for!(Card)).unwrap_or_default();
    json.push('\n');
    json
}

/// The card in plain text, lines of at most [`super::COLUMNS`] characters; `now` is the date, as readings write it.
pub fn card_text(card: &Card, now: &str) -> String {
    let mut page = Page::default();
    let row = |page: &mut Page, name: &str, text: &str| page.wrapped(0, &format!("{name:<18}"), text);
    row(&mut page, "House tape", &card.name);
    let on = card.made.deck.as_ref().map_or(String::new(), |deck| format!(", on {deck}"));
    row(&mut page, "Card made", &format!("{}, Deckproof {}{on}", card.made.at, card.made.version));
    let by = &card.calibrated;
    let tape = by.tape.as_deref().unwrap_or("not told which");
    let at = by.at.as_ref().map_or(String::new(), |at| format!(", {at}"));
    row(&mut page, "Calibrated tape", &format!("{tape} (read from {}{at})", by.file));
    if let Some(nwb) = by.fluxivity_nwb_per_m {
        row(&mut page, "Its 0 dB", &format!("{} nWb/m", unsigned(nwb, 0)));
    }
    if let Some(recipe) = &card.recipe {
        row(&mut page, "Programme", &format!("{}, code {}", recipe.name, recipe.code));
    }
    row(&mut page, "Tape type", &card.tape_type.map_or("not told".into(), |tape| format!("{tape:?}")));
    let since = passes_since(card);
    row(&mut page, "Passes", &format!("{}, {since} of them since the card was made", passes(card)));
    figures(&mut page, card);
    response(&mut page, card);
    page.head("PASSES");
    if card.history.is_empty() {
        page.line("  none counted");
    }
    for pass in &card.history {
        let mut words = vec![pass.file.clone()];
        words.extend(pass.deck.clone());
        words.extend(pass.delay_us.map(|us| format!("delay {} us", signed(us, 1))));
        words.extend(pass.speed_percent.map(|percent| format!("speed {} %", signed(percent, 2))));
        page.wrapped(
            2,
            &format!("{:<22}", pass.at.as_deref().unwrap_or("not known when")),
            &words.join("; "),
        );
    }
    page.head("NOTES");
    for note in &card.notes {
        page.wrapped(2, "", note);
    }
    page.head("RENEW THE CARD?");
    let reasons = renewal(card, now, None);
    if reasons.is_empty() {
        page.line("  not yet");
    }
    for reason in &reasons {
        page.wrapped(2, "yes: ", reason);
    }
    page.into_text()
}

fn figures(page: &mut Page, card: &Card) {
    page.head("THE RECORDING ITSELF (from readings; uncertainties k = 2)");
    let pair = |pair: Pair, digits: usize| {
        pair.map(|db| db.map_or("cannot tell".to_owned(), |db| signed(db, digits))).join(" / ")
    };
    for tone in &card.level {
        let digits = decimals(Some(tone.uncertainty_db), 2);
        page.line(&format!(
            "  {:<40}{} dB +- {}",
            format!("level of {} at {} dB, left / right", frequency(tone.hz), signed(tone.programme_db, 0)),
            pair(tone.db, digits),
            unsigned(tone.uncertainty_db, digits)
        ));
        if tone.fluxivity_nwb_per_m != [None; 2] {
            let flux = tone
                .fluxivity_nwb_per_m
                .map(|nwb| nwb.map_or("cannot tell".to_owned(), |nwb| unsigned(nwb, 1)));
            page.line(&format!("  {:<40}{} nWb/m", "  as fluxivity", flux.join(" / ")));
        }
    }
    let mut one = |name: &str, value: Option<(f64, f64)>, unit: &str, otherwise: usize| {
        let text = value.map_or("not on the card".to_owned(), |(value, uncertainty)| {
            let digits = decimals(Some(uncertainty), otherwise);
            format!("{} {unit} +- {}", signed(value, digits), unsigned(uncertainty, digits))
        });
        page.line(&format!("  {name:<40}{text}"));
    };
    one(
        "delay (positive: right lags)",
        card.azimuth.as_ref().map(|a| (a.delay_us, a.uncertainty_us)),
        "us",
        2,
    );
    one("speed (positive: fast)", card.speed.map(|s| (s.error_percent, s.uncertainty_percent)), "%", 3);
    if let Some(percent) = card.flutter_at_most_percent {
        page.line(&format!(
            "  {:<40}at most {} %",
            "flutter of the tape, weighted rms",
            unsigned(percent, 3)
        ));
    }
}

fn response(page: &mut Page, card: &Card) {
    let Some(response) = &card.response else {
        page.head("RESPONSE");
        page.line("  not on the card");
        return;
    };
    let kinds: [(&str, &[ResponsePoint]); 3] = [
        ("stepped tones", &response.steps),
        ("sweep, third octaves", &response.sweep),
        ("noise, third octaves", &response.noise),
    ];
    for (kind, rows) in kinds.into_iter().filter(|kind| !kind.1.is_empty()) {
        page.head(&format!("RESPONSE OF THE RECORDING, {kind} (dB re {})", frequency(response.reference_hz)));
        page.line(&format!("  {:>10}{:>14}{:>8}{:>14}{:>8}", "tone", "left", "+-", "right", "+-"));
        for row in rows {
            let side = |k: usize| {
                let digits = decimals(row.uncertainty_db[k], 2);
                let number = |value: Option<f64>, sign: bool| match value {
                    Some(value) if sign => signed(value, digits),
                    Some(value) => unsigned(value, digits),
                    None => "cannot tell".to_owned(),
                };
                format!("{:>14}{:>8}", number(row.db[k], true), number(row.uncertainty_db[k], false))
            };
            page.line(&format!("  {:>10}{}{}", words::row_frequency(row.hz), side(0), side(1)));
        }
    }
    if card.azimuth.is_some() {
        page.wrapped(
            2,
            "",
            "What the tape's own tilt takes from the treble is not in it: it depends on the deck's tilt and follows from the \
             delay.",
        );
    }
}
