//! What comes next at the bench, in the order of work: what to play or record, how to read it, what to turn.
//!
//! The order is common practice, no source: what the later steps rest on comes first.

use crate::judge::bench::command::Command;
use crate::judge::bench::hand_readings::{HandKind, HandRow, judge_by_hand};
use crate::judge::bench::job_skew::result;
use crate::judge::bench::next_by_hand::{hand_step, level_tone, meter, rows_of, tape_path};
use crate::judge::bench::next_commands::{Play, commands, return_name};
use crate::judge::bench::next_words as words;
use crate::judge::bench::step::{JobEvidence, JobReading, Step, StepState, by_hand_only};
use crate::judge::meaning::{Meaning, meaning};
use crate::judge::quantities::judged;
use crate::reading::{
    Channel, Circumstances, Finding, Heads, JobSheet, JobState, RecordedOn, TapeType, Verdict, View,
};

/// Names of the steps, in the order of work; `record-trim` has one for each tape type, `record-trim-type-II`.
pub const STEPS: [&str; 16] = [
    "safety",
    "tape-path",
    "torques",
    "offset",
    "sound-card",
    "as-found",
    "transport",
    "azimuth",
    "playback-response",
    "playback-level",
    "meter",
    "record-trim",
    "noise",
    "distortion",
    "separation",
    "erasing",
];

/// What each step rests on: a deviation of these shows in it as well. Common practice, no source.
const RESTS_ON: [(&str, &[&str]); 8] = [
    ("azimuth", &["tape-path"]),
    ("playback-response", &["azimuth"]),
    ("playback-level", &["azimuth"]),
    ("record-trim", &["transport", "azimuth", "playback-response", "playback-level", "meter"]),
    ("meter", &["playback-level"]),
    ("noise", &["playback-level"]),
    ("distortion", &["playback-level", "record-trim"]),
    ("separation", &["azimuth"]),
];

/// What a step asks of a reading.
struct Wanted<'a> {
    /// Recordings that tell it.
    origins: &'a [RecordedOn],
    /// The tape type that it is about.
    tape_type: Option<TapeType>,
    /// Findings that must be told for the step to count as read; none: any reading of this origin does.
    telling: &'a [&'static str],
    /// All findings that the step puts right.
    findings: &'a [&'static str],
    /// Only a recording in rounds counts.
    rounds: bool,
}

/// The steps of a job, in the order of work; those that its deck does not have are left out.
///
/// A step is done when its newest reading judges all of its findings and has none outside its limit, or when the technician says
/// so.
pub fn steps(sheet: &JobSheet, evidence: &JobEvidence<'_>) -> Vec<Step> {
    let hand = judge_by_hand(sheet);
    let mut steps = vec![by_hand_only(
        "safety",
        "Read the cautions",
        vec!["Read them each time a deck is opened, then say so.".to_owned()],
        vec![Command::Done { step: "safety", remark: "read" }],
    )];
    steps[0].cautions = crate::trade::CAUTIONS.to_vec();
    steps.push(tape_path(sheet));
    let (torques, offset) = (rows_of(&hand, HandKind::Torque), rows_of(&hand, HandKind::Voltage));
    steps.push(hand_step("torques", "Torques by hand", &hand, &torques, words::TORQUES));
    let undone = |step, remark| Command::Done { step, remark };
    let last = |steps: &mut Vec<Step>, when, command| {
        if let Some(step) = steps.last_mut() {
            step.otherwise.push((when, command));
        }
    };
    last(&mut steps, "No torque cassette", undone("torques", "not measured"));
    steps.push(hand_step("offset", "DC offset at the output", &hand, &offset, words::OFFSET));
    let coupled = "An output that is coupled by capacitors has none";
    last(&mut steps, coupled, undone("offset", "coupled by capacitors"));
    let job = Job { sheet, evidence, hand: &hand };
    steps.push(job.sound_card());
    steps.push(job.as_found());
    steps.push(job.transport());
    steps.push(job.azimuth());
    steps.push(job.playback_response());
    steps.push(job.playback_level());
    steps.push(meter(&hand));
    if sheet.deck.records {
        steps.extend(sheet.at_hand.tape_types.iter().map(|kind| job.record_trim(*kind)));
        steps.push(job.recorded(
            "noise",
            "Noise and hum",
            "noise",
            &["noise"],
            &["noise", "hum"],
            words::NOISE,
        ));
        let findings = ["distortion", "saturation"];
        steps.push(job.recorded(
            "distortion",
            "Distortion and saturation",
            "saturation",
            &findings[..1],
            &findings,
            words::SATURATION,
        ));
        let findings = ["separation"];
        steps.push(job.recorded(
            "separation",
            "Separation",
            "separation",
            &findings,
            &findings,
            words::SEPARATION,
        ));
        steps.push(job.erasing());
    }
    for step in &mut steps {
        if let Some((_, remark)) = sheet.done.iter().find(|(id, _)| *id == step.id) {
            step.state = StepState::Done;
            step.because =
                if remark.is_empty() { "called done".to_owned() } else { format!("called done: {remark}") };
            step.turns.clear();
        }
    }
    for k in 0..steps.len() {
        let is = |id: &str, name: &str| {
            id == name || id.strip_prefix(name).is_some_and(|rest| rest.starts_with("-type-"))
        };
        let Some((_, below)) = RESTS_ON.iter().find(|(name, _)| is(&steps[k].id, name)) else { continue };
        let missing = steps[..k].iter().filter(|step| step.state != StepState::Done);
        let missing = missing.filter(|step| below.iter().any(|name| is(&step.id, name)));
        steps[k].first =
            missing.map(|step| format!("{} ({}: {})", step.title, step.id, step.because)).collect();
    }
    steps
}

/// The job that the steps belong to.
struct Job<'a> {
    sheet: &'a JobSheet,
    evidence: &'a JobEvidence<'a>,
    hand: &'a [HandRow],
}

const PLAYED: [RecordedOn; 2] = [RecordedOn::Calibrated, RecordedOn::House];

impl Job<'_> {
    /// Whether there is a tape by which playback can be told.
    fn has_reference(&self) -> bool {
        self.sheet.at_hand.calibrated_tape || self.sheet.at_hand.house_card.is_some()
    }

    /// The newest reading that tells what the step wants.
    fn newest(&self, wanted: &Wanted<'_>) -> Option<&JobReading<'_>> {
        self.evidence.readings.iter().rev().find(|job| {
            let told = &job.reading.circumstances;
            let tells = |finding: &Finding| {
                wanted.telling.contains(&finding.id.as_str())
                    && finding.value.is_some()
                    && is_meant(finding, told)
            };
            told.recorded_on.is_some_and(|on| wanted.origins.contains(&on))
                && (!wanted.rounds || !job.reading.rounds.is_empty())
                && (wanted.tape_type.is_none() || told.tape_type == wanted.tape_type)
                && (wanted.telling.is_empty() || job.reading.findings.iter().any(tells))
        })
    }

    /// The step as its newest reading leaves it.
    fn step(&self, id: &str, title: &str, wanted: &Wanted<'_>, how: Vec<String>, play: Play<'_>) -> Step {
        let mut step = by_hand_only(id, title, how, Vec::new());
        let newest = self.newest(wanted);
        let state = if newest.is_some() { JobState::AsLeft } else { JobState::AsFound };
        step.commands = commands(self.sheet, self.evidence, &play, id, state);
        step.how
            .push(format!("Record the return as {} in the job's folder.", return_name(self.evidence, id)));
        let Some(job) = newest else {
            step.because = "no reading yet that tells it".to_owned();
            return step;
        };
        let ids = || ["capture", "wiring"].iter().chain(wanted.findings);
        let of = |id: &'static str| job.reading.findings.iter().filter(move |finding| finding.id == id);
        for finding in ids().flat_map(|id| of(id)).filter(|finding| finding.verdict == Verdict::Outside) {
            let channel = finding.channel.map(|channel| format!(", {channel}")).unwrap_or_default();
            let kind = finding.kind.as_ref().map(|kind| format!(", {kind}")).unwrap_or_default();
            let turn = finding.turn.as_deref().unwrap_or("nothing is named to be turned; see the report");
            step.turns.push(format!("{}{kind}{channel}: {}. {turn}", finding.id, finding.why));
        }
        if !step.turns.is_empty() {
            step.state = StepState::Turn;
            step.because = format!("outside by {}", job.file);
            return step;
        }
        step.state = StepState::Done;
        step.because = format!("nothing outside by {}", job.file);
        let mut untold: Vec<String> = Vec::new();
        let mut find_out: Vec<&str> = Vec::new();
        for id in wanted.findings {
            let asked = of(id).filter_map(|finding| Some(finding.untold.as_ref()?.find_out.as_str()));
            find_out.extend(asked.filter(|asked| !asked.is_empty()));
            let open = of(id).filter(|finding| finding.verdict == Verdict::CannotTell);
            let sides: Vec<&str> =
                open.map(|finding| finding.channel.map_or("all", Channel::as_str)).collect();
            if !sides.is_empty() && of(id).count() == sides.len() {
                untold.push((*id).to_owned());
            } else {
                untold.extend(sides.iter().map(|side| format!("{id} {side}")));
            }
        }
        if !untold.is_empty() {
            step.state = StepState::NotJudged;
            step.because = format!("{} by {}", untold.join(", "), job.file);
            find_out.dedup();
            step.how.splice(0..0, find_out.iter().map(|asked| format!("Not judged: {asked}.")));
        }
        step
    }

    /// How the tape that there is is played back.
    fn reference(&self) -> Option<(Play<'_>, &'static str)> {
        if self.sheet.at_hand.calibrated_tape {
            return Some((Play::Calibrated, words::CALIBRATED));
        }
        let card = self.sheet.at_hand.house_card.as_deref()?;
        Some((Play::House(card), words::HOUSE))
    }

    /// Follows the reference tape that there is; `None` without one.
    fn follow_reference(&self, view: View) -> Option<Command> {
        let (recorded_on, card) = match self.reference()?.0 {
            Play::House(card) => (RecordedOn::House, Some(card.to_owned())),
            _ => (RecordedOn::Calibrated, None),
        };
        Some(Command::Follow { view, recorded_on, card, tape_type: None })
    }

    /// Asks for the level tone's millivolts at a step that plays a reference tape, before its return is read: they are judged
    /// with it. Who has no millivoltmeter leaves them out.
    fn ask_level_tone(&self, step: &mut Step, state: JobState) {
        let file = return_name(self.evidence, &step.id);
        let asked = level_tone(self.sheet, self.hand, state, &file);
        if !asked.is_empty() {
            step.how.push(words::LEVEL_TONE.to_owned());
            if self.sheet.at_hand.calibrated_tape && self.sheet.at_hand.calibrated_tape_file.is_none() {
                step.how.push(words::TAPE_FILE.to_owned());
            }
            step.commands.splice(0..0, asked);
        }
    }

    /// How this deck's own recording is taken.
    fn own(&self) -> &'static str {
        match self.sheet.deck.heads {
            Some(Heads::Three) => words::OWN_THREE,
            Some(Heads::Two) => words::OWN_TWO,
            None => words::OWN_UNKNOWN,
        }
    }

    fn first_type(&self) -> Option<TapeType> {
        self.sheet.at_hand.tape_types.first().copied()
    }

    fn sound_card(&self) -> Step {
        let wanted = Wanted {
            origins: &[RecordedOn::Loopback],
            tape_type: None,
            telling: &[],
            findings: &[],
            rounds: false,
        };
        let how = vec![words::LOOPBACK.to_owned(), words::CARD_LEVEL.to_owned()];
        let play = Play::Programme("full", RecordedOn::Loopback, None);
        let mut step = self.step("sound-card", "The sound card alone, once", &wanted, how, play);
        step.otherwise.push(("Not needed twice", Command::Done { step: "sound-card", remark: "known" }));
        if let (StepState::Open, Some(file)) = (step.state, &self.sheet.at_hand.loopback) {
            step.state = StepState::Done;
            step.because = format!("{file} is named as the loopback capture");
        }
        step
    }

    fn as_found(&self) -> Step {
        let own = self.sheet.deck.records;
        let (play, line) = match self.reference() {
            Some(reference) if !own => reference,
            _ => (Play::Programme("full", RecordedOn::ThisDeck, self.first_type()), self.own()),
        };
        let how = vec![words::AS_FOUND.to_owned(), line.to_owned(), words::CARD_LEVEL.to_owned()];
        let mut step = by_hand_only("as-found", "The deck as it came", how, Vec::new());
        step.commands = commands(self.sheet, self.evidence, &play, "as-found", JobState::AsFound);
        step.how.push(format!(
            "Record the return as {} in the job's folder.",
            return_name(self.evidence, "as-found")
        ));
        step.cautions = crate::trade::CAUTIONS[1..3].to_vec();
        if self.has_reference() && !own {
            self.ask_level_tone(&mut step, JobState::AsFound);
        }
        let damages = "If the deck damages tape, leave it and say so";
        step.otherwise.push((damages, Command::Done { step: "as-found", remark: "why" }));
        let deck = |job: &&JobReading<'_>| {
            job.state == JobState::AsFound
                && job.reading.circumstances.recorded_on != Some(RecordedOn::Loopback)
        };
        if let Some(found) = self.evidence.readings.iter().find(deck) {
            step.state = StepState::Done;
            step.because = format!("read: {}", found.file);
        }
        step
    }

    fn transport(&self) -> Step {
        let findings = ["speed", "flutter"];
        let (play, lines) = match self.reference() {
            Some((play, line)) => (play, vec![line.to_owned()]),
            None => (
                Play::Programme("flutter", RecordedOn::ThisDeck, self.first_type()),
                vec![self.own().to_owned(), words::SPEED_CANCELS.to_owned()],
            ),
        };
        let all = [PLAYED[0], PLAYED[1], RecordedOn::OtherDeck, RecordedOn::ThisDeck];
        let origins = if self.has_reference() { &all[..2] } else { &all[..] };
        let wanted =
            Wanted { origins, tape_type: None, telling: &findings[1..], findings: &findings, rounds: false };
        let mut step = self.step("transport", "Speed and flutter", &wanted, lines, play);
        if !self.has_reference() {
            step.otherwise.push(("A length of tape between two marks", Command::ReadBetweenMarks));
            step.otherwise.push(("Several playings together", Command::ReadSameTape));
        }
        if step.state == StepState::Turn {
            step.follow = self.follow_reference(View::Speed);
        }
        step.cautions = crate::trade::CAUTIONS[..3].to_vec();
        step
    }

    fn azimuth(&self) -> Step {
        let findings = ["azimuth"];
        let wanted = Wanted {
            origins: &PLAYED,
            tape_type: None,
            telling: &findings,
            findings: &findings,
            rounds: false,
        };
        let title = "Azimuth of the playback head";
        let mut step = match self.reference() {
            Some((play, line)) => {
                self.step("azimuth", title, &wanted, vec![line.to_owned(), words::AZIMUTH.to_owned()], play)
            }
            None => self.azimuth_by_music(&wanted, title),
        };
        step.follow = self.follow_reference(View::Azimuth).or(Some(Command::Follow {
            view: View::Azimuth,
            recorded_on: RecordedOn::OtherDeck,
            card: None,
            tape_type: None,
        }));
        step.cautions = crate::trade::TRIMMER_CAUTIONS.to_vec();
        step
    }

    /// Without a reference tape music tells; a reading of a reference that was attached later goes before it.
    fn azimuth_by_music(&self, wanted: &Wanted<'_>, title: &str) -> Step {
        let how = vec![words::MUSIC.to_owned(), words::MUSIC_AGAIN.to_owned(), words::AZIMUTH.to_owned()];
        let place = |file: &str| self.sheet.readings.iter().position(|attached| attached.file == file);
        let newest = self.newest(wanted).map(|job| job.file);
        let music = self.evidence.skews.last();
        if let Some(file) = newest
            && music.is_none_or(|music| place(music.file) < place(file))
        {
            let mut step = self.step("azimuth", title, wanted, how, Play::Music);
            step.how.pop();
            return step;
        }
        let mut step = by_hand_only("azimuth", title, how, Vec::new());
        let state = if music.is_some() { JobState::AsLeft } else { JobState::AsFound };
        step.commands = commands(self.sheet, self.evidence, &Play::Music, "azimuth", state);
        let Some(music) = music else {
            step.because = "no music read yet, no reference tape at hand".to_owned();
            return step;
        };
        let all = &music.skew.consensus;
        (step.state, step.because) = match (&all.delay_us, &all.turn) {
            (None, _) => (StepState::Open, format!("no usable tape in {}; take others", music.file)),
            (Some(_), Some(turn)) => {
                step.turns = vec![format!("azimuth, by music: {}. {turn}", all.says)];
                (StepState::Turn, format!("by music in {}: {}", music.file, result(music.skew)))
            }
            (Some(_), None) => (
                StepState::Done,
                format!(
                    "by music in {}: {}; no tilt shown, a calibrated tape tells closer",
                    music.file,
                    result(music.skew)
                ),
            ),
        };
        step
    }

    fn playback_response(&self) -> Step {
        let findings = ["playback-response", "playback-equalisation"];
        let title = "Playback response";
        let all = [PLAYED[0], PLAYED[1], RecordedOn::Injected];
        let wanted =
            Wanted { origins: &all, tape_type: None, telling: &findings, findings: &findings, rounds: false };
        match self.reference() {
            Some((play, line)) => {
                let lines = vec![line.to_owned(), words::RESPONSE.to_owned()];
                let mut step = self.step("playback-response", title, &wanted, lines, play);
                step.follow = self.follow_reference(View::Response);
                step.cautions = crate::trade::TRIMMER_CAUTIONS.to_vec();
                step
            }
            None => {
                let play = Play::Programme("injection", RecordedOn::Injected, None);
                let lines = vec![words::INJECT.to_owned()];
                let mut step = self.step("playback-response", title, &wanted, lines, play);
                step.cautions = crate::trade::INJECTION_CAUTIONS.to_vec();
                step
            }
        }
    }

    fn playback_level(&self) -> Step {
        let findings = ["playback-level", "channel-match"];
        let wanted = Wanted {
            origins: &PLAYED,
            tape_type: None,
            telling: &findings,
            findings: &findings,
            rounds: false,
        };
        let title = "Playback level";
        let mut step = match self.reference() {
            Some((play, line)) => self.step(
                "playback-level",
                title,
                &wanted,
                vec![line.to_owned(), words::LEVEL.to_owned()],
                play,
            ),
            None => {
                let lines = vec![words::NO_LEVEL.to_owned()];
                let mut step = self.step("playback-level", title, &wanted, lines, Play::Calibrated);
                if step.state == StepState::Open {
                    step.commands = vec![Command::Done { step: "playback-level", remark: "left as it was" }];
                    step.how.pop();
                }
                step.otherwise.push(("The card of a house tape", Command::MakeCard));
                step
            }
        };
        if self.has_reference() {
            let state = if step.state == StepState::Open { JobState::AsFound } else { JobState::AsLeft };
            self.ask_level_tone(&mut step, state);
            step.follow = self.follow_reference(View::Level);
        }
        step.cautions = crate::trade::TRIMMER_CAUTIONS.to_vec();
        step
    }

    fn record_trim(&self, kind: TapeType) -> Step {
        let findings = ["record-level", "bias", "record-equalisation"];
        let wanted = Wanted {
            origins: &[RecordedOn::ThisDeck],
            tape_type: Some(kind),
            telling: &findings[1..2],
            findings: &findings,
            rounds: true,
        };
        // Only a deck with three heads lets source and tape be heard at once.
        let monitored = self.sheet.deck.heads == Some(Heads::Three);
        let lines = vec![
            format!("Tape of type {kind:?}, the deck set for it ({}).", words::position(kind)),
            if monitored { words::MONITOR_TRIM } else { self.own() }.to_owned(),
            words::RECORD_TRIM.to_owned(),
            words::RECORD_LEVEL.to_owned(),
        ];
        let title = format!("Record level, bias, record equalisation: tape type {kind:?}");
        let recipe = if monitored { "monitor-trim" } else { "record-trim" };
        let play = Play::Programme(recipe, RecordedOn::ThisDeck, Some(kind));
        let mut step = self.step(&format!("record-trim-type-{kind:?}"), &title, &wanted, lines, play);
        // What two heads record is heard later only.
        step.follow = monitored.then_some(Command::Follow {
            view: View::Bias,
            recorded_on: RecordedOn::ThisDeck,
            card: None,
            tape_type: Some(kind),
        });
        step.cautions = crate::trade::TRIMMER_CAUTIONS.to_vec();
        step
    }

    /// A step on what the deck records, with the first tape type.
    fn recorded(
        &self,
        id: &str,
        title: &str,
        recipe: &str,
        telling: &[&'static str],
        findings: &[&'static str],
        how: &str,
    ) -> Step {
        let kind = self.first_type();
        let wanted =
            Wanted { origins: &[RecordedOn::ThisDeck], tape_type: kind, telling, findings, rounds: false };
        let lines = vec![how.to_owned(), self.own().to_owned(), words::RECORD_LEVEL.to_owned()];
        self.step(id, title, &wanted, lines, Play::Programme(recipe, RecordedOn::ThisDeck, kind))
    }

    fn erasing(&self) -> Step {
        let mut step = self.recorded("erasing", "Erasing", "erasing", &["no finding"], &[], words::ERASING);
        let erased = |job: &&JobReading<'_>| {
            job.reading.circumstances.recorded_on == Some(RecordedOn::ThisDeck)
                && job.reading.erasing.is_some()
        };
        if let Some(job) = self.evidence.readings.iter().rev().find(erased) {
            step.state = StepState::Done;
            step.because = format!("stated in {}; no limit is known to practice", job.file);
        }
        step
    }
}

/// Whether the circumstances let the finding mean anything.
fn is_meant(finding: &Finding, told: &Circumstances) -> bool {
    let quantity = judged(&finding.id).and_then(|row| row.meaning);
    quantity.is_none_or(|quantity| !matches!(meaning(quantity, told), Meaning::CannotTell { .. }))
}
