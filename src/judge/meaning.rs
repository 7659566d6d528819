//! What a quantity can mean: the one table of quantities against circumstances.
//!
//! Whose recording is on the tape decides whether a figure is a property of the deck (absolute), a comparison
//! (relative), or nothing at all. The rows follow from how a tape works (common practice, no source): what the same
//! head or the same capstan does in recording and undoes in playback cannot be seen in the return.

use crate::reading::{CardUsed, Circumstances, Heads, NoiseReduction, QuantityMeaning, RecordedOn, Remedy};

/// A measured quantity, one row of the table.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Quantity {
    /// Level at which a tape of known level is played back.
    PlaybackLevel,
    /// Playback response.
    PlaybackResponse,
    /// Left against right, level and response.
    ChannelMatch,
    /// Tilt of the playback head's gap.
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
        Self::PlaybackLevel,
        Self::PlaybackResponse,
        Self::ChannelMatch,
        Self::Azimuth,
        Self::SpeedError,
        Self::Flutter,
        Self::Noise,
        Self::Recording,
        Self::Separation,
    ];

    /// What the trade calls it.
    pub fn name(self) -> &'static str {
        match self {
            Self::PlaybackLevel => "playback level",
            Self::PlaybackResponse => "playback response",
            Self::ChannelMatch => "channel match",
            Self::Azimuth => "azimuth",
            Self::SpeedError => "speed",
            Self::Flutter => "flutter",
            Self::Noise => "noise, hum",
            Self::Recording => "distortion, bias",
            Self::Separation => "separation",
        }
    }
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
    /// The meaning as a sentence, with the way to find out where it cannot be told.
    pub fn words(&self) -> String {
        match self {
            Self::CannotTell { because, find_out } => {
                format!("cannot tell, because {because}; to find out: {find_out}")
            }
            told => told.basis(),
        }
    }

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
    Loopback,
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
            (Some(RecordedOn::Loopback), _) => Self::Loopback,
        }
    }
}

/// Whether the card that was subtracted holds what makes `quantity` absolute.
fn on_card(quantity: Quantity, card: &CardUsed) -> bool {
    match quantity {
        Quantity::PlaybackLevel => !card.level.is_empty(),
        Quantity::PlaybackResponse => card.response,
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
        && !matches!(origin, Origin::Injected | Origin::Loopback)
        && let Some(spoilt) = with_noise_reduction(quantity)
    {
        return spoilt;
    }
    table(quantity, origin)
}

/// What would have to be told or given for `quantity` to mean more under `circumstances`; `None` if nothing would do.
pub fn remedy(quantity: Quantity, circumstances: &Circumstances) -> Option<Remedy> {
    use Quantity as Q;
    match Origin::of(quantity, circumstances) {
        Origin::NotTold => Some(Remedy::SayRecordedOn),
        Origin::HouseWithoutCard
            if !matches!(quantity, Q::Flutter | Q::Noise | Q::Recording | Q::Separation) =>
        {
            Some(Remedy::GiveCard)
        }
        Origin::ThisDeck if matches!(quantity, Q::Azimuth | Q::Flutter) => Some(Remedy::SayHeads),
        _ => None,
    }
}

/// What every quantity means under `circumstances`, measured or not.
pub(crate) fn meanings(circumstances: &Circumstances) -> Vec<QuantityMeaning> {
    Quantity::ALL
        .iter()
        .map(|&quantity| QuantityMeaning {
            quantity: quantity.name().to_owned(),
            meaning: meaning(quantity, circumstances).words(),
            remedies: remedy(quantity, circumstances).into_iter().collect(),
        })
        .collect()
}

/// Noise reduction changes gain with level and frequency, so response and noise are no longer the deck's own.
fn with_noise_reduction(quantity: Quantity) -> Option<Meaning> {
    let because = match quantity {
        Quantity::PlaybackResponse => "noise reduction was on: it changes the response with the level",
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
            Q::PlaybackLevel | Q::PlaybackResponse => {
                absolute("calibrated tape; its certificate's tolerance adds")
            }
            Q::ChannelMatch => absolute("calibrated tape"),
            Q::Azimuth => absolute("calibrated tape; its own tilt adds"),
            Q::SpeedError => absolute("calibrated tape; clocks of player and sound card add"),
            Q::Flutter => absolute("playback, and a little from the calibrated tape"),
            Q::Noise => absolute("playback noise and the noise of this tape"),
            Q::Recording => NOT_RECORDED_HERE,
            Q::Separation => absolute("playback only, as far as the tape's own leakage allows"),
        },
        Origin::House | Origin::HouseNotOnCard | Origin::HouseWithoutCard => match quantity {
            Q::PlaybackLevel | Q::PlaybackResponse | Q::ChannelMatch | Q::Azimuth | Q::SpeedError => {
                match origin {
                    Origin::HouseNotOnCard => {
                        relative("the house tape's own recording: its card does not hold this")
                    }
                    Origin::HouseWithoutCard => {
                        relative("the house tape's own recording: its card was not given")
                    }
                    _ => absolute("house tape with its card: wider by the card's uncertainty"),
                }
            }
            Q::Flutter => absolute("playback, and a little from the house tape"),
            Q::Noise => absolute("playback noise and the noise of this tape"),
            Q::Recording => NOT_RECORDED_HERE,
            Q::Separation => relative("the house tape's own leakage and playback together"),
        },
        Origin::OtherDeck => match quantity {
            Q::PlaybackLevel => relative("the level at which the other deck recorded"),
            Q::PlaybackResponse => relative("the other deck's recording: both decks are mixed"),
            Q::ChannelMatch => relative("the other deck's channels: both decks are mixed"),
            Q::Azimuth => relative("the other deck's record head"),
            Q::SpeedError => relative("the other deck's speed"),
            Q::Flutter => {
                relative("both decks together: the other deck's recording and this deck's playback")
            }
            Q::Noise => relative("the other deck's recording: its noise adds"),
            Q::Recording => NOT_RECORDED_HERE,
            Q::Separation => relative("both decks together"),
        },
        Origin::ThisDeckThree | Origin::ThisDeckTwo | Origin::ThisDeck => this_deck(quantity, origin),
        Origin::Injected => match quantity {
            Q::PlaybackLevel => relative("the injected level: amplifier only"),
            Q::PlaybackResponse => {
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
        Origin::Loopback => match quantity {
            Q::Azimuth => {
                cannot("loopback capture: no head in the chain, a delay is the sound card's", NEEDS_A_DECK)
            }
            Q::SpeedError => {
                cannot("loopback capture: shows the clocks of player and sound card only", NEEDS_A_DECK)
            }
            Q::Flutter => cannot("loopback capture: no tape moves", NEEDS_A_DECK),
            Q::Recording => cannot("loopback capture: nothing was recorded", NEEDS_A_DECK),
            Q::PlaybackLevel | Q::PlaybackResponse | Q::ChannelMatch | Q::Noise | Q::Separation => {
                relative("the programme: sound card only, no deck in the chain")
            }
        },
        Origin::NotTold => match quantity {
            Q::Recording => cannot("not told whose recording this is", "say whose it is"),
            _ => relative("a recording of unknown origin: not told whose recording this is"),
        },
    }
}

/// The deck on the bench recorded the tape itself.
fn this_deck(quantity: Quantity, origin: Origin) -> Meaning {
    use Quantity as Q;
    match (quantity, origin) {
        (Q::PlaybackLevel | Q::PlaybackResponse | Q::ChannelMatch, _) => {
            relative("the programme: record and playback of this deck together")
        }
        (Q::Azimuth, Origin::ThisDeckThree) => {
            relative("this deck's record head: record head against playback head")
        }
        (Q::Azimuth, Origin::ThisDeckTwo) => cannot(
            "the same head recorded and played back: its tilt cancels",
            "play a calibrated tape, a house tape, or one that another deck recorded",
        ),
        (Q::Azimuth, _) => cannot(
            "not told how many heads the deck has; with two, the tilt cancels",
            "say how many, and with two play a calibrated tape or a house tape",
        ),
        (Q::SpeedError, Origin::ThisDeckThree) => cannot(
            "the same capstan recorded and played back: its speed cancels; the figure shows slip and clocks only",
            PLAYBACK_KNOWN_SPEED,
        ),
        (Q::SpeedError, _) => cannot(
            "the same capstan recorded and played back: its speed cancels on average",
            PLAYBACK_KNOWN_SPEED,
        ),
        (Q::Flutter, Origin::ThisDeckThree) => relative(
            "record and playback together, at one delay between the heads: some rates cancel (with 15 mm, multiples of 3.2 \
             Hz), those half-way between double. Where flutter matters, rewind and play",
        ),
        (Q::Flutter, Origin::ThisDeckTwo) => {
            relative("record and playback together, independent of each other")
        }
        (Q::Flutter, _) => relative(
            "record and playback together; not told how many heads (with three, some rates cancel and others double)",
        ),
        (Q::Noise, _) => absolute("noise of this deck's recording and playback with this tape"),
        (Q::Recording, _) => absolute("record and playback of this deck with this tape"),
        (Q::Separation, _) => absolute("record and playback of this deck together"),
    }
}

const NEEDS_A_TAPE: &str = "read a return taken from a tape";
const NEEDS_A_DECK: &str = "read a return taken from the deck";
const PLAYBACK_KNOWN_SPEED: &str =
    "play a calibrated tape, a house tape, or a measured length of tape between two marks";
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

    fn told((recorded_on, heads): Told, noise_reduction: NoiseReduction) -> Circumstances {
        Circumstances { recorded_on, heads, noise_reduction, ..Circumstances::default() }
    }

    #[test]
    fn a_house_tape_is_absolute_only_in_what_its_card_says() {
        let mut house = told((Some(RecordedOn::House), None), NoiseReduction::Off);
        let absolute =
            |house: &Circumstances, quantity| matches!(meaning(quantity, house), Meaning::Absolute { .. });
        let by_card = [
            Quantity::PlaybackLevel,
            Quantity::PlaybackResponse,
            Quantity::ChannelMatch,
            Quantity::Azimuth,
            Quantity::SpeedError,
        ];
        for quantity in by_card {
            assert!(!absolute(&house, quantity), "{quantity:?}");
            assert_eq!(remedy(quantity, &house), Some(Remedy::GiveCard), "{quantity:?}");
        }
        let calibrated = crate::reading::CalibratedBy {
            tape: None,
            file: "c.wav".into(),
            at: None,
            fluxivity_nwb_per_m: None,
            fluxivity_stated: None,
        };
        house.card = Some(CardUsed {
            file: "card.json".into(),
            name: "invented".into(),
            made_at: "2026-01-01".into(),
            calibrated,
            passes: 1,
            level: vec![],
            response: false,
            delay_us: Some(1.0),
            speed_percent: None,
            flutter_at_most_percent: None,
        });
        for quantity in by_card {
            assert_eq!(absolute(&house, quantity), quantity == Quantity::Azimuth, "{quantity:?}");
        }
        assert!(meaning(Quantity::SpeedError, &house).basis().contains("its card does not hold this"));
        let card = house.card.as_mut().unwrap();
        (card.response, card.delay_us, card.speed_percent) = (true, None, Some(0.0));
        for quantity in by_card {
            let want = [Quantity::PlaybackResponse, Quantity::ChannelMatch, Quantity::SpeedError]
                .contains(&quantity);
            assert_eq!(absolute(&house, quantity), want, "{quantity:?}");
        }
    }

    #[test]
    fn noise_reduction_on_forbids_response_and_noise_but_not_speed() {
        let on =
            |quantity| meaning(quantity, &told((Some(RecordedOn::Calibrated), None), NoiseReduction::On));
        for quantity in [Quantity::PlaybackResponse, Quantity::ChannelMatch, Quantity::Noise] {
            assert!(matches!(on(quantity), Meaning::CannotTell { .. }), "{quantity:?}");
        }
        for quantity in [Quantity::SpeedError, Quantity::Flutter, Quantity::Azimuth, Quantity::PlaybackLevel]
        {
            assert!(matches!(on(quantity), Meaning::Absolute { .. }), "{quantity:?}");
        }
    }
}
