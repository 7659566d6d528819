//! The samples in `tests/readings/`: what stands in them is what the code concludes.

use super::*;
use crate::judge::conclude::follow;

/// The sample of that name.
pub(super) fn sample(name: &str) -> Reading {
    let path = format!("{}/tests/readings/{name}.json", env!("CARGO_MANIFEST_DIR"));
    serde_json::from_str(&std::fs::read_to_string(path).unwrap()).unwrap()
}

/// The samples' causes are invented, their findings and work are not.
#[test]
fn findings_and_work_of_the_sample_readings_follow_from_them() {
    for name in ["healthy", "faulty", "empty", "rounds", "injected", "unslated"] {
        let path = format!("{}/tests/readings/{name}.json", env!("CARGO_MANIFEST_DIR"));
        let then = std::fs::read_to_string(&path).unwrap();
        let read: Reading = serde_json::from_str(&then).unwrap();
        let (causes, unexplained) = (read.causes.clone(), read.unexplained.clone());
        let now = to_json(&follow(read.into_facts(), causes, unexplained, &Limits::full_size()));
        if std::env::var_os("DECKPROOF_BLESS").is_some() {
            std::fs::write(&path, &now).unwrap();
        } else {
            assert!(
                then == now,
                "tests/readings/{name}.json differs from what the code concludes; bless it if meant"
            );
        }
    }
}
