//! `play`: a programme through the sound card.

use super::Outcome;
use super::interrupt;
use super::terminal::{Life, note};
use crate::job::{Playable, Player, Rounds};
use crate::trade::TEST_TONES;

/// Play a programme through the sound card
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  deckproof play first-look
  deckproof play full.wav --device hw:CARD=1,DEV=0")]
pub struct Typed {
    /// WAV file (FLAC and AIFF too), or a recipe: built-in name (see `deckproof list`) or file
    programme: String,
    /// Output to play through (see `deckproof list devices`), or a part of its name [default: the system's]
    #[arg(long, value_name = "NAME")]
    device: Option<String>,
    /// Begin again at the end, without a gap, until you press Ctrl-C
    #[arg(long = "loop")]
    again: bool,
}

impl Typed {
    /// Finds programme and device.
    pub fn meant(self) -> anyhow::Result<Job> {
        let player = Player::open(Playable::find(&self.programme)?, self.device.as_deref())?;
        Ok(Job { player, rounds: if self.again { Rounds::Endless } else { Rounds::One } })
    }
}

/// A programme to be played.
pub struct Job {
    player: Player,
    rounds: Rounds,
}

impl Job {
    /// Plays it.
    pub fn run(self) -> anyhow::Result<Outcome> {
        interrupt::nothing_is_written();
        note(TEST_TONES);
        let life = Life::new();
        let mut shown = None;
        self.player.play(self.rounds, &mut |at_s, of_s| {
            let at_s = at_s as u64;
            if shown.replace(at_s) != Some(at_s) {
                life.say(&format!("playing, {} of {}", clock(at_s), clock(of_s.ceil() as u64)));
            }
        })?;
        Ok(Outcome::Done)
    }
}

/// Minutes and seconds.
fn clock(seconds: u64) -> String {
    format!("{}:{:02}", seconds / 60, seconds % 60)
}
