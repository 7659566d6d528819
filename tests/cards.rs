//! Properties of cards: made of a tape and subtracted from it, they leave the deck; a card of nothing changes nothing.

use deckproof::assert_within;
use deckproof::internals::measure::{
    CardError, Difference, PlayedDifference, card_figures, check_calibrated, check_house, subtract_card,
};
use deckproof::internals::trade::Medium;
use deckproof::reading::{
    CARD_FORMAT, CalibratedBy, Card, Facts, Made, NoiseReduction, PhasePoint, RecordedOn, TapeType, WarningId,
};
use proptest::prelude::*;

const MEDIUM: Medium = Medium::COMPACT_CASSETTE;

/// An invented deck by a calibrated tape; phases are left to the test that is about them.
fn calibrated() -> Facts {
    let mut reading: Facts = serde_json::from_str(include_str!("readings/healthy.json")).unwrap();
    reading.circumstances.recorded_on = Some(RecordedOn::Calibrated);
    reading.azimuth.as_mut().unwrap().phase.clear();
    reading
}

/// The same deck by a tape that is off by so much.
fn house(level_db: [f64; 2], treble_db: [f64; 2], delay_us: f64, speed_percent: f64) -> Facts {
    let mut reading = calibrated();
    reading.circumstances.recorded_on = Some(RecordedOn::House);
    for level in &mut reading.level {
        for (channel, more_db) in level_db.into_iter().enumerate() {
            level.return_dbfs[channel] = level.return_dbfs[channel].map(|db| db + more_db);
            level.gain_db[channel] = level.gain_db[channel].map(|db| db + more_db);
        }
        level.difference_db = level.difference_db.map(|db| db + level_db[0] - level_db[1]);
    }
    let response = reading.response.as_mut().unwrap();
    let reference_hz = response.reference_hz;
    for row in [&mut response.steps, &mut response.sweep, &mut response.noise].into_iter().flatten() {
        for (channel, treble_db) in treble_db.into_iter().enumerate() {
            let tilt = treble_db * (row.hz - reference_hz) / 10_000.0;
            row.db[channel] = row.db[channel].map(|db| db + tilt);
        }
    }
    let azimuth = reading.azimuth.as_mut().unwrap();
    azimuth.delay_us = azimuth.delay_us.map(|us| us + delay_us);
    let speed = reading.speed.as_mut().unwrap();
    speed.error_percent = ((1.0 + speed.error_percent / 100.0) * (1.0 + speed_percent / 100.0) - 1.0) * 100.0;
    reading
}

fn card(house: &[Facts], calibrated: &Facts) -> Card {
    let figures = card_figures(house, calibrated, &MEDIUM).unwrap();
    Card {
        format: CARD_FORMAT.into(),
        name: "invented".into(),
        made: Made { at: "2026-01-10 09:00 UTC".into(), version: "0".into(), deck: None, job: None },
        calibrated: CalibratedBy {
            tape: None,
            file: "c.wav".into(),
            at: None,
            fluxivity_nwb_per_m: None,
            fluxivity_stated: None,
        },
        recipe: None,
        tape_type: None,
        level: figures.level,
        response: figures.response,
        azimuth: figures.azimuth,
        speed: figures.speed,
        flutter_at_most_percent: figures.flutter_at_most_percent,
        passes_before: 0,
        passes_of_making: 0,
        history: vec![],
        notes: vec![],
        other: Default::default(),
    }
}

/// Every figure that a card moves, with its uncertainty.
fn figures(reading: &Facts) -> Vec<(f64, f64)> {
    let mut all = Vec::new();
    for level in &reading.level {
        all.extend(level.gain_db.iter().flatten().map(|db| (*db, level.uncertainty_db)));
    }
    let response = reading.response.as_ref().unwrap();
    for row in [&response.steps, &response.sweep, &response.noise].into_iter().flatten() {
        if (row.hz / response.reference_hz).ln().abs() > 1e-9 {
            all.extend(row.db.into_iter().zip(row.uncertainty_db).filter_map(|(db, u)| Some((db?, u?))));
        }
    }
    let azimuth = reading.azimuth.as_ref().unwrap();
    all.push((azimuth.delay_us.unwrap(), azimuth.uncertainty_us.unwrap()));
    let speed = reading.speed.as_ref().unwrap();
    all.push((speed.error_percent, speed.uncertainty_percent));
    all
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    #[test]
    fn a_card_taken_off_its_own_tape_leaves_the_deck_less_surely(
        level_db in [-6.0..6.0f64, -6.0..6.0], treble_db in [-4.0..4.0f64, -4.0..4.0],
        delay_us in -40.0..40.0f64, speed_percent in -2.0..2.0f64,
    ) {
        let calibrated = calibrated();
        let mut house = house(level_db, treble_db, delay_us, speed_percent);
        let card = card(std::slice::from_ref(&house), &calibrated);
        let before = figures(&house);
        subtract_card(&mut house, &[], &card, "card.json", &MEDIUM);
        let (got, want) = (figures(&house), figures(&calibrated));
        prop_assert_eq!(got.len(), want.len());
        for ((got, want), before) in got.iter().zip(&want).zip(&before) {
            // Rounding of f64.
            prop_assert!((got.0 - want.0).abs() < 1e-9, "{got:?} {want:?}");
            prop_assert!(got.1 > before.1 && got.1 > want.1, "wider: {got:?} {before:?} {want:?}");
        }
        prop_assert!(house.warnings.iter().all(|warning| warning.id != WarningId::CardRange));
    }
}

#[test]
fn a_card_of_nothing_changes_nothing_but_how_sure_it_is() {
    let calibrated = calibrated();
    let mut same = house([0.0; 2], [0.0; 2], 0.0, 0.0);
    let card = card(std::slice::from_ref(&same), &calibrated);
    assert_eq!(card.azimuth.as_ref().unwrap().delay_us, 0.0);
    subtract_card(&mut same, &[], &card, "card.json", &MEDIUM);
    for (got, want) in figures(&same).iter().zip(figures(&calibrated)) {
        assert_within!(got.0, want.0, 1e-12, "");
        assert!(got.1 > want.1, "{got:?} {want:?}");
    }
    let used = same.circumstances.card.unwrap();
    assert_eq!((used.response, used.delay_us, used.speed_percent), (true, Some(0.0), Some(0.0)));
    assert_eq!(used.level.len(), calibrated.level.len());
}

#[test]
fn passes_widen_the_treble_and_nothing_else() {
    let calibrated = calibrated();
    let tape = house([1.0, -1.0], [1.0; 2], 5.0, 0.2);
    let mut worn = card(std::slice::from_ref(&tape), &calibrated);
    let off = |card: &Card| {
        let mut reading = tape.clone();
        subtract_card(&mut reading, &[], card, "card.json", &MEDIUM);
        reading
    };
    let fresh = off(&worn);
    worn.history = vec![Default::default(); 40];
    let worn = off(&worn);
    assert_eq!(fresh.level, worn.level);
    assert_eq!(fresh.azimuth, worn.azimuth);
    let at = |reading: &Facts, hz: f64| {
        let rows = &reading.response.as_ref().unwrap().steps;
        rows.iter().find(|row| row.hz == hz).unwrap().uncertainty_db[0].unwrap()
    };
    // 40 passes of 0.01 dB at 10 kHz.
    let want = at(&fresh, 10_000.0).hypot(0.4);
    assert_within!(at(&worn, 10_000.0), want, 1e-12, "dB");
    assert!(at(&worn, 1000.0) - at(&fresh, 1000.0) < 0.01);
}

#[test]
fn what_is_not_on_the_card_is_not_stated() {
    let calibrated = calibrated();
    let mut tape = house([0.0; 2], [0.0; 2], 0.0, 0.0);
    let mut card = card(std::slice::from_ref(&tape), &calibrated);
    let own = card.response.as_mut().unwrap();
    (own.sweep, own.noise) = (vec![], vec![]);
    own.steps.retain(|row| row.hz < 9000.0);
    subtract_card(&mut tape, &[], &card, "card.json", &MEDIUM);
    let response = tape.response.as_ref().unwrap();
    for row in &response.steps {
        let told = row.db.iter().all(Option::is_some);
        // Beyond the last tone its slope is believed for 7 %.
        assert_eq!(told, row.hz < 9000.0, "{} Hz", row.hz);
    }
    let warning = tape.warnings.iter().find(|warning| warning.id == WarningId::CardRange).unwrap();
    assert!(warning.text.contains("10000"), "{}", warning.text);
}

#[test]
fn phases_of_the_recording_come_off_with_its_tilt() {
    // A delay of 20 us on tape and 7 us in the deck, and 5 degrees that some network of the recorder adds everywhere.
    let tones = [315.0, 400.0, 1000.0, 2000.0, 4000.0, 8000.0, 10_000.0, 12_500.0];
    let phases = |delay_us: f64, deg: f64| -> Vec<PhasePoint> {
        let row = |&hz: &f64| PhasePoint {
            hz,
            deg: deg - 360e-6 * hz * delay_us,
            spread_deg: 0.5,
            response_deg: None,
        };
        tones.iter().map(row).collect()
    };
    let mut calibrated = calibrated();
    let azimuth = calibrated.azimuth.as_mut().unwrap();
    (azimuth.delay_us, azimuth.phase) = (Some(7.0), phases(7.0, 0.0));
    calibrated.speed.as_mut().unwrap().error_percent = 0.0;
    let mut tape = calibrated.clone();
    tape.circumstances.recorded_on = Some(RecordedOn::House);
    let azimuth = tape.azimuth.as_mut().unwrap();
    (azimuth.delay_us, azimuth.phase) = (Some(27.0), phases(27.0, 5.0));
    let card = card(std::slice::from_ref(&tape), &calibrated);
    let differences: Vec<PlayedDifference> = phases(27.0, 5.0)
        .iter()
        .map(|row| PlayedDifference {
            hz: row.hz,
            spread_rad: 0.01,
            difference: Difference {
                at_s: None,
                hz: row.hz,
                level_db: 0.0,
                level_sigma_db: 0.03,
                phase_rad: row.deg.to_radians(),
                phase_sigma_rad: 0.005,
            },
        })
        .collect();
    subtract_card(&mut tape, &differences, &card, "card.json", &MEDIUM);
    let azimuth = tape.azimuth.as_ref().unwrap();
    assert_within!(azimuth.delay_us.unwrap(), 7.0, 0.3, "us");
    let at_10k = azimuth.phase.iter().find(|row| row.hz == 10_000.0).unwrap();
    assert_within!(at_10k.deg, -360e-6 * 10_000.0 * 7.0, 0.01, "degrees");
}

#[test]
fn readings_that_cannot_serve_are_refused_with_the_reason() {
    let calibrated = calibrated();
    let tape = house([0.0; 2], [0.0; 2], 0.0, 0.0);
    assert_eq!(check_calibrated(&calibrated), Ok(()));
    assert_eq!(check_calibrated(&tape), Err(CardError::NotCalibrated));
    assert_eq!(check_house(&tape, &calibrated), Ok(()));
    assert_eq!(check_house(&calibrated, &calibrated), Err(CardError::NotHouse { told: "calibrated" }));
    let with = |change: &dyn Fn(&mut Facts)| {
        let mut other = tape.clone();
        change(&mut other);
        check_house(&other, &calibrated)
    };
    assert_eq!(
        with(&|r| r.circumstances.noise_reduction = NoiseReduction::On),
        Err(CardError::NoiseReduction)
    );
    let other_type = with(&|r| r.circumstances.tape_type = Some(TapeType::IV));
    assert_eq!(
        matches!(other_type, Err(CardError::TapeType { .. })),
        calibrated.circumstances.tape_type.is_some()
    );
    let mut named = calibrated.clone();
    let on = |deck: &str| Made {
        at: "2026-01-10".into(),
        version: "0".into(),
        deck: Some(deck.into()),
        job: None,
    };
    named.made = Some(on("A"));
    let mut other = tape.clone();
    other.made = Some(on("B"));
    assert!(matches!(check_house(&other, &named), Err(CardError::Deck { .. })));
    assert_eq!(card_figures(&[], &calibrated, &MEDIUM), Err(CardError::None));
    let mut empty = tape.clone();
    (empty.level, empty.response, empty.azimuth, empty.speed) = (vec![], None, None, None);
    assert_eq!(card_figures(&[empty], &calibrated, &MEDIUM), Err(CardError::NothingCommon));
}
