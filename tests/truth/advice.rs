//! The first advice on decks with one known fault or two, and none on decks with none (`advice.toml`).

use super::bench::{Store, options};
use super::short;
use crate::effort;
use crate::returns;
use deckproof::internals::deck::DeckFile;
use deckproof::internals::job::read_samples;
use deckproof::internals::judge::Limits;
use deckproof::internals::judge::Reading;
use deckproof::internals::programme::{Recipe, built_in_text, find};
use deckproof::reading::{Adjustment, Channel, Heads, RecordedOn, TapeType, Way, WorkStep};
use rayon::prelude::*;
use serde::Deserialize;
use toml::Table;

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Decks {
    sound: Table,
    deck: Vec<Deck>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Deck {
    name: String,
    #[serde(default)]
    with: Table,
    recipe: Option<String>,
    /// Rounds of the recipe, if it has any.
    rounds: Option<u32>,
    #[serde(default)]
    own: bool,
    #[serde(default)]
    limits: String,
    first: Option<First>,
    #[serde(default)]
    then: Vec<String>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct First {
    adjust: Adjustment,
    channel: Option<Channel>,
    way: Option<Way>,
    by: Option<[f64; 2]>,
    says: Option<String>,
}

/// The sound deck's tables with the keys of `with` put in.
fn deck_file(sound: &Table, with: &Table, name: &str) -> DeckFile {
    let mut file = sound.clone();
    for (table, keys) in with {
        let place = file.entry(table.clone()).or_insert_with(|| Table::new().into());
        for (key, value) in keys.as_table().unwrap() {
            place.as_table_mut().unwrap().insert(key.clone(), value.clone());
        }
    }
    DeckFile::from_toml(&toml::to_string(&file).unwrap(), name).unwrap()
}

fn recipe(deck: &Deck) -> Recipe {
    let Some(name) = deck.recipe.as_deref() else { return short() };
    let text = built_in_text(name).unwrap();
    let Some(count) = deck.rounds else { return find(name).unwrap() };
    // Fewer rounds than a person needs.
    let line = text.lines().find(|line| line.starts_with("count = ")).unwrap();
    Recipe::parse(&text.replacen(line, &format!("count = {count}"), 1), name).unwrap()
}

fn read(decks: &Decks, deck: &Deck, seed: u64, rate_hz: u32) -> Reading {
    let recipe = recipe(deck);
    let file = deck_file(&decks.sound, &deck.with, &deck.name);
    let samples = returns::of(&recipe, &file, seed, rate_hz, Store::Double);
    let mut told = options(if deck.own { RecordedOn::ThisDeck } else { RecordedOn::Calibrated });
    told.circumstances.heads = Some(if deck.own { Heads::Three } else { Heads::Two });
    told.circumstances.tape_type = Some(TapeType::I);
    told.limits = Limits::from_toml(&deck.limits, "advice.toml").unwrap();
    told.recipe = Some(recipe);
    read_samples(&samples, &deck.name, &told).unwrap_or_else(|error| panic!("{}: {error}", deck.name))
}

fn name(work: &WorkStep) -> String {
    let adjust = serde_json::to_value(work.step.adjust).unwrap();
    let channel = work.step.channel.map_or(String::new(), |channel| format!(" {channel}"));
    format!("{}{channel}", adjust.as_str().unwrap())
}

/// What is wrong with the advice on this deck.
fn complaint(deck: &Deck, reading: &Reading) -> Option<String> {
    let work = &reading.work;
    let Some(want) = &deck.first else {
        return (!work.is_empty()).then(|| "nothing is wrong, and it is told to turn".to_owned());
    };
    let Some(first) = work.first() else { return Some("nothing is advised".to_owned()) };
    let step = &first.step;
    if step.adjust != want.adjust {
        return Some(format!("first is {:?}", step.adjust));
    }
    if want.channel.is_some() && step.channel != want.channel {
        return Some(format!("on {:?}", step.channel));
    }
    if want.way.is_some() && step.way != want.way {
        return Some(format!("{:?}", step.way));
    }
    if let Some([least, most]) = want.by
        && !step.by.is_some_and(|by| (least..=most).contains(&by))
    {
        return Some(format!("by {:?}", step.by));
    }
    if let Some(says) = &want.says
        && !step.text.contains(says)
    {
        return Some(format!("does not say {says:?}"));
    }
    let names: Vec<String> = work.iter().map(name).collect();
    let mut places = deck.then.iter().map(|then| names.iter().position(|name| name == then));
    let in_order = places.try_fold(0, |least, place| place.filter(|&place| place > least));
    in_order.is_none().then(|| format!("then {:?} is not among {names:?}", deck.then))
}

#[test]
fn the_first_advice_is_the_right_one_and_sound_decks_get_none() {
    let decks: Decks = toml::from_str(include_str!("advice.toml")).unwrap();
    let rows: Vec<(String, Option<String>)> = effort::some(decks.deck.iter().enumerate(), 20)
        .into_par_iter()
        .map(|(k, deck)| {
            let rate_hz = match (deck.recipe.is_some(), k % 8) {
                (false, 0) => 96_000,
                (false, 1 | 4 | 6) => 44_100,
                _ => 48_000,
            };
            let reading = read(&decks, deck, 300 + 7 * k as u64, rate_hz);
            let work: Vec<String> = reading
                .work
                .iter()
                .map(|work| format!("    {} {}: {}", work.number, name(work), work.step.text))
                .collect();
            let complaint = complaint(deck, &reading).map(|words| {
                format!("{}: {words}\n{}\n    {:?}", deck.name, work.join("\n"), reading.findings)
            });
            let first = reading.work.first().map_or("nothing".to_owned(), |work| {
                let by = work.step.by.map_or(String::new(), |by| format!(" {by:.2} {}", work.step.unit));
                let way = work.step.way.map_or(String::new(), |way| format!(" {way:?}").to_lowercase());
                format!("{}{way}{by}", name(work))
            });
            (format!("{} | {first} | {} steps", deck.name, reading.work.len()), complaint)
        })
        .collect();
    for (row, _) in &rows {
        println!("{row}");
    }
    let wrong: Vec<String> = rows.into_iter().filter_map(|(_, complaint)| complaint).collect();
    assert!(wrong.is_empty(), "{} wrong:\n{}", wrong.len(), wrong.join("\n\n"));
}
