//! The order of work against invented readings.

use super::next_step::{JobReading, STEPS, Step, StepState, steps};
use super::{Limits, judge, sample};
use crate::reading::{
    AttachedReading, HandReadings, HandValue, Heads, JobSheet, JobState, Reading, TapeType,
};

fn job() -> JobSheet {
    let mut job = JobSheet::default();
    job.deck.heads = Some(Heads::Three);
    job.at_hand.tape_types = vec![TapeType::I, TapeType::II];
    job
}

fn judged(mut reading: Reading) -> Reading {
    reading.findings = judge(&reading, &Limits::good_deck());
    reading
}

fn after(job: &JobSheet, readings: &[Reading]) -> Vec<Step> {
    let of = |reading| JobReading { state: JobState::AsFound, file: "r.json", reading };
    steps(job, &readings.iter().map(of).collect::<Vec<_>>())
}

fn state(steps: &[Step], id: &str) -> StepState {
    steps.iter().find(|step| step.id == id).unwrap_or_else(|| panic!("no step {id}")).state
}

#[test]
fn steps_stand_in_the_order_of_work_one_record_trim_a_tape_type() {
    let found = after(&job(), &[]);
    let mut want: Vec<&str> = STEPS.to_vec();
    want.splice(10..11, ["record-trim-type-I", "record-trim-type-II"]);
    assert_eq!(found.iter().map(|step| step.id.as_str()).collect::<Vec<_>>(), want);
    assert!(found.iter().all(|step| step.state == StepState::Open && !step.commands.is_empty()));
    let mut player = job();
    player.deck.records = false;
    assert_eq!(after(&player, &[]).last().unwrap().id, "replay-level");
}

#[test]
fn a_step_is_done_when_nothing_of_it_is_outside_and_names_the_turn_otherwise() {
    let mut job = job();
    job.at_hand.calibrated_tape = true;
    let bad = after(&job, &[judged(sample::faulty())]);
    for id in ["transport", "azimuth", "replay-response"] {
        assert_eq!(state(&bad, id), StepState::Turn, "{id}");
        let step = bad.iter().find(|step| step.id == id).unwrap();
        assert!(step.turns.iter().all(|turn| turn.len() > 20) && !step.turns.is_empty(), "{step:?}");
    }
    // The newest reading counts.
    let good = after(&job, &[judged(sample::faulty()), judged(sample::healthy())]);
    for id in ["transport", "azimuth", "replay-response"] {
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
    // A sweep of the bias alone does not say how it stands: the trim does.
    let sweep = after(&job(), &[judged(sample::rounds())]);
    assert_eq!(state(&sweep, "record-trim-type-I"), StepState::Open);
    let mut trim = sample::rounds();
    trim.bias_sweep = None;
    let found = after(&job(), &[judged(trim)]);
    assert_ne!(state(&found, "record-trim-type-I"), StepState::Open);
    assert_eq!(state(&found, "record-trim-type-II"), StepState::Open);
}

#[test]
fn without_a_reference_the_amplifier_is_injected_and_level_stays_open() {
    let found = after(&job(), &[judged(sample::injected())]);
    assert_eq!(state(&found, "replay-response"), StepState::Turn);
    assert_eq!(state(&found, "replay-level"), StepState::Open);
    assert_eq!(state(&found, "azimuth"), StepState::Open);
}

#[test]
fn what_the_technician_calls_done_is_done() {
    let mut job = job();
    job.done.push(("replay-level".into(), "left as it was".into()));
    let found = after(&job, &[]);
    let step = found.iter().find(|step| step.id == "replay-level").unwrap();
    assert_eq!((step.state, step.because.as_str()), (StepState::Done, "called done: left as it was"));
}

#[test]
fn hand_readings_close_their_step() {
    let mut job = job();
    let value = |quantity: &str, value| HandValue { quantity: quantity.into(), value, unit: "g.cm".into() };
    let mut values = vec![
        value("take-up-torque", 30.0),
        value("wind-torque-forward", 150.0),
        value("wind-torque-rewind", 150.0),
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
