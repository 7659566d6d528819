//! `follow`: a deck followed live while a screw is turned.

use super::Outcome;
use super::bench::STATES;
use super::clock::made_now;
use super::house::card_told;
use super::interrupt::is_the_end;
use super::job_told::{TypedWhichJob, told_by};
use super::live_screen::LiveScreen;
use super::read::channels;
use super::terminal::{note, print};
#[cfg(not(feature = "sound-card"))]
use super::typed::NO_SOUND_CARD;
use super::values::{Choice, TypedCircumstances, TypedLimits, one_of, reference_dbfs};
use crate::capture::Coding;
use crate::capture::live::{LiveStream, Pace, RawFormat};
use crate::follow::FollowOptions;
use crate::job::{Following, JobFile, Next, Pictures, Untaken};
use crate::judge::live_output;
use crate::measure::card_used;
use crate::programme::find;
use crate::reading::{FollowedReading, JobState, LiveKey, Picture, View};
use crate::show::live::{Colours, Look, json_line, kept_line, plain_line};
use crate::signal::ear::{Aim, Ear};
#[cfg(feature = "sound-card")]
use crate::sound_card::ToneOut;
use crate::trade::Medium;
use anyhow::{Context, bail, ensure};
use std::io::{IsTerminal, Write};
use std::path::{Path, PathBuf};
use std::time::Duration;

/// Pictures a second on the screen, and lines a second.
const PICTURES_PER_S: f64 = 15.0;
const LINE_EVERY_S: f64 = 1.0;
/// What a key, or the sound, is waited for at a time.
const PATIENCE: Duration = Duration::from_millis(20);
/// Sample rate of the figure for the ear, Hz.
const EAR_RATE_HZ: u32 = 48_000;
/// After a gap the ear is given no more than this, s.
const EAR_AT_ONCE_S: f64 = 0.5;

const VIEWS: [Choice<View>; 6] = [
    ("azimuth", "Phase between the channels, delay, angle", View::Azimuth),
    ("level", "Left, right, their difference", View::Level),
    ("bias", "High tone against low tone, third harmonic", View::Bias),
    ("speed", "Frequency of a tone, flutter", View::Speed),
    ("response", "Third octaves, or tones in turn", View::Response),
    ("noise", "A-weighted noise, hum", View::Noise),
];

const PACES: [Choice<Pace>; 2] =
    [("real", "As fast as it was recorded", Pace::Real), ("fast", "As fast as it goes", Pace::Fast)];

/// Follow a deck live while you turn a screw
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  arecord -f S16_LE -r 48000 -c 2 -t wav - | deckproof follow - --show azimuth
  deckproof follow return.wav --pace real")]
pub struct Typed {
    /// What is followed: `-` for standard input (WAV, or --raw), a WAV file that still grows, or with --pace a finished file
    #[cfg_attr(not(feature = "sound-card"), arg(value_name = "SOUND"))]
    #[cfg_attr(feature = "sound-card", arg(value_name = "SOUND", required_unless_present = "device"))]
    sound: Option<PathBuf>,
    /// Follow an input of the sound card (see `deckproof list devices`), or a part of its name; `default`: the system's
    #[cfg(feature = "sound-card")]
    #[arg(long, value_name = "NAME", conflicts_with_all = ["sound", "raw", "pace", "channels"])]
    device: Option<String>,
    /// Sample rate to be asked of the input, Hz [default: a usual one]
    #[cfg(feature = "sound-card")]
    #[arg(long, value_name = "HZ", requires = "device")]
    rate: Option<u32>,
    /// Samples without a header: rate in Hz, channels, coding (s16, s24, s32, f32; low byte first)
    #[arg(long, value_name = "HZ,CHANNELS,CODING", value_parser = raw_format)]
    raw: Option<RawFormat>,
    /// Follow a finished file, at this pace
    #[arg(long, value_name = "PACE", value_parser = one_of(&PACES))]
    pace: Option<Pace>,
    /// Left and right where there are more than two channels, counted from 1
    #[arg(long, value_name = "LEFT,RIGHT", value_parser = channels)]
    channels: Option<[usize; 2]>,
    /// The view; without it, the view goes with what plays
    #[arg(long = "show", value_name = "VIEW", value_parser = one_of(&VIEWS))]
    view: Option<View>,
    /// Frequency that a steady tone has on the tape, Hz: makes the speed error a figure
    #[arg(long, value_name = "HZ", value_parser = known_hz)]
    known_hz: Option<f64>,
    /// Card of the house tape that plays (`house make`): what its recording is off is subtracted
    #[arg(long, value_name = "CARD")]
    card: Option<PathBuf>,
    /// Recipe that plays, if it is not a built-in one: a file
    #[arg(long, value_name = "NAME|FILE")]
    recipe: Option<String>,
    /// Where 0 dB of the programme lay in its WAV, dBFS, if `write` was told another level
    #[arg(long, value_name = "DBFS", default_value = "-12", allow_hyphen_values = true, value_parser = reference_dbfs)]
    reference_dbfs: f64,
    /// Print a line a second, for a log or a screen reader
    #[arg(long, conflicts_with = "json")]
    plain: bool,
    /// Print a line of JSON a second
    #[arg(long)]
    json: bool,
    /// Give the figure to the ear. `--sound=-`: as samples on standard output for any player (mono, 48000 Hz, s16, low byte
    /// first). With the feature sound-card also `--sound=NAME`, an output of the card, or `--sound` alone, the system's own.
    /// Never the one that feeds the deck
    #[arg(long = "sound", value_name = "WHERE", num_args = 0..=1, require_equals = true, default_missing_value = "default")]
    ear_at: Option<String>,
    /// Level of that tone, dBFS
    #[arg(long, value_name = "DBFS", default_value = "-30", allow_hyphen_values = true, value_parser = ear_dbfs)]
    sound_dbfs: f64,
    /// As what the key k keeps the figure in the job: as-found or as-left
    #[arg(long, value_name = "STATE", value_parser = one_of(&STATES), default_value = "as-left")]
    keep_as: JobState,
    #[command(flatten)]
    job: TypedWhichJob,
    #[command(flatten)]
    by: TypedLimits,
    // Last, because its heading would stand over what comes after it.
    #[command(flatten)]
    circumstances: TypedCircumstances,
}

fn raw_format(text: &str) -> Result<RawFormat, String> {
    let expected = "expected rate, channels and coding, such as 48000,2,s16";
    let parts: Vec<&str> = text.split(',').map(str::trim).collect();
    let &[rate, channels, coding] = &parts[..] else { return Err(expected.into()) };
    let coding = Coding::RAW.into_iter().find(|known| known.word() == coding).ok_or(expected)?;
    let rate_hz = rate.parse().map_err(|_| expected)?;
    let channels = channels.parse().map_err(|_| expected)?;
    Ok(RawFormat { rate_hz, channels, coding })
}

fn ear_dbfs(text: &str) -> Result<f64, String> {
    match text.trim().parse::<f64>() {
        Ok(dbfs) if (-60.0..=-20.0).contains(&dbfs) => Ok(dbfs),
        _ => Err("allowed are -60 to -20 dBFS: some have headphones on".into()),
    }
}

fn known_hz(text: &str) -> Result<f64, String> {
    match text.trim().parse::<f64>() {
        Ok(hz) if (20.0..=20_000.0).contains(&hz) => Ok(hz),
        _ => Err("allowed are 20 to 20000 Hz".into()),
    }
}

/// What becomes of the pictures.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Out {
    Screen,
    Plain,
    Json,
}

impl Typed {
    /// Opens the sound, and loads what the job and the files say.
    pub fn meant(self) -> anyhow::Result<Job> {
        let job = self.job.find()?;
        let mut circumstances = match &job {
            Some(job) => told_by(job, &self.circumstances, &self.by, None).0,
            None => (&self.circumstances).into(),
        };
        let card = self.card.as_deref().map(|path| card_told(path, &circumstances)).transpose()?;
        circumstances.card = card
            .as_ref()
            .zip(self.card.as_deref())
            .map(|(card, path)| card_used(card, &path.display().to_string()));
        let limits = self.by.limits(job.as_ref().and_then(|job| job.limits.as_ref()))?;
        let (full_scale_mv, zero_dbfs) = live_output(&limits);
        let options = FollowOptions {
            view: self.view,
            limits,
            circumstances,
            known_hz: self.known_hz,
            card,
            recipe: self.recipe.as_deref().map(find).transpose()?,
            medium: Medium::COMPACT_CASSETTE,
            transport: self.by.transport(job.as_ref().and_then(JobFile::transport))?,
            reference_dbfs: self.reference_dbfs,
            full_scale_mv,
            zero_dbfs,
        };
        let out = match (self.plain, self.json) {
            (true, _) => Out::Plain,
            (_, true) => Out::Json,
            _ if self.at_standard_output() && !std::io::stderr().is_terminal() => Out::Plain,
            _ => Out::Screen,
        };
        ensure!(
            out != Out::Screen || LiveScreen::is_possible(),
            "standard output: no terminal to draw on; use --plain or --json for a line a second"
        );
        ensure!(
            !self.at_standard_output() || !(self.plain || self.json),
            "standard output: takes either lines or samples; leave --plain and --json away, or --sound=-"
        );
        if self.at_standard_output() {
            ensure!(
                !std::io::stdout().is_terminal(),
                "standard output: is the terminal, which would print samples; pipe it into a player"
            );
        }
        let ear = self.ear()?;
        let stream = self.stream()?;
        Ok(Job {
            fast: self.pace == Some(Pace::Fast),
            stream,
            options,
            out,
            ear,
            keep_as: self.keep_as,
            job: job.map(|job| job.path),
        })
    }
}

impl Typed {
    /// Opens what is followed.
    fn stream(&self) -> anyhow::Result<LiveStream> {
        #[cfg(feature = "sound-card")]
        if let Some(device) = &self.device {
            return Ok(LiveStream::device(named(device), self.rate)?);
        }
        let sound = self.sound.as_deref().context("no sound: name a file, or `-` for standard input")?;
        let standard = sound == Path::new("-");
        ensure!(!standard || self.pace.is_none(), "standard input: comes as it comes; leave --pace away");
        Ok(match (standard, self.pace) {
            (true, _) => LiveStream::standard_input(self.raw, self.channels)?,
            (false, Some(pace)) => LiveStream::finished(sound, self.raw, pace, self.channels)?,
            (false, None) => LiveStream::growing(sound, self.raw, self.channels)?,
        })
    }

    /// Whether the figure is heard through a player behind standard output.
    fn at_standard_output(&self) -> bool {
        self.ear_at.as_deref() == Some("-")
    }

    /// Where the figure is heard, if it is.
    fn ear(&self) -> anyhow::Result<Option<EarOut>> {
        let Some(place) = &self.ear_at else { return Ok(None) };
        if self.at_standard_output() {
            return Ok(Some(EarOut::at(EAR_RATE_HZ, self.sound_dbfs)));
        }
        #[cfg(feature = "sound-card")]
        {
            // A card's output usually feeds the deck whose return its input hears.
            ensure!(
                self.device.as_ref() != Some(place),
                "{place}: hears the deck, and its output may feed it; give the figure to another device, or --sound=- to a player"
            );
            let device = ToneOut::open(named(place))?;
            let ear = EarOut::at(device.rate_hz(), self.sound_dbfs);
            Ok(Some(EarOut { device: Some(device), is_standard: false, ..ear }))
        }
        #[cfg(not(feature = "sound-card"))]
        bail!("--sound={place}: {NO_SOUND_CARD}; or give it to a player with --sound=-")
    }
}

/// The name of a device; none for the system's own choice.
#[cfg(feature = "sound-card")]
fn named(device: &str) -> Option<&str> {
    (device != "default").then_some(device)
}

/// A deck to be followed.
pub struct Job {
    stream: LiveStream,
    options: FollowOptions,
    out: Out,
    fast: bool,
    ear: Option<EarOut>,
    keep_as: JobState,
    job: Option<PathBuf>,
}

impl Job {
    /// Follows it until the sound ends, or somebody quits.
    pub fn run(self) -> anyhow::Result<Outcome> {
        is_the_end();
        let lines = self.out != Out::Screen;
        let words = self.stream.format.words.clone();
        let pictures = Pictures {
            every_s: if lines && self.ear.is_none() { LINE_EVERY_S } else { 1.0 / PICTURES_PER_S },
            untaken: if self.fast { Untaken::WaitedFor } else { Untaken::Replaced },
        };
        let following = Following::begin(self.stream, self.options, pictures)
            .context("the system gives no thread to measure in; close other programs")?;
        let mut hands = Hands { following, job: self.job, keep_as: self.keep_as };
        let mut ear = self.ear;
        if lines {
            note(&format!("Following: {words}."));
            return hands.lines(self.out, ear.as_mut());
        }
        let without = std::env::var_os("NO_COLOR").is_some_and(|value| !value.is_empty());
        let colours = if without { Colours::Off } else { Colours::On };
        let screen = LiveScreen::open(Look { colours })?;
        hands.screen(screen, ear.as_mut())
    }
}

/// What is being followed, and where figures are kept.
struct Hands {
    following: Following,
    job: Option<PathBuf>,
    keep_as: JobState,
}

impl Hands {
    fn lines(&mut self, out: Out, mut ear: Option<&mut EarOut>) -> anyhow::Result<Outcome> {
        let mut said_s = f64::NEG_INFINITY;
        loop {
            match self.following.next(PATIENCE) {
                Next::Picture(picture) => {
                    if let Some(ear) = &mut ear {
                        let wrong = ear.hear(&picture)?;
                        wrong.iter().for_each(|words| self.following.say(words));
                    }
                    // With the ear, pictures come more often than lines.
                    if picture.at_s < said_s + 0.99 * LINE_EVERY_S && picture.at_s >= said_s {
                        continue;
                    }
                    said_s = picture.at_s;
                    let line =
                        if out == Out::Json { json_line(&picture) } else { plain_line(&picture) + "\n" };
                    if ear.as_ref().is_some_and(|ear| ear.is_standard) {
                        note(line.trim_end());
                    } else if !said(&line)? {
                        return Ok(Outcome::Done);
                    }
                }
                Next::Nothing => {}
                Next::End(None) => return Ok(Outcome::Done),
                Next::End(Some(why)) => bail!("{why}"),
            }
        }
    }

    fn screen(&mut self, mut screen: LiveScreen, mut ear: Option<&mut EarOut>) -> anyhow::Result<Outcome> {
        let mut newest: Option<Box<Picture>> = None;
        loop {
            // Whatever came since the last time; only the newest is drawn.
            let mut fresh = false;
            let mut patience = PATIENCE;
            loop {
                match self.following.next(patience) {
                    Next::Picture(picture) => {
                        if let Some(ear) = &mut ear {
                            let wrong = ear.hear(&picture)?;
                            wrong.iter().for_each(|words| self.following.say(words));
                        }
                        (newest, fresh, patience) = (Some(picture), true, Duration::ZERO);
                    }
                    Next::Nothing => break,
                    Next::End(None) => return Ok(Outcome::Done),
                    Next::End(Some(why)) => {
                        drop(screen);
                        bail!("{why}")
                    }
                }
            }
            if let Some(picture) = newest.as_deref().filter(|_| fresh) {
                screen.draw(picture)?;
            }
            match screen.key(Duration::from_millis(1)) {
                Some(LiveKey::Quit) => return Ok(Outcome::Done),
                Some(LiveKey::Keep) => {
                    let words = match &newest {
                        Some(picture) => self.keep(picture),
                        None => "Nothing is shown yet.".to_owned(),
                    };
                    self.following.say(&words);
                }
                Some(key) => self.following.press(key),
                None => {}
            }
        }
    }

    /// Keeps what is shown in the job; what was done, in words.
    fn keep(&self, picture: &Picture) -> String {
        let Some(path) = &self.job else {
            return "Not kept: there is no job here. Stand in the folder of one, or give --job DIR."
                .to_owned();
        };
        let Some(reads) = kept_line(picture) else {
            return "Not kept: there is no figure now.".to_owned();
        };
        let kept = FollowedReading {
            state: self.keep_as,
            at: made_now(None).at,
            view: picture.view.as_str().to_owned(),
            reads,
        };
        // It may have been edited meanwhile.
        let done = JobFile::load(path).and_then(|job| job.keep(&kept));
        match done {
            Ok(_) => format!("Kept {}: {}.", state_words(self.keep_as), kept.reads),
            Err(error) => format!("Not kept: {error}."),
        }
    }
}

fn state_words(state: JobState) -> &'static str {
    match state {
        JobState::AsFound => "as found",
        JobState::AsLeft => "as left",
    }
}

/// Prints a line; false once nobody reads any more.
fn said(line: &str) -> anyhow::Result<bool> {
    let mut out = std::io::stdout().lock();
    match out.write_all(line.as_bytes()).and_then(|()| out.flush()) {
        Ok(()) => Ok(true),
        Err(error) if error.kind() == std::io::ErrorKind::BrokenPipe => Ok(false),
        Err(_) => print(line).map(|()| true),
    }
}

/// The figure for the ear.
struct EarOut {
    ear: Ear,
    at_s: f64,
    rate_hz: u32,
    samples: Vec<f64>,
    /// On standard output; otherwise on the device, as long as it is there.
    is_standard: bool,
    #[cfg(feature = "sound-card")]
    device: Option<ToneOut>,
}

impl EarOut {
    /// On standard output, for any player, unless it is given a device.
    fn at(rate_hz: u32, level_dbfs: f64) -> Self {
        Self {
            ear: Ear::new(f64::from(rate_hz)).at_dbfs(level_dbfs),
            at_s: 0.0,
            rate_hz,
            samples: Vec::new(),
            is_standard: true,
            #[cfg(feature = "sound-card")]
            device: None,
        }
    }

    /// Sounds the figure of `picture` for the time since the last one. What is wrong with the device, once it is.
    fn hear(&mut self, picture: &Picture) -> anyhow::Result<Option<String>> {
        let figure = picture.figure.as_ref();
        self.ear.aim(figure.and_then(|figure| Aim::new(figure.value, figure.target, figure.limit)));
        let passed_s = (picture.at_s - self.at_s).clamp(0.0, EAR_AT_ONCE_S);
        self.at_s = picture.at_s;
        self.samples.resize((passed_s * f64::from(self.rate_hz)).round() as usize, 0.0);
        #[cfg(feature = "sound-card")]
        if let Some(device) = &mut self.device {
            // As much as it has room for: sound and card have a clock each.
            self.samples.resize(device.room(), 0.0);
            self.ear.fill(&mut self.samples);
            let frames: Vec<f32> = self.samples.iter().map(|&x| x as f32).collect();
            device.push(&frames);
            let gone = device.gone();
            if gone.is_some() {
                self.device = None;
            }
            return Ok(gone.map(|what| format!("The figure is not heard any more: {what}.")));
        }
        if !self.is_standard {
            return Ok(None);
        }
        self.ear.fill(&mut self.samples);
        let whole = |x: &f64| (x * 32_767.0).round().clamp(-32_768.0, 32_767.0) as i16;
        let bytes: Vec<u8> = self.samples.iter().flat_map(|x| whole(x).to_le_bytes()).collect();
        let mut out = std::io::stdout().lock();
        match out.write_all(&bytes).and_then(|()| out.flush()) {
            Err(error) if error.kind() == std::io::ErrorKind::BrokenPipe => Ok(None),
            other => {
                other.context("standard output: cannot be written; check the player behind it").map(|()| None)
            }
        }
    }
}
