//! Returns to measure with: the virtual deck's, so that nothing is cleaner than on a bench.

use deckproof::capture::{ReturnFile, Source};
use deckproof::deck::{DeckFile, EXAMPLES};
use deckproof::job::{ReadOptions, RehearsalDeck, WriteOptions, rehearse};
use deckproof::judge::Limits;
use deckproof::programme::Recipe;
use deckproof::reading::{Circumstances, Heads, NoiseReduction, RecordedOn, TapeType};
use deckproof::trade::Medium;
use std::hint::black_box;
use std::path::{Path, PathBuf};

/// Options for a return of `recipe`.
pub fn options(recipe: Option<Recipe>) -> ReadOptions {
    ReadOptions {
        recipe,
        reference_dbfs: -12.0,
        channels: None,
        circumstances: Circumstances {
            recorded_on: Some(RecordedOn::Calibrated),
            heads: Some(Heads::Two),
            tape_type: Some(TapeType::I),
            noise_reduction: NoiseReduction::Off,
            card: None,
        },
        medium: Medium::COMPACT_CASSETTE,
        limits: Limits::full_size(),
        loopback: None,
        made: None,
        transport: None,
    }
}

/// Path of the return of `recipe` from the deck `rehearsal`, 48 kHz, 24 bit, made in `folder`.
pub fn make(recipe: &Recipe, folder: &Path) -> PathBuf {
    let text = EXAMPLES.iter().find(|deck| deck.0 == "rehearsal").expect("built in").1;
    let deck = DeckFile::from_toml(text, "rehearsal").expect("sound");
    let deck = RehearsalDeck { deck, text: text.to_owned(), seed: 1 };
    rehearse(recipe, &deck, folder, &WriteOptions::default(), &options(Some(recipe.clone())), &mut |_| {})
        .expect("rehearsed");
    folder.join("return.wav")
}

/// Decodes a file to f64, block by block, as the reader does, and throws it away; returns its frames.
pub fn decode(path: &Path) -> u64 {
    let file = ReturnFile::open(path, None).expect("opened");
    let mut frames = 0;
    let mut sink = |block: [&[f64]; 2]| frames += black_box(block)[0].len() as u64;
    file.read(0, u64::MAX, &mut sink).expect("decoded");
    frames
}

/// Decodes a 24 bit file to f64 with the other library, which hands on one sample at a time; returns its samples.
pub fn decode_by_samples(path: &Path) -> usize {
    let mut wav = hound::WavReader::open(path).expect("opened");
    let step = 2f64.powi(-23);
    let mut samples = 0;
    for sample in wav.samples::<i32>() {
        black_box(f64::from(sample.expect("sample")) * step);
        samples += 1;
    }
    samples
}
