//! Warnings: something odd about a return, by a stable name.

use schemars::{JsonSchema, Schema, SchemaGenerator};
use serde::{Deserialize, Serialize};
use std::borrow::Cow;
use std::fmt;

/// Something odd about the return.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Warning {
    /// Stable name, such as `clipped`.
    pub id: WarningId,
    /// What was found and what to do, in words.
    pub text: String,
}

impl Warning {
    /// A warning with the stable name `id`.
    pub fn new(id: WarningId, text: impl Into<String>) -> Self {
        Self { id, text: text.into() }
    }
}

/// Each name once, with what it means.
macro_rules! warning_ids {
    ($($variant:ident $name:literal $meaning:literal,)*) => {
        /// Stable name of a warning: a word of the JSON, lower case with hyphens.
        #[derive(Debug, Clone, PartialEq, Eq, Hash, Serialize, Deserialize)]
        #[serde(from = "String", into = "String")]
        #[non_exhaustive]
        pub enum WarningId {
            $(
                #[doc = concat!("`", $name, "`: ", $meaning, ".")]
                $variant,
            )*
            /// Of a reading that another version wrote: a name that this one does not know.
            Other(String),
        }

        impl WarningId {
            /// The name.
            pub fn as_str(&self) -> &str {
                match self {
                    $(Self::$variant => $name,)*
                    Self::Other(name) => name,
                }
            }
        }

        impl From<String> for WarningId {
            fn from(name: String) -> Self {
                match name.as_str() {
                    $($name => Self::$variant,)*
                    _ => Self::Other(name),
                }
            }
        }
    };
}

warning_ids! {
    BadCapture "bad-capture" "Of a comparison: a reading's capture is not sound",
    BiasNotStepped "bias-not-stepped" "Of a bias sweep: the bias was not stepped",
    BrokenSamples "broken-samples" "Samples of the file are no numbers",
    CardLimited "card-limited" "The sound card limits what can be told",
    CardRange "card-range" "The card of the house tape does not reach as far as the return",
    CardRehearsal "card-rehearsal" "The card of the house tape was made from a rehearsal",
    CardRenew "card-renew" "The card of the house tape should be renewed",
    Clicks "clicks" "Clicks stand in the return",
    Clipped "clipped" "Samples are clipped",
    CoarseSamples "coarse-samples" "The file has 8 bit samples",
    Crossfeed "crossfeed" "The channels are mixed into each other",
    CutEnd "cut-end" "The recording ended before the programme did",
    CutStart "cut-start" "The recording began after the programme did",
    DeadChannel "dead-channel" "Nothing came back on one channel",
    Dropouts "dropouts" "Steady tones have dropouts",
    EqualisationConverted "equalisation-converted" "A tape for another equalisation was converted",
    FluxStatementUnknown "flux-statement-unknown" "Not known how the flux of the tape is stated",
    Fringing "fringing" "A full-width tape lifts the bass of a narrower head",
    GainRiding "gain-riding" "Something rides the gain",
    Hum "hum" "Hum of the mains stands in the silence",
    Inverted "inverted" "A channel is inverted",
    LevelMoved "level-moved" "The level moved in the course of the return",
    LevelsAssumed "levels-assumed" "Tones are taken to be recorded at one level",
    LoopbackCapture "loopback-capture" "The loopback capture has a fault",
    LoopbackCrossed "loopback-crossed" "Left and right are exchanged in one of return and loopback capture",
    LoopbackNoPhases "loopback-no-phases" "The loopback capture has no phases at the return's frequencies",
    Lossy "lossy" "Lossy compression on the way",
    LowRate "low-rate" "The sample rate of the file is low: its own filter reaches into the treble",
    MadeToBeFollowed "made-to-be-followed" "The programme is followed while something is turned",
    Mono "mono" "Both channels carry one signal",
    NoCertificate "no-certificate" "A reference tape without certificate",
    NoLadder "no-ladder" "Tones make no ladder of equal level",
    NoSilence "no-silence" "No silence between the tones",
    NoSlate "no-slate" "No slate was found",
    NoSpeed "no-speed" "No speed follows from the marks",
    NoTestTones "no-test-tones" "No test tones were found",
    NoiseLimited "noise-limited" "Tones lie too deep in noise",
    NoiseReductionNotSwitched "noise-reduction-not-switched" "Noise reduction was not switched between the halves",
    NoiseReductionOn "noise-reduction-on" "Noise reduction or suppression was on",
    NominalGuessed "nominal-guessed" "The nominal frequency of a tone was guessed",
    NotATape "not-a-tape" "Read as injected, whatever was told",
    Offset "offset" "The samples stand off zero",
    OtherCard "other-card" "Of a comparison: the sound card was subtracted from some only",
    OtherDeck "other-deck" "Of a comparison: the decks differ",
    OtherHeads "other-heads" "Of a comparison: the numbers of heads differ",
    OtherHouseCard "other-house-card" "Of a comparison: the cards of the house tape differ",
    OtherNoiseReduction "other-noise-reduction" "Of a comparison: noise reduction differs",
    OtherProgramme "other-programme" "The file holds another programme as well",
    OtherRecipe "other-recipe" "Of a comparison: the programmes differ",
    OtherRecording "other-recording" "Of a comparison: the tapes are of different origin",
    OtherRepeats "other-repeats" "Of a comparison: the repeats are of another kind",
    OtherTapeType "other-tape-type" "Of a comparison: the tape types differ",
    PhaseUnresolved "phase-unresolved" "The phases fit no single delay",
    PolarityFlips "polarity-flips" "The polarity of a channel is not the same from beginning to end",
    RateMismatch "rate-mismatch" "The file's header names a wrong sample rate",
    Rehearsal "rehearsal" "A virtual deck played",
    SameReading "same-reading" "Of a comparison: two readings are one",
    SeveralTakes "several-takes" "The file holds the programme more than once",
    SlatesThere "slates-there" "A return read without slates carries some",
    Swapped "swapped" "Left and right were exchanged",
    SweepUnmeasured "sweep-unmeasured" "A sweep was found and not measured",
    TapeHeard "tape-heard" "A tape is heard where none was told",
    TapeNotRunning "tape-not-running" "The tape stopped or ran down",
    TimeJump "time-jump" "Samples were lost or came twice",
    TooQuiet "too-quiet" "The programme came back too quietly",
    TurnedInTone "turned-in-tone" "A level moved while a tone sounded",
    Unmeasured "unmeasured" "Parts were not measured",
    WrongRecipe "wrong-recipe" "The slates carry another programme than was told",
}

impl From<WarningId> for String {
    fn from(id: WarningId) -> Self {
        id.as_str().to_owned()
    }
}

impl PartialEq<str> for WarningId {
    fn eq(&self, name: &str) -> bool {
        self.as_str() == name
    }
}

impl PartialEq<&str> for WarningId {
    fn eq(&self, name: &&str) -> bool {
        self.as_str() == *name
    }
}

impl fmt::Display for WarningId {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(self.as_str())
    }
}

/// A text: names are added, and who reads must expect one that it does not know.
impl JsonSchema for WarningId {
    fn inline_schema() -> bool {
        true
    }

    fn schema_name() -> Cow<'static, str> {
        "WarningId".into()
    }

    fn json_schema(generator: &mut SchemaGenerator) -> Schema {
        String::json_schema(generator)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_are_the_words_of_the_json_and_unknown_ones_survive() {
        for (id, name) in [
            (WarningId::CutStart, "cut-start"),
            (WarningId::NoiseReductionOn, "noise-reduction-on"),
            (WarningId::Other("of-tomorrow".into()), "of-tomorrow"),
        ] {
            let warning = Warning::new(id, "text");
            let json = serde_json::to_string(&warning).unwrap();
            assert_eq!(json, format!("{{\"id\":\"{name}\",\"text\":\"text\"}}"));
            assert_eq!(serde_json::from_str::<Warning>(&json).unwrap(), warning);
            assert!(warning.id == name);
        }
    }
}
