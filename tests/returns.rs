//! Programmes, and what comes back of them from virtual decks, made once for all tests that want the same.
//!
//! The last few are kept: a minute of stereo is 50 MB.

use deckproof::internals::capture::InMemory;
use deckproof::internals::deck::{DeckFile, VirtualDeck};
use deckproof::internals::programme::{Recipe, Renderer, Timeline};
use std::collections::VecDeque;
use std::sync::{Arc, Mutex, OnceLock};

/// How the samples are stored on their way.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Store {
    Sixteen,
    TwentyFour,
    Float,
    /// As they are computed.
    Double,
}

type Channels = [Vec<f64>; 2];

/// A value that is made once, by whoever asks first.
type Once<T> = Arc<OnceLock<Arc<T>>>;

/// The values that were asked for last, each made by whoever asks first; others wait for it.
struct Kept<T> {
    most: usize,
    values: Mutex<VecDeque<(String, Once<T>)>>,
}

impl<T> Kept<T> {
    const fn new(most: usize) -> Self {
        Self { most, values: Mutex::new(VecDeque::new()) }
    }

    fn get(&self, key: String, make: impl FnOnce() -> T) -> Arc<T> {
        let place = {
            let mut values = self.values.lock().unwrap();
            let found = values.iter().position(|(other, _)| *other == key).and_then(|at| values.remove(at));
            let entry = found.unwrap_or_else(|| (key, Arc::default()));
            let place = entry.1.clone();
            values.push_back(entry);
            if values.len() > self.most {
                values.pop_front();
            }
            place
        };
        place.get_or_init(|| Arc::new(make())).clone()
    }
}

static PROGRAMMES: Kept<Channels> = Kept::new(6);
static RETURNS: Kept<InMemory> = Kept::new(6);

/// The programme of `recipe`, 0 dB at -12 dBFS.
pub fn programme(recipe: &Recipe, rate_hz: u32) -> Arc<Channels> {
    let timeline = Timeline::from(recipe);
    let key = format!("{} {} {rate_hz}", recipe.name, timeline.code);
    PROGRAMMES.get(key, || Renderer::new(&timeline, rate_hz, -12.0).unwrap().collect())
}

/// What comes back of `recipe` from `deck`; programme and return are stored as `store`.
pub fn of(recipe: &Recipe, deck: &DeckFile, seed: u64, rate_hz: u32, store: Store) -> Arc<InMemory> {
    let key = format!("{} {} {deck:?} {seed} {rate_hz} {store:?}", recipe.name, Timeline::from(recipe).code);
    RETURNS.get(key, || {
        let deck = VirtualDeck::new(deck, seed, f64::from(rate_hz)).unwrap();
        let programme = programme(recipe, rate_hz);
        let mut channels = match store {
            Store::Double => deck.play_all(&programme),
            _ => deck.play_all(&stored(programme.as_ref().clone(), store)),
        };
        channels = stored(channels, store);
        InMemory { rate_hz: deck.return_rate_hz(), channels }
    })
}

/// What comes back of `recipe` from `deck` through `card`, which stands for a sound card; stored as `store` at the end.
pub fn behind(
    recipe: &Recipe,
    deck: &DeckFile,
    card: &DeckFile,
    seed: u64,
    rate_hz: u32,
    store: Store,
) -> Arc<InMemory> {
    let code = Timeline::from(recipe).code;
    let key = format!("{} {code} {deck:?} {card:?} {seed} {rate_hz} {store:?}", recipe.name);
    RETURNS.get(key, || {
        let rate = f64::from(rate_hz);
        let returned = VirtualDeck::new(deck, seed, rate).unwrap().play_all(&programme(recipe, rate_hz));
        let channels = VirtualDeck::new(card, seed + 1, rate).unwrap().play_all(&returned);
        InMemory { rate_hz: rate, channels: stored(channels, store) }
    })
}

/// What a file of that depth keeps of the samples.
fn stored(mut channels: Channels, store: Store) -> Channels {
    let steps = match store {
        Store::Sixteen => 32_768.0,
        Store::TwentyFour => 8_388_608.0,
        Store::Float => {
            channels.iter_mut().flatten().for_each(|x| *x = f64::from(*x as f32));
            return channels;
        }
        Store::Double => return channels,
    };
    channels.iter_mut().flatten().for_each(|x| *x = ((*x * steps).round() / steps).clamp(-1.0, 1.0));
    channels
}
