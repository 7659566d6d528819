//! The order of work against invented readings.

use crate::judge::bench::command::Command;
use crate::judge::bench::next_step::{STEPS, steps};
use crate::judge::bench::step::{JobEvidence, JobReading, Step, StepState};
use crate::judge::sample;
use crate::judge::sample::Sample;
use crate::judge::{Limits, Reading, conclude};
use crate::reading::{
    AttachedReading, HandReadings, HandValue, Heads, JobSheet, JobState, RecordedOn, TapeType,
};
use crate::trade::Medium;

fn job() -> JobSheet {
    let mut job = JobSheet::default();
    job.deck.heads = Some(Heads::Three);
    job.at_hand.tape_types = vec![TapeType::I, TapeType::II];
    job
}

fn judged(sample: Sample) -> Reading {
    conclude(sample.facts, &Medium::COMPACT_CASSETTE, &Limits::full_size(), None)
}

fn after(job: &JobSheet, readings: &[Reading]) -> Vec<Step> {
    let of = |reading| JobReading { state: JobState::AsFound, file: "r.json", reading };
    let readings: Vec<JobReading<'_>> = readings.iter().map(of).collect();
    steps(job, &JobEvidence { readings: &readings, ..JobEvidence::default() })
}

fn state(steps: &[Step], id: &str) -> StepState {
    steps.iter().find(|step| step.id == id).unwrap_or_else(|| panic!("no step {id}")).state
}

#[test]
fn steps_stand_in_the_order_of_work_one_record_trim_a_tape_type() {
    let found = after(&job(), &[]);
    let mut want: Vec<&str> = STEPS.to_vec();
    want.splice(11..12, ["record-trim-type-I", "record-trim-type-II"]);
    assert_eq!(found.iter().map(|step| step.id.as_str()).collect::<Vec<_>>(), want);
    assert!(found.iter().all(|step| step.state == StepState::Open && !step.commands.is_empty()));
    let mut player = job();
    player.deck.records = false;
    let ids: Vec<String> = after(&player, &[]).into_iter().map(|step| step.id).collect();
    assert_eq!(ids[ids.len() - 2..], ["playback-level", "meter"]);
}

#[test]
fn a_step_is_done_when_nothing_of_it_is_outside_and_names_the_turn_otherwise() {
    let mut job = job();
    job.at_hand.calibrated_tape = true;
    let bad = after(&job, &[judged(sample::faulty())]);
    for id in ["transport", "azimuth", "playback-response"] {
        assert_eq!(state(&bad, id), StepState::Turn, "{id}");
        let step = bad.iter().find(|step| step.id == id).unwrap();
        assert!(step.turns.iter().all(|turn| turn.len() > 20) && !step.turns.is_empty(), "{step:?}");
    }
    // The newest reading counts.
    let good = after(&job, &[judged(sample::faulty()), judged(sample::healthy())]);
    for id in ["transport", "azimuth", "playback-response"] {
        assert_eq!(state(&good, id), StepState::Done, "{id}");
    }
    assert_eq!(
        state(&good, "record-trim-type-I"),
        StepState::Open,
        "a calibrated tape says nothing of recording"
    );
}

#[test]
fn record_trims_count_for_their_tape_type_only() {
    // A sweep of the bias leaves the trimmer at its end, and says where to turn it.
    let sweep = after(&job(), &[judged(sample::rounds())]);
    assert_eq!(state(&sweep, "record-trim-type-I"), StepState::Turn);
    let mut trim = sample::rounds();
    trim.bias_sweep = None;
    let found = after(&job(), &[judged(trim)]);
    assert_ne!(state(&found, "record-trim-type-I"), StepState::Open);
    assert_eq!(state(&found, "record-trim-type-II"), StepState::Open);
}

#[test]
fn without_a_reference_the_amplifier_is_injected_and_level_stays_open() {
    let found = after(&job(), &[judged(sample::injected())]);
    assert_eq!(state(&found, "playback-response"), StepState::Turn);
    assert_eq!(state(&found, "playback-level"), StepState::Open);
    assert_eq!(state(&found, "azimuth"), StepState::Open);
}

#[test]
fn what_the_technician_calls_done_is_done() {
    let mut job = job();
    job.done.push(("playback-level".into(), "left as it was".into()));
    let found = after(&job, &[]);
    let step = found.iter().find(|step| step.id == "playback-level").unwrap();
    assert_eq!((step.state, step.because.as_str()), (StepState::Done, "called done: left as it was"));
}

#[test]
fn the_level_tone_is_asked_for_while_a_reference_tape_plays() {
    let mut job = job();
    let asked = |job: &JobSheet, id: &str| {
        let steps = after(job, &[]);
        let step = steps.into_iter().find(|step| step.id == id).unwrap();
        step.commands.into_iter().filter(|command| matches!(command, Command::Set { .. })).collect::<Vec<_>>()
    };
    assert_eq!(asked(&job, "playback-level"), [], "no tape of known level");
    job.at_hand.calibrated_tape = true;
    let set = |quantity| Command::Set {
        quantity,
        unit: "mV",
        state: JobState::AsFound,
        again: false,
        of: Some("playback-level-1.wav".into()),
    };
    assert_eq!(asked(&job, "playback-level"), [set("level-tone-left"), set("level-tone-right")]);
    assert_eq!(asked(&job, "as-found"), [], "there this deck's own recording plays");
    let wants_file = |job: &JobSheet| {
        let steps = after(job, &[]);
        let how = &steps.iter().find(|step| step.id == "playback-level").unwrap().how;
        how.iter().any(|line| line.contains("calibrated_tape_file"))
    };
    let mut with_file = job.clone();
    with_file.at_hand.calibrated_tape_file = Some("tape.toml".into());
    assert_eq!([&job, &with_file].map(wants_file), [true, false]);
    let mut player = job.clone();
    player.deck.records = false;
    assert_eq!(asked(&player, "as-found").len(), 2);
    // What is known is not asked for again.
    let value = HandValue {
        quantity: "level-tone-left".into(),
        value: 655.0,
        unit: "mV".into(),
        uncertainty: None,
        of: Some("a.wav".into()),
    };
    job.as_found.values.push(value);
    assert_eq!(asked(&job, "playback-level"), [set("level-tone-right")]);
    job.level_tone_told = true;
    assert_eq!(asked(&job, "playback-level"), []);
    // Who leaves the lines out can go on: the step is told by its reading alone.
    job.as_found.values.clear();
    job.level_tone_told = false;
    let done = after(&job, &[judged(sample::healthy())]);
    assert_eq!(state(&done, "playback-level"), StepState::NotJudged);
    let step = done.iter().find(|step| step.id == "playback-level").unwrap();
    assert!(step.how[0].starts_with("Not judged: give the mV at the output"), "{:?}", step.how);
}

#[test]
fn hand_readings_close_their_step() {
    let mut job = job();
    let value = |quantity: &str, value| HandValue {
        quantity: quantity.into(),
        value,
        unit: "g.cm".into(),
        uncertainty: None,
        of: None,
    };
    let mut values = vec![
        value("take-up-torque", 30.0),
        value("fast-forward-torque", 150.0),
        value("rewind-torque", 150.0),
        value("back-tension", 4.0),
    ];
    job.as_found = HandReadings { values: values.clone(), tape_path: Some("straight".into()) };
    assert_eq!(state(&after(&job, &[]), "torques"), StepState::Turn);
    assert_eq!(state(&after(&job, &[]), "tape-path"), StepState::Done);
    values[0].value = 50.0;
    job.as_left.values = values;
    assert_eq!(state(&after(&job, &[]), "torques"), StepState::Done);
    job.readings.push(AttachedReading { state: JobState::AsLeft, file: "gone.json".into() });
    assert_eq!(state(&after(&job, &[]), "torques"), StepState::Done);
}

#[test]
fn music_does_azimuth_where_there_is_no_reference_tape() {
    use crate::judge::bench::job_skew::{JobSkew, tests::skew};
    let mut job = job();
    let tilted = skew(&[("music-1/a.wav", 40.0), ("music-1/b.wav", 36.0)], 16.0);
    let upright = skew(&[("music-2/a.wav", 3.0), ("music-2/b.wav", -1.0)], 16.0);
    let azimuth = |skews: &[JobSkew<'_>], job: &JobSheet, readings: &[Reading]| {
        let of = |reading| JobReading { state: JobState::AsFound, file: "r.json", reading };
        let readings: Vec<JobReading<'_>> = readings.iter().map(of).collect();
        let found = steps(job, &JobEvidence { readings: &readings, skews, ..JobEvidence::default() });
        found.into_iter().find(|step| step.id == "azimuth").unwrap()
    };
    let open = azimuth(&[], &job, &[]);
    assert_eq!(open.state, StepState::Open);
    let skew_command = Command::Skew {
        files: ["a", "b", "c"].map(|tape| format!("music-1/{tape}.wav")).to_vec(),
        json: "music-1.json".into(),
    };
    let attach = |state| Command::Attach { state, file: "music-1.json".into() };
    assert_eq!(open.commands, [skew_command, attach(JobState::AsFound)]);
    let of = |state, file, skew| JobSkew { state, file, skew };
    let found = of(JobState::AsFound, "m-1.json", &tilted);
    let turn = azimuth(&[found], &job, &[]);
    assert_eq!(turn.state, StepState::Turn);
    assert!(
        turn.turns[0].contains("azimuth screw") && turn.commands[1] == attach(JobState::AsLeft),
        "{turn:?}"
    );
    let left = of(JobState::AsLeft, "m-2.json", &upright);
    let done = azimuth(&[found, left], &job, &[]);
    assert_eq!(done.state, StepState::Done);
    assert!(done.because.contains("+1 +- 16 us"), "{}", done.because);
    // Of music and a borrowed calibrated tape the later one counts.
    for (order, want) in
        [(["r.json", "m-2.json"], StepState::Done), (["m-2.json", "r.json"], StepState::Turn)]
    {
        job.readings = order
            .iter()
            .map(|file| AttachedReading { state: JobState::AsFound, file: (*file).into() })
            .collect();
        assert_eq!(azimuth(&[left], &job, &[judged(sample::faulty())]).state, want, "{order:?}");
    }
    // A reference at hand goes before music.
    job.at_hand.calibrated_tape = true;
    let read = &azimuth(&[left], &job, &[]).commands[0];
    assert!(
        matches!(read, Command::Read { recorded_on: RecordedOn::Calibrated, slated: false, .. }),
        "{read:?}"
    );
}

#[test]
fn a_step_names_what_it_rests_on_and_what_is_not_right_yet() {
    let mut job = job();
    job.at_hand.calibrated_tape = true;
    let bad = after(&job, &[judged(sample::faulty())]);
    let first = |steps: &[Step], id: &str| steps.iter().find(|step| step.id == id).unwrap().first.join("; ");
    assert!(first(&bad, "playback-response").contains("(azimuth: outside by r.json)"), "{bad:?}");
    assert!(first(&bad, "record-trim-type-II").contains("(playback-response: "), "{bad:?}");
    let good = after(&job, &[judged(sample::healthy())]);
    assert_eq!(first(&good, "playback-response"), "");
}
