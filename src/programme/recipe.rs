//! Recipes: what a programme consists of, as a text that a technician can read and edit.
//!
//! A recipe is TOML. At the top stand `name`, `title`, `purpose` and `reference_hz` (frequency to which responses
//! refer, 400 unless given), and `looped = true` if the player is to repeat it while somebody turns something; then one
//! `[[part]]` table for each part, in the order in which they are played. The keys of a part depend on its `kind`:
//!
//! | `kind` | what is heard | keys it needs | keys it may have | serves, unless given |
//! | --- | --- | --- | --- | --- |
//! | `slate` | a marker, 3.04 s | | `level_db` (0) | place, always |
//! | `silence` | nothing | `length_s` | | `noise` |
//! | `pause` | nothing, while `say` is done | `length_s`, `say` | | `nothing` |
//! | `tone` | a sine | `hz`, `level_db`, `length_s`, `id` | `channels`, `shape` | `level` |
//! | `chord` | several sines at once, each at `level_db` less 20 lg of their number | as a tone; `hz` is a list | `channels` | `distortion` |
//! | `twin-tone` | two sines of equal level, together with the peak of one at `level_db`: each 6.02 dB below it | as a tone; `hz` are two, `level_db` may be a list | `channels` | `distortion` |
//! | `steps` | a tone for each of `hz` at each of `level_db` | as a tone; both may be lists | `channels`, `shape` | `response`; `saturation` if there is one `hz` only |
//! | `sweep` | a sine that moves evenly in octaves | `from_hz`, `to_hz`, `level_db`, `length_s`, `id` | `channels` | `response` |
//! | `noise` | frozen noise, its level is its true rms | `colour`, `level_db`, `length_s`, `id` | `seed` (1), `channels` | `response` |
//! | `rounds` | its own `[[part.part]]` list, `count` times | `count` | | |
//!
//! Every part may have `purpose`, `gap_s` (silence after it; 0.1 after what is heard, 0 after silences) and, but for
//! slates and rounds, `serves`. Silences and pauses may have an `id`. Levels are dB re the reference level of the
//! programme. Lengths and gaps are multiples of 0.01 s, so that every part starts on a whole sample at every rate.
//! `shape` lets the level follow the frequency, 0 dB at `reference_hz`: `inverse-playback-120us` and `-70us` as the flux on a
//! tape that a right playback reads as flat (IEC 60094-1), for a flux loop; `inverse-amplifier-120us` and `-70us` as the
//! voltage that an ideal head makes of it, for the amplifier alone. What serves `loop-120us`, `loop-70us`,
//! `amplifier-120us` or `amplifier-70us` must have the shape that belongs to it.
//!
//! `length_s` of steps is that of each tone and may be a list, one for each of `hz` (or of `level_db`, if there is
//! one `hz` only).
//!
//! Ids of single steps are made from that of their part: `response` gives `response-10000`, `mol` with several levels
//! gives `mol+8dB`, with several frequencies and levels `mol-315+8dB`. In rounds `-round-1`, `-round-2` and so on are
//! added. Slates, silences and pauses without an id are numbered: `slate-0`, `silence-1`, `pause-1`.

use super::inputs::{BY_HAND_BYTES, read_text};
use super::keys::{Keys, Source};
use super::parts::{self, Draft};
use super::{Channels, ProgrammeError, Serves, Signal, slate};
use crate::harmless::echo;
use std::collections::BTreeMap;
use std::path::Path;

/// Longest programme, s.
pub const MAX_LENGTH_S: f64 = 1_800.0;
/// Largest number of parts.
pub const MAX_PARTS: usize = 2_000;

/// A checked recipe: every step and round written out.
#[derive(Debug, Clone, PartialEq)]
pub struct Recipe {
    /// Name by which it is called.
    pub name: String,
    /// Heading of the running sheet.
    pub title: String,
    /// What it is for.
    pub purpose: String,
    /// Frequency to which responses refer, Hz.
    pub reference_hz: f64,
    /// Whether the player repeats it, to be followed while something is turned.
    pub looped: bool,
    pub(super) parts: Vec<Part>,
}

/// One part of a recipe. Times are in hundredths of a second.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Part {
    pub id: String,
    pub length_cs: u64,
    pub gap_cs: u64,
    pub level_db: f64,
    pub channels: Channels,
    pub signal: Signal,
    pub serves: Serves,
    pub purpose: String,
}

impl Recipe {
    /// Reads a recipe from its text; `file` is its name in messages.
    ///
    /// # Errors
    ///
    /// [`ProgrammeError::NotToml`] or [`ProgrammeError::Recipe`], both with the line.
    pub fn parse(text: &str, file: &str) -> Result<Self, ProgrammeError> {
        let source = Source { file, text };
        let document = source.document()?;
        let keys = Keys::new(source, 0..0, document.get_ref());

        keys.only("the head of a recipe", &["name", "title", "purpose", "reference_hz", "looped", "part"])?;
        let name = keys.text("name")?;
        let name = keys.required("name", name, "a short name")?;
        let plain = |c: char| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '-';
        if name.is_empty() || name.len() > 40 || !name.chars().all(plain) {
            let allowed = "1 to 40 small letters, digits and hyphens";
            return Err(keys.refuse("name", format!("{:?}", echo(&name)), allowed, "rename it"));
        }
        let title = keys.text("title")?;
        let title = keys.required("title", title, "a text")?;
        let purpose = keys.text("purpose")?.unwrap_or_default();
        let reference_hz =
            keys.number("reference_hz", parts::LOWEST_HZ, parts::HIGHEST_HZ, "Hz")?.unwrap_or(400.0);
        let looped = keys.flag("looped")?.unwrap_or(false);
        let mut drafts = Vec::new();
        for part in keys.tables("part")? {
            let at = part.at;
            parts::expand(part, reference_hz, parts::Nesting::Top, &mut drafts)?;
            if drafts.len() > MAX_PARTS {
                let (found, allowed) =
                    (format!("more than {MAX_PARTS} parts"), format!("at most {MAX_PARTS}"));
                return Err(source.refuse(at, "part", found, allowed, "split the recipe"));
            }
        }
        let parts = assemble(source, drafts)?;
        Ok(Self { name, title, purpose, reference_hz, looped, parts })
    }

    /// Reads a recipe file.
    ///
    /// # Errors
    ///
    /// [`ProgrammeError::Unreadable`], or what [`Recipe::parse`] returns.
    pub fn load(path: &Path) -> Result<Self, ProgrammeError> {
        let file = path.display().to_string();
        let unreadable = |source| ProgrammeError::Unreadable { file: file.clone(), source };
        let text = read_text(path, BY_HAND_BYTES).map_err(unreadable)?;
        Self::parse(&text, &file)
    }
}

/// Numbers the slates, names what has no name, and checks the programme as a whole.
fn assemble(source: Source<'_>, drafts: Vec<Draft>) -> Result<Vec<Part>, ProgrammeError> {
    let mut places: BTreeMap<String, usize> = BTreeMap::new();
    let mut parts = Vec::with_capacity(drafts.len());
    let (mut slates, mut silences, mut pauses) = (0u8, 0u32, 0u32);
    let mut total_cs = 0;
    for Draft { at, id, mut part } in drafts {
        part.id = match (&mut part.signal, id) {
            (Signal::Slate { index }, _) => {
                *index = slates;
                if usize::from(slates) >= slate::MAX_SLATES {
                    let found = format!("more than {} slates", slate::MAX_SLATES);
                    let allowed = format!("1 to {} slates", slate::MAX_SLATES);
                    return Err(source.refuse(at, "kind", found, allowed, "take some slates out"));
                }
                slates += 1;
                format!("slate-{index}")
            }
            (_, Some(id)) => id,
            (Signal::Pause { .. }, None) => {
                pauses += 1;
                format!("pause-{pauses}")
            }
            (_, None) => {
                silences += 1;
                format!("silence-{silences}")
            }
        };
        total_cs += part.length_cs + part.gap_cs;
        if total_cs as f64 > MAX_LENGTH_S * 100.0 {
            let found = format!("a programme of more than {} minutes at this part", MAX_LENGTH_S / 60.0);
            let allowed = format!("at most {} minutes", MAX_LENGTH_S / 60.0);
            return Err(source.refuse(at, "length_s", found, allowed, "shorten it or split the recipe"));
        }
        if let Some(other) = places.insert(part.id.clone(), at) {
            let line = source.line(other);
            let found = format!("the id {:?}, which the part in line {line} has too", part.id);
            let remedy = "rename one of them, or repeat parts with rounds";
            return Err(source.refuse(at, "id", found, "every id once", remedy));
        }
        parts.push(part);
    }
    if slates == 0 {
        let remedy = "add a part of kind \"slate\" at the start and at the end";
        let allowed = format!("1 to {} slates", slate::MAX_SLATES);
        return Err(source.refuse(0, "part", "no slate", allowed, remedy));
    }
    Ok(parts)
}
