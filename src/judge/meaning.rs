//! What a quantity can mean: the one table of quantities against circumstances.
//!
//! Whose recording is on the tape decides whether a figure is a property of the deck (absolute), a comparison
//! (relative), or nothing at all. The rows follow from how a tape works (common practice, no source): what the same
//! head or the same capstan does in recording and undoes in replay cannot be seen in the return.

use crate::reading::{CardUsed, Circumstances, Heads, NoiseReduction, RecordedOn};

/// A measured quantity, one row of the table.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Quantity {
    /// Level at which a tape of known level is replayed.
    ReplayLevel,
    /// Replay response.
    ReplayResponse,
    /// Left against right, level and response.
    ChannelMatch,
    /// Tilt of the replay head's gap.
    Azimuth,
    /// Mean tape speed.
    SpeedError,
    /// Wow and flutter.
    Flutter,
    /// Noise and hum.
    Noise,
    /// Distortion, saturation and bias: what the recording half of the deck makes.
    Recording,
    /// Leakage from one channel into the other.
    Separation,
}

impl Quantity {
    /// Every quantity, in the order of the table's rows.
    pub const ALL: [Self; 9] = [
        Self::ReplayLevel,
        Self::ReplayResponse,
        Self::ChannelMatch,
        Self::Azimuth,
        Self::SpeedError,
        Self::Flutter,
        Self::Noise,
        Self::Recording,
        Self::Separation,
    ];
}

/// What a figure says about the deck on the bench.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Meaning {
    /// A property of this deck; `note` says what still rides on it.
    Absolute {
        /// What the figure rests on.
        note: &'static str,
    },
    /// A comparison.
    Relative {
        /// What the figure is relative to; completes "relative to ...".
        to: &'static str,
    },
    /// The return does not hold the answer.
    CannotTell {
        /// Why; completes "cannot tell, because ...".
        because: &'static str,
        /// How to find out.
        find_out: &'static str,
    },
}

impl Meaning {
    /// The meaning as the `basis` of a finding.
    pub fn basis(&self) -> String {
        match self {
            Self::Absolute { note } => format!("absolute: {note}"),
            Self::Relative { to } => format!("relative to {to}"),
            Self::CannotTell { because, .. } => format!("cannot tell: {because}"),
        }
    }
}

/// A column of the table.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Origin {
    Calibrated,
    House,
    /// The card does not hold this quantity.
    HouseNotOnCard,
    /// No card was given.
    HouseWithoutCard,
    OtherDeck,
    ThisDeckThree,
    ThisDeckTwo,
    ThisDeck,
    Injected,
    Direct,
    NotTold,
}

impl Origin {
    fn of(quantity: Quantity, circumstances: &Circumstances) -> Self {
        match (circumstances.recorded_on, circumstances.heads) {
            (None, _) => Self::NotTold,
            (Some(RecordedOn::Calibrated), _) => Self::Calibrated,
            (Some(RecordedOn::House), _) => match &circumstances.card {
                None => Self::HouseWithoutCard,
                Some(card) if on_card(quantity, card) => Self::House,
                Some(_) => Self::HouseNotOnCard,
            },
            (Some(RecordedOn::OtherDeck), _) => Self::OtherDeck,
            (Some(RecordedOn::ThisDeck), Some(Heads::Three)) => Self::ThisDeckThree,
            (Some(RecordedOn::ThisDeck), Some(Heads::Two)) => Self::ThisDeckTwo,
            (Some(RecordedOn::ThisDeck), None) => Self::ThisDeck,
            (Some(RecordedOn::Injected), _) => Self::Injected,
            (Some(RecordedOn::Direct), _) => Self::Direct,
        }
    }
}

/// Whether the card that was taken off holds what makes `quantity` absolute.
fn on_card(quantity: Quantity, card: &CardUsed) -> bool {
    match quantity {
        Quantity::ReplayLevel => !card.level.is_empty(),
        Quantity::ReplayResponse => card.response,
        Quantity::ChannelMatch => !card.level.is_empty() || card.response,
        Quantity::Azimuth => card.delay_us.is_some(),
        Quantity::SpeedError => card.speed_percent.is_some(),
        // These need no card.
        Quantity::Flutter | Quantity::Noise | Quantity::Recording | Quantity::Separation => true,
    }
}

/// What `quantity` means under `circumstances`.
///
/// What was not told gives the weakest statement that is still true.
pub fn meaning(quantity: Quantity, circumstances: &Circumstances) -> Meaning {
    let origin = Origin::of(quantity, circumstances);
    let reducing = circumstances.noise_reduction == NoiseReduction::On;
    if reducing
        && !matches!(origin, Origin::Injected | Origin::Direct)
        && let Some(spoilt) = with_noise_reduction(quantity)
    {
        return spoilt;
    }
    table(quantity, origin)
}

/// Noise reduction changes gain with level and frequency, so response and noise are no longer the deck's own.
fn with_noise_reduction(quantity: Quantity) -> Option<Meaning> {
    let because = match quantity {
        Quantity::ReplayResponse => "noise reduction was on: it changes the response with the level",
        Quantity::ChannelMatch => "noise reduction was on: it changes each channel's gain with the level",
        Quantity::Recording => "noise reduction was on: it changes level steps",
        Quantity::Noise => "noise reduction was on: it hides the noise of tape and amplifier",
        _ => return None,
    };
    Some(Meaning::CannotTell { because, find_out: "switch noise reduction off, record a new return" })
}

fn table(quantity: Quantity, origin: Origin) -> Meaning {
    use Quantity as Q;
    match origin {
        Origin::Calibrated => match quantity {
            Q::ReplayLevel | Q::ReplayResponse => {
                absolute("calibrated tape; its certificate's tolerance adds")
            }
            Q::ChannelMatch => absolute("calibrated tape"),
            Q::Azimuth => absolute("calibrated tape; its own tilt adds"),
            Q::SpeedError => absolute("calibrated tape; clocks of player and sound card add"),
            Q::Flutter => absolute("replay, with the little that is on the calibrated tape"),
            Q::Noise => absolute("replay noise and the noise of this tape"),
            Q::Recording => NOT_RECORDED_HERE,
            Q::Separation => absolute("replay only, as far as the tape's own leakage allows"),
        },
        Origin::House | Origin::HouseNotOnCard | Origin::HouseWithoutCard => match quantity {
            Q::ReplayLevel | Q::ReplayResponse | Q::ChannelMatch | Q::Azimuth | Q::SpeedError => match origin
            {
                Origin::HouseNotOnCard => {
                    relative("the house tape's own recording: the card says nothing of this")
                }
                Origin::HouseWithoutCard => {
                    relative("the house tape's own recording: its card was not given; give --card")
                }
                _ => absolute("house tape with its card: wider, the card's uncertainty adds"),
            },
            Q::Flutter => absolute("replay, and a little from the house tape"),
            Q::Noise => absolute("replay noise and the noise of this tape"),
            Q::Recording => NOT_RECORDED_HERE,
            Q::Separation => relative("the house tape's own leakage and replay together"),
        },
        Origin::OtherDeck => match quantity {
            Q::ReplayLevel => relative("the level at which the other deck recorded"),
            Q::ReplayResponse => relative("the other deck's recording: both decks are mixed"),
            Q::ChannelMatch => relative("the other deck's channels: both decks are mixed"),
            Q::Azimuth => relative("the other deck's record head"),
            Q::SpeedError => relative("the other deck's speed"),
            Q::Flutter => relative("both decks together: the other deck's recording and this deck's replay"),
            Q::Noise => relative("the other deck's recording: its noise adds"),
            Q::Recording => NOT_RECORDED_HERE,
            Q::Separation => relative("both decks together"),
        },
        Origin::ThisDeckThree | Origin::ThisDeckTwo | Origin::ThisDeck => this_deck(quantity, origin),
        Origin::Injected => match quantity {
            Q::ReplayLevel => relative("the injected level: amplifier only"),
            Q::ReplayResponse => {
                relative("the injected signal: amplifier only, and by a flux loop its equalisation")
            }
            Q::ChannelMatch => relative("the injected signal: amplifier only"),
            Q::Azimuth => cannot("no tape passes the head", NEEDS_A_TAPE),
            Q::SpeedError => cannot("no tape moves; the figure shows the clocks only", NEEDS_A_TAPE),
            Q::Flutter => cannot("no tape moves", NEEDS_A_TAPE),
            Q::Noise => relative("the injected level: amplifier only"),
            Q::Recording => cannot("nothing was recorded", "record on this deck and read that return"),
            Q::Separation => relative("the injected signal: amplifier only"),
        },
        Origin::Direct => match quantity {
            Q::Azimuth => {
                cannot("direct capture: no head in the chain, a delay is the sound card's", NEEDS_A_DECK)
            }
            Q::SpeedError => {
                cannot("direct capture: shows the clocks of player and sound card only", NEEDS_A_DECK)
            }
            Q::Flutter => cannot("direct capture: no tape moves", NEEDS_A_DECK),
            Q::Recording => cannot("direct capture: nothing was recorded", NEEDS_A_DECK),
            Q::ReplayLevel | Q::ReplayResponse | Q::ChannelMatch | Q::Noise | Q::Separation => {
                relative("the programme: sound card only, no deck in the chain")
            }
        },
        Origin::NotTold => match quantity {
            Q::Recording => cannot("not told whose recording this is", "give --recorded-on"),
            _ => relative(
                "a recording of unknown origin: not told whose recording this is; give --recorded-on",
            ),
        },
    }
}

/// The deck on the bench recorded the tape itself.
fn this_deck(quantity: Quantity, origin: Origin) -> Meaning {
    use Quantity as Q;
    match (quantity, origin) {
        (Q::ReplayLevel | Q::ReplayResponse | Q::ChannelMatch, _) => {
            relative("the programme: record and replay of this deck together")
        }
        (Q::Azimuth, Origin::ThisDeckThree) => {
            relative("this deck's record head: record head against replay head")
        }
        (Q::Azimuth, Origin::ThisDeckTwo) => cannot(
            "the same head recorded and replayed: its tilt cancels",
            "replay a calibrated tape, a house tape, or one that another deck recorded",
        ),
        (Q::Azimuth, _) => cannot(
            "not told how many heads the deck has; with two, the tilt cancels",
            "give --heads, and with two heads replay a calibrated tape or a house tape",
        ),
        (Q::SpeedError, Origin::ThisDeckThree) => cannot(
            "the same capstan recorded and replayed: its speed cancels; the figure shows slip and clocks only",
            REPLAY_KNOWN_SPEED,
        ),
        (Q::SpeedError, _) => {
            cannot("the same capstan recorded and replayed: its speed cancels on average", REPLAY_KNOWN_SPEED)
        }
        (Q::Flutter, Origin::ThisDeckThree) => relative(
            "record and replay together, at one delay between the heads: some rates cancel (at 15 mm multiples of \
             3.2 Hz), those half-way between double; where flutter matters rewind and replay",
        ),
        (Q::Flutter, Origin::ThisDeckTwo) => {
            relative("record and replay together, independent of each other")
        }
        (Q::Flutter, _) => relative(
            "record and replay together; not told how many heads (with three, some rates cancel and others double)",
        ),
        (Q::Noise, _) => absolute("noise of this deck's recording and replay with this tape"),
        (Q::Recording, _) => absolute("record and replay of this deck with this tape"),
        (Q::Separation, _) => absolute("record and replay of this deck together"),
    }
}

const NEEDS_A_TAPE: &str = "read a return taken from a tape";
const NEEDS_A_DECK: &str = "read a return taken from the deck";
const REPLAY_KNOWN_SPEED: &str =
    "replay a calibrated tape, a house tape, or a measured length of tape between two marks";
const NOT_RECORDED_HERE: Meaning = Meaning::CannotTell {
    because: "this deck did not record the tape",
    find_out: "record the programme on this deck and read that return",
};

const fn absolute(note: &'static str) -> Meaning {
    Meaning::Absolute { note }
}

const fn relative(to: &'static str) -> Meaning {
    Meaning::Relative { to }
}

const fn cannot(because: &'static str, find_out: &'static str) -> Meaning {
    Meaning::CannotTell { because, find_out }
}

#[cfg(test)]
mod tests {
    use super::*;

    type Told = (Option<RecordedOn>, Option<Heads>);

    const COLUMNS: [(&str, Told); 9] = [
        ("calibrated", (Some(RecordedOn::Calibrated), None)),
        ("house", (Some(RecordedOn::House), None)),
        ("other deck", (Some(RecordedOn::OtherDeck), None)),
        ("this deck, 3 heads", (Some(RecordedOn::ThisDeck), Some(Heads::Three))),
        ("this deck, 2 heads", (Some(RecordedOn::ThisDeck), Some(Heads::Two))),
        ("this deck, heads not told", (Some(RecordedOn::ThisDeck), None)),
        ("injected", (Some(RecordedOn::Injected), None)),
        ("direct", (Some(RecordedOn::Direct), None)),
        ("not told", (None, Some(Heads::Two))),
    ];

    // One row a quantity, one entry a column: kind (A absolute, R relative, C cannot tell) and words that must stand
    // in it. The kinds and the words of the first five and the seventh column are those of the project's table of
    // meanings.
    const TABLE: [(Quantity, [(char, &str); 9]); 9] = [
        (
            Quantity::ReplayLevel,
            [
                ('A', "calibrated tape"),
                ('A', "wider"),
                ('R', "other deck"),
                ('R', "record and replay"),
                ('R', "record and replay"),
                ('R', "record and replay"),
                ('R', "amplifier only"),
                ('R', "sound card only"),
                ('R', "--recorded-on"),
            ],
        ),
        (
            Quantity::ReplayResponse,
            [
                ('A', "calibrated tape"),
                ('A', "wider"),
                ('R', "both decks are mixed"),
                ('R', "record and replay"),
                ('R', "record and replay"),
                ('R', "record and replay"),
                ('R', "by a flux loop its equalisation"),
                ('R', "sound card only"),
                ('R', "--recorded-on"),
            ],
        ),
        (
            Quantity::ChannelMatch,
            [
                ('A', "calibrated tape"),
                ('A', "wider"),
                ('R', "both decks are mixed"),
                ('R', "record and replay"),
                ('R', "record and replay"),
                ('R', "record and replay"),
                ('R', "amplifier only"),
                ('R', "sound card only"),
                ('R', "--recorded-on"),
            ],
        ),
        (
            Quantity::Azimuth,
            [
                ('A', "calibrated tape"),
                ('A', "wider"),
                ('R', "other deck"),
                ('R', "record head against replay head"),
                ('C', "the same head recorded and replayed"),
                ('C', "how many heads"),
                ('C', "no tape"),
                ('C', "direct capture"),
                ('R', "--recorded-on"),
            ],
        ),
        (
            Quantity::SpeedError,
            [
                ('A', "clocks"),
                ('A', "wider"),
                ('R', "other deck"),
                ('C', "slip and clocks only"),
                ('C', "cancels on average"),
                ('C', "cancels on average"),
                ('C', "no tape moves"),
                ('C', "clocks"),
                ('R', "--recorded-on"),
            ],
        ),
        (
            Quantity::Flutter,
            [
                ('A', "replay"),
                ('A', "a little"),
                ('R', "both decks"),
                ('R', "at one delay"),
                ('R', "independent"),
                ('R', "how many heads"),
                ('C', "no tape moves"),
                ('C', "no tape moves"),
                ('R', "--recorded-on"),
            ],
        ),
        (
            Quantity::Noise,
            [
                ('A', "replay noise"),
                ('A', "replay noise"),
                ('R', "other deck"),
                ('A', "this deck's recording and replay"),
                ('A', "this deck's recording and replay"),
                ('A', "this deck's recording and replay"),
                ('R', "amplifier only"),
                ('R', "sound card only"),
                ('R', "--recorded-on"),
            ],
        ),
        (
            Quantity::Recording,
            [
                ('C', "did not record"),
                ('C', "did not record"),
                ('C', "did not record"),
                ('A', "record and replay"),
                ('A', "record and replay"),
                ('A', "record and replay"),
                ('C', "nothing was recorded"),
                ('C', "nothing was recorded"),
                ('C', "not told whose recording"),
            ],
        ),
        (
            Quantity::Separation,
            [
                ('A', "replay only"),
                ('R', "house tape"),
                ('R', "both decks"),
                ('A', "record and replay"),
                ('A', "record and replay"),
                ('A', "record and replay"),
                ('R', "amplifier only"),
                ('R', "sound card only"),
                ('R', "--recorded-on"),
            ],
        ),
    ];

    fn told((recorded_on, heads): Told, noise_reduction: NoiseReduction) -> Circumstances {
        Circumstances { recorded_on, heads, noise_reduction, ..Circumstances::default() }
    }

    #[test]
    fn every_row_and_column_of_the_table() {
        let rows: Vec<Quantity> = TABLE.iter().map(|row| row.0).collect();
        assert_eq!(rows, Quantity::ALL);
        for (quantity, cells) in TABLE {
            for ((column, told_so), (kind, words)) in COLUMNS.into_iter().zip(cells) {
                let got = meaning(quantity, &told(told_so, NoiseReduction::Off));
                let got_kind = match got {
                    Meaning::Absolute { .. } => 'A',
                    Meaning::Relative { .. } => 'R',
                    Meaning::CannotTell { .. } => 'C',
                };
                assert_eq!(got_kind, kind, "row {quantity:?}, column {column}: {got:?}");
                assert!(
                    got.basis().contains(words),
                    "row {quantity:?}, column {column}: {words:?} not in {got:?}"
                );
                if let Meaning::CannotTell { find_out, .. } = got {
                    assert!(!find_out.is_empty(), "row {quantity:?}, column {column}: no way to find out");
                }
            }
        }
    }

    #[test]
    fn noise_reduction_on_forbids_response_and_noise_but_not_speed() {
        let on =
            |quantity| meaning(quantity, &told((Some(RecordedOn::Calibrated), None), NoiseReduction::On));
        for quantity in [Quantity::ReplayResponse, Quantity::ChannelMatch, Quantity::Noise] {
            assert!(matches!(on(quantity), Meaning::CannotTell { .. }), "{quantity:?}");
        }
        for quantity in [Quantity::SpeedError, Quantity::Flutter, Quantity::Azimuth, Quantity::ReplayLevel] {
            assert!(matches!(on(quantity), Meaning::Absolute { .. }), "{quantity:?}");
        }
    }
}
